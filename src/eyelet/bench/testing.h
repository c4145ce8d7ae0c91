// Helpers for tests that need a bench. Included by tests only.
#pragma once

#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <utility>

#include "eyelet/bench/store.h"

namespace eyelet {

// A folder of its own that goes away with the value.
class TemporaryFolder {
  public:
    TemporaryFolder() {
        std::string pattern = (std::filesystem::temp_directory_path() / "eyelet-test-XXXXXX").string();
        if (::mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder can be made");
        path_ = pattern;
    }
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;
    ~TemporaryFolder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

  private:
    std::filesystem::path path_;
};

// The value, or the test ends here with the error's message.
template <class T>
T must(Result<T> result) {
    if (!result.ok()) throw std::runtime_error(result.error().message);
    return std::move(result).value();
}
inline void ok(const Status& status) {
    if (!status.ok()) throw std::runtime_error(status.error().message);
}

// One board with a capacitor C1 and a connector X1 of three pins; the cable is only there to be stored.
//
//      C1.1 o   o C1.2
//      X1.1 o   o X1.2   o X1.3
inline Assembly small_map() {
    Assembly map;
    map.name = "warp-feed-controller";
    map.boards.push_back({BoardName("main"), {40, 30}, {{0, 0}, {40, 0}, {40, 30}, {0, 30}}});
    map.parts.push_back(
        {PartName("C1"), BoardIndex(0), "100u", "radial_can", Side::component, {{5, 5}, {15, 15}}, {}});
    const auto add = [&](const char* name, const char* pin, Point at, bool of_part) {
        Joint joint;
        joint.name = JointName(name);
        joint.board = BoardIndex(0);
        if (of_part) {
            joint.part = PartIndex(0);
            map.parts[0].joints.emplace_back(map.joints.size());
        }
        joint.pin = pin;
        joint.hole = at;
        joint.copper_centre = at;
        joint.pad_mm = {1.8, 1.8};
        joint.drill_mm = Size{0.9, 0.9};
        map.joints.push_back(joint);
    };
    add("C1.1", "1", {8, 10}, true);
    add("C1.2", "2", {13, 10}, true);
    add("X1.1", "1", {8, 20}, false);
    add("X1.2", "2", {13, 20}, false);
    add("X1.3", "3", {18, 20}, false);
    map.joints[2].pin = "2";
    map.cables.push_back({"W1", {{JointIndex(2), JointIndex(4)}}});
    return map;
}

inline NewJob small_job() {
    NewJob job;
    job.map = small_map();
    return job;
}

// Bytes that are no picture: the store does not look into them.
inline NewPhotograph small_photograph(Side side, std::size_t byte_count) {
    NewPhotograph photograph;
    for (std::size_t i = 0; i < byte_count; ++i)
        photograph.bytes.push_back(static_cast<std::byte>((i * 7 + (side == Side::solder ? 1 : 0)) & 0xff));
    photograph.file_name = side == Side::component ? "oben.jpg" : "unten — Lötseite.jpg";
    photograph.media_type = "image/jpeg";
    photograph.board = BoardName("main");
    photograph.side = side;
    photograph.width_px = 640;
    photograph.height_px = 480;
    return photograph;
}

}  // namespace eyelet
