// The demo's unit: an invented machine controller of an invented maker. Two boards face each other in a
// circular knitting machine and are joined by a 16-way flat cable: `main` with the processor, `drive` with
// the drivers of the eight selector magnets. Its electrolytics have leaked and have taken one pad with them.
// Everything here is made up; the same call gives the same unit.
#pragma once

#include <string>
#include <vector>

#include "eyelet/board/map.h"
#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/paint.h"
#include "eyelet/synthetic/survey_out.h"

namespace eyelet::synthetic {

struct DemoFinding {
    std::string what;  // the bench's own words: "leaked", "lost pad", "corroded"
    std::string board;
    std::string part;   // empty where it is about a joint
    std::string joint;  // in the assembly: "main/C3.1"; empty where it is about a part
    std::string text;
};

struct DemoBoard {
    std::string name;
    Layout sound;  // as it left the maker
    Layout worn;   // as it came to the bench
    Paint paint;   // of the worn board
    Shot component_side;
    Shot solder_side;
    Ties ties;
};

struct Demo {
    std::string maker;
    std::string machine;
    std::string unit;  // serial number
    std::string complaint;
    std::string condition;  // that brings it on
    Assembly assembly;      // both boards and the cable, joints named "main/U1.3"
    std::vector<DemoBoard> boards;
    // Truth over the assembly's joints with the cable unplugged, before and after the damage.
    std::vector<std::vector<JointIndex>> nets_sound;
    std::vector<std::vector<JointIndex>> nets_worn;
    // The same with the cable plugged in.
    std::vector<std::vector<JointIndex>> nets_worn_with_cable;
    std::vector<DemoFinding> findings;
    std::vector<std::string> unrouted;  // of the plans; empty, as a test holds
};

// `width_px` is the photographs' longer side; 6000 makes 24 megapixels.
[[nodiscard]] Demo make_demo(int width_px = 6000);

// A layer drawing and a photograph of one side of a demo board, in one step.
[[nodiscard]] Photograph photograph(const DemoBoard& board, Side side);

}  // namespace eyelet::synthetic
