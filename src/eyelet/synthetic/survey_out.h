// Writes an invented board as others may be given it: a survey in the schema board-survey/1 with tie points
// as a person would click them, the truth beside it, and the assembly file board-assembly/1 for several
// boards.
#pragma once

#include <cstdint>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "eyelet/board/camera.h"
#include "eyelet/board/map.h"
#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/paint.h"

namespace eyelet::synthetic {

struct PhotoFile {
    std::string file;  // beside the survey
    Side side = Side::component;
    int width_px = 0;
    int height_px = 0;
    Camera camera;  // the truth; it goes into the truth file only
};
[[nodiscard]] inline PhotoFile photo_file(std::string file, const Photograph& photo) {
    return {std::move(file), photo.side, photo.width, photo.height, photo.camera};
}

struct Ties {
    int count = 7;
    double click_error_px = 1.5;  // deviation of a click, each way
    bool one_wrong = false;       // the last one is plainly wrong
    std::uint64_t seed = 1;
};

// The survey of a layout's one board: no connections, no camera.
[[nodiscard]] nlohmann::json survey_of(const Layout& layout, const std::string& slug,
                                       const std::vector<PhotoFile>& photos, const Ties& ties);

// The truth beside it: nets as a partition of all joints, the cameras, and nothing that a tool may read.
[[nodiscard]] nlohmann::json truth_of(const Layout& layout, const std::vector<PhotoFile>& photos);

// `assembly.json`: boards by name with their surveys' places, cables by joint names ("main/J1.1").
[[nodiscard]] nlohmann::json assembly_file(const Assembly& assembly, const std::string& complaint);

}  // namespace eyelet::synthetic
