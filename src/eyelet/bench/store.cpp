#include "eyelet/bench/store.h"

#include <array>
#include <cstdlib>
#include <system_error>

#include "eyelet/bench/photograph_files.h"
#include "eyelet/bench/sqlite_store.h"

namespace eyelet {

const char* name_of(CopperTone tone) {
    return tone == CopperTone::lighter ? "lighter" : "darker";
}

std::optional<CopperTone> copper_tone_from_name(const std::string& name) {
    if (name == "lighter") return CopperTone::lighter;
    if (name == "darker") return CopperTone::darker;
    return std::nullopt;
}

EntryKind kind_of(const EntryBody& body) {
    return static_cast<EntryKind>(body.index());
}

namespace {
constexpr std::array kEntryKindNames{"reading", "finding", "work", "note", "photograph", "trial"};
static_assert(kEntryKindNames.size() == std::variant_size_v<EntryBody>);
}  // namespace

const char* name_of(EntryKind kind) {
    return kEntryKindNames.at(static_cast<std::size_t>(kind));
}

std::optional<EntryKind> entry_kind_from_name(const std::string& name) {
    for (std::size_t i = 0; i < kEntryKindNames.size(); ++i)
        if (name == kEntryKindNames[i]) return static_cast<EntryKind>(i);
    return std::nullopt;
}

const std::vector<std::string>& finding_kinds() {
    static const std::vector<std::string> kinds{"leaked",   "bulged",       "corroded",      "lifted pad",
                                                "lost pad", "broken track", "cracked joint", "burnt",
                                                "missing",  "bridged"};
    return kinds;
}

const std::vector<std::string>& work_kinds() {
    static const std::vector<std::string> kinds{"removed", "cleaned", "resoldered", "fitted",
                                                "patched", "staked",  "coated"};
    return kinds;
}

const char* name_of(Edit::Kind kind) {
    switch (kind) {
        case Edit::Kind::entries_added:
            return "entries added";
        case Edit::Kind::entries_withdrawn:
            return "entries withdrawn";
        case Edit::Kind::map_edited:
            return "map edited";
        case Edit::Kind::tie_points_set:
            return "tie points set";
        case Edit::Kind::tone_settled:
            return "tone settled";
        case Edit::Kind::job_described:
            return "job described";
    }
    return "";
}

std::string content_name(const std::string& text) {
    std::vector<std::byte> bytes(text.size());
    for (std::size_t i = 0; i < text.size(); ++i) bytes[i] = static_cast<std::byte>(text[i]);
    return sha256_of(bytes).substr(0, 32);
}

Result<std::filesystem::path> bench_folder(const std::optional<std::filesystem::path>& asked) {
    // An environment variable that is set but empty counts as not set (XDG base directory specification).
    const auto from_environment = [](const char* name) -> std::filesystem::path {
        const char* value = std::getenv(name);
        return value != nullptr ? std::filesystem::path(value) : std::filesystem::path();
    };
    if (asked) {
        if (asked->empty()) return bad_input("--bench: the name of the bench folder is empty; give a folder");
        return *asked;
    }
    if (const auto bench = from_environment("EYELET_BENCH"); !bench.empty()) return bench;
    // "All paths set in these environment variables must be absolute"; a relative one is to be ignored.
    if (const auto data = from_environment("XDG_DATA_HOME"); data.is_absolute()) return data / "eyelet";
    if (const auto home = from_environment("HOME"); home.is_absolute())
        return home / ".local" / "share" / "eyelet";
    return not_found("no bench folder: HOME is not set; give --bench DIR or set EYELET_BENCH");
}

Result<std::unique_ptr<Store>> open_bench(const std::filesystem::path& folder, OpenMode mode) {
    return open_sqlite_bench(folder, mode, {});
}

}  // namespace eyelet
