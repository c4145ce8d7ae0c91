// Files that the page sends, written to disk as they come and never held in memory whole.
//
// The files lie in a folder of their own inside the bench, which goes away with the Upload. Names are those of the
// sender's folder: "main/survey.json" keeps its folder, but nothing can be written outside.
#pragma once

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "eyelet/core/result.h"

namespace eyelet {

struct UploadLimits {
    std::uint64_t max_bytes = std::uint64_t{8} << 30;  // of all files together: a survey of 32 boards in 24 megapixels is about 2 GB
    std::size_t max_files = 2'000;
    std::size_t max_depth = 4;       // folders in a name
    std::size_t max_name_bytes = 255;  // of each part of a name: what common file systems hold
};

// A sender's name as a path that stays inside its folder; an error says what is wrong with it.
[[nodiscard]] Result<std::filesystem::path> safe_path(std::string_view name, const UploadLimits& limits = {});

class Upload {
  public:
    [[nodiscard]] static Result<std::unique_ptr<Upload>> create(const std::filesystem::path& parent,
                                                                const UploadLimits& limits = {});
    ~Upload();
    Upload(const Upload&) = delete;
    Upload& operator=(const Upload&) = delete;

    [[nodiscard]] Status begin_file(std::string_view name);
    [[nodiscard]] Status add(const char* data, std::size_t size);  // to the file begun last
    [[nodiscard]] Status finish();                                 // no more files

    [[nodiscard]] const std::filesystem::path& folder() const { return folder_; }
    // What to import: the survey or assembly file that lies nearest to the top. Refused, with the names, where it is
    // not clear which is meant.
    [[nodiscard]] Result<std::filesystem::path> survey() const;

  private:
    Upload(std::filesystem::path folder, const UploadLimits& limits) : folder_(std::move(folder)), limits_(limits) {}
    [[nodiscard]] Status close_file();

    std::filesystem::path folder_;
    UploadLimits limits_;
    std::vector<std::filesystem::path> files_;  // inside the folder
    std::ofstream file_;
    std::uint64_t bytes_ = 0;
};

}  // namespace eyelet
