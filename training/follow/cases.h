// Boards with a known layout, as cases to fit and measure on: map, truth, and evidence of both sides.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "eyelet/photo/follow.h"

namespace eyelet::fitting {

struct Case {
    std::string layout;  // board's folder; a real board and its rendered twin count as one layout
    std::string level;
    std::string folder;
    Assembly assembly;
    std::vector<int> net;                 // of each joint
    std::vector<std::vector<int>> area;   // [side][joint]: number of the true copper area, -1 off side
    std::vector<SideEvidence> sides;
    std::vector<SideEvidence> mask_sides;  // the true copper, where the case keeps it (invented boards)
    [[nodiscard]] std::string name() const { return layout + " " + level; }
};

enum class EvidenceFrom { masks, degraded_masks, folder };

// Cases under `boards` (a folder of board folders). Levels without evidence are left out.
// `wanted` says, by layout and level, which ones to read.
std::vector<Case> load_cases(const std::filesystem::path& boards, EvidenceFrom from, const std::filesystem::path& evidence,
                             const std::function<bool(const std::string&, const std::string&)>& wanted = {});

// Invented boards, numbered from `first`, with degraded masks of random quality for evidence.
std::vector<Case> made_cases(int count, unsigned first);

}  // namespace eyelet::fitting
