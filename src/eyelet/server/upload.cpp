#include "eyelet/server/upload.h"

#include <fmt/format.h>
#include <stdlib.h>

#include <algorithm>
#include <system_error>

#include "eyelet/exchange/json_text.h"

namespace eyelet {
namespace fs = std::filesystem;

Result<fs::path> safe_path(std::string_view name, const UploadLimits& limits) {
    const auto wrong = [&](std::string_view why) {
        return bad_input(fmt::format("file name \"{}\" {}", for_message(name), why));
    };
    if (name.empty()) return bad_input("a file without a name; each must carry the name that the survey gives it");
    if (find_non_utf8(name) != std::string_view::npos) return wrong("is not UTF-8");
    fs::path path;
    std::size_t depth = 0;
    for (std::size_t at = 0; at <= name.size();) {
        const std::size_t end = std::min(name.find('/', at), name.size());
        const std::string_view part = name.substr(at, end - at);
        at = end + 1;
        if (part.empty() || part == "." || part == "..") return wrong("must be a plain name, or folders and a name");
        if (part.size() > limits.max_name_bytes) return wrong(fmt::format("is longer than {} bytes", limits.max_name_bytes));
        for (const char c : part) {
            if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f || c == '\\') return wrong("holds a control character or a backslash");
        }
        path /= fs::path(std::u8string(part.begin(), part.end()));
        if (++depth > limits.max_depth + 1) return wrong(fmt::format("lies more than {} folders deep", limits.max_depth));
    }
    return path;
}

Result<std::unique_ptr<Upload>> Upload::create(const fs::path& parent, const UploadLimits& limits) {
    std::error_code error;
    fs::create_directories(parent, error);
    std::string pattern = (parent / "upload-XXXXXX").string();
    if (error || mkdtemp(pattern.data()) == nullptr) {
        return storage_error(fmt::format("cannot make a folder for the files in {}: is the disk full or read-only?", parent.string()));
    }
    return std::unique_ptr<Upload>(new Upload(pattern, limits));
}

Upload::~Upload() {
    file_.close();
    std::error_code ignored;  // what is left is swept at the next start
    fs::remove_all(folder_, ignored);
}

Status Upload::close_file() {
    if (!file_.is_open()) return {};
    file_.close();
    if (file_.fail()) return storage_error(fmt::format("{} could not be written: is the disk full?", files_.back().string()));
    return {};
}

Status Upload::begin_file(std::string_view name) {
    EYELET_TRY(close_file());
    EYELET_ASSIGN(const fs::path path, safe_path(name, limits_));
    if (files_.size() >= limits_.max_files) return bad_input(fmt::format("more than {} files in one survey", limits_.max_files));
    if (std::find(files_.begin(), files_.end(), path) != files_.end()) {
        return bad_input(fmt::format("\"{}\" came twice; each file needs a name of its own", for_message(name)));
    }
    std::error_code error;
    fs::create_directories(folder_ / path.parent_path(), error);
    file_.clear();
    if (!error) file_.open(folder_ / path, std::ios::binary | std::ios::trunc);
    if (error || !file_.is_open()) return storage_error(fmt::format("{} could not be written: is the disk full?", path.string()));
    files_.push_back(path);
    return {};
}

Status Upload::add(const char* data, std::size_t size) {
    if (!file_.is_open()) return bad_input("content without a file; send the survey as files of one multipart form");
    bytes_ += size;
    if (bytes_ > limits_.max_bytes) return bad_input(fmt::format("the files are larger than {} MB together", limits_.max_bytes >> 20U));
    file_.write(data, static_cast<std::streamsize>(size));
    if (!file_) return storage_error(fmt::format("{} could not be written: is the disk full?", files_.back().string()));
    return {};
}

Status Upload::finish() {
    EYELET_TRY(close_file());
    if (files_.empty()) return bad_input("no file came; send survey.json together with its photographs");
    return {};
}

Result<fs::path> Upload::survey() const {
    const auto depth = [](const fs::path& path) { return std::distance(path.begin(), path.end()); };
    std::vector<fs::path> found;
    const auto look_for = [&](auto&& wanted) {
        for (const fs::path& file : files_) {
            if (!wanted(file.filename().string())) continue;
            if (!found.empty() && depth(file) > depth(found.front())) continue;
            if (!found.empty() && depth(file) < depth(found.front())) found.clear();
            found.push_back(file);
        }
    };
    // An assembly stands above the surveys of its boards; a file of the usual name before one of another name.
    look_for([](const std::string& name) { return name == "assembly.json"; });
    if (found.empty()) look_for([](const std::string& name) { return name == "survey.json"; });
    if (found.empty()) {
        look_for([](const std::string& name) { return name.starts_with("survey") && name.ends_with(".json"); });
    }
    if (found.empty()) return bad_input("there is no survey.json among the files; it must come with its photographs");
    if (found.size() > 1) {
        std::string names;
        for (const fs::path& file : found) names += (names.empty() ? "" : ", ") + for_message(file.string());
        return bad_input(fmt::format("more than one survey came ({}); send one, with its photographs", names));
    }
    return folder_ / found.front();
}

}  // namespace eyelet
