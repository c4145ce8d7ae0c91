// The answers of the ring-out over standard input, to a touch and to a sweep.
#include "eyelet/exchange/ring_lines.h"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>
#include <variant>

#include "eyelet/exchange/json_text.h"

namespace {

void require(bool holds) {
    if (!holds) std::abort();
}

eyelet::Assembly row_of_joints() {
    eyelet::Assembly assembly;
    assembly.boards.push_back({eyelet::BoardName("main"), {40, 30}, {}});
    for (const char* name : {"J12", "J40", "J41", "H***.2"}) {
        eyelet::Joint joint;
        joint.name = eyelet::JointName(name);
        joint.board = eyelet::BoardIndex(0);
        joint.hole = {2.54 * static_cast<double>(assembly.joints.size()), 1};
        joint.pad_mm = {1, 1};
        assembly.joints.push_back(joint);
    }
    return assembly;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const eyelet::Assembly assembly = row_of_joints();
    const std::string_view line(reinterpret_cast<const char*>(data), size);
    for (const auto kind : {eyelet::Gesture::Kind::touch, eyelet::Gesture::Kind::sweep}) {
        eyelet::Gesture gesture;
        gesture.kind = kind;
        gesture.hold = eyelet::JointIndex(0);
        gesture.along = {eyelet::JointIndex(1)};
        if (kind == eyelet::Gesture::Kind::sweep)
            gesture.along = {eyelet::JointIndex(1), eyelet::JointIndex(2), eyelet::JointIndex(3)};
        const auto read = eyelet::read_ring_line(assembly, gesture, line);
        if (!read.ok()) {
            const std::string said = eyelet::error_line(read.error());
            require(said.find('\n') == std::string::npos);
            require(eyelet::parse_json_text(said, "error line").ok());
            continue;
        }
        // An answer fits the question that was asked. A little below zero is a lead that was taken off too
        // generously.
        const auto* answer = std::get_if<eyelet::Answer>(&read.value());
        if (!answer) continue;
        if (const auto* sweep = std::get_if<eyelet::SweepAnswer>(answer)) {
            require(kind == eyelet::Gesture::Kind::sweep && sweep->said.size() == gesture.along.size());
            for (const eyelet::Said& said : sweep->said)
                if (const auto* ohms = std::get_if<eyelet::Ohms>(&said))
                    require(std::isfinite(ohms->value) && ohms->value >= -1);
        }
        if (const auto* touch = std::get_if<eyelet::TouchAnswer>(answer)) {
            require(kind == eyelet::Gesture::Kind::touch);
            if (const auto* ohms = std::get_if<eyelet::Ohms>(&touch->said))
                require(std::isfinite(ohms->value) && ohms->value >= -1);
        }
    }
    return 0;
}
