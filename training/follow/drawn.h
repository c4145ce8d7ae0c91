// Candidates and leads of a case in numbers, drawn once and kept in a file while judgements are fitted.
#pragma once

#include <filesystem>
#include <set>
#include <utility>

#include "boosting.h"
#include "cases.h"
#include "eyelet/photo/lead_features.h"

namespace eyelet::fitting {

struct Drawn {
    std::string layout;
    std::string level;
    std::string folder;
    Assembly assembly;
    std::vector<int> net;
    std::vector<std::vector<int>> area;
    struct Item {
        Sample sample;
        Link link;
        double least_pass = 0;
    };
    std::vector<Item> items;
    struct Lead {
        Side side;
        JointIndex joint;
        Sample sample;  // `yes`: it has a true direct link that no listed link or chain of true links gives
        double probability = 0;
    };
    std::vector<Lead> leads;
    std::vector<std::vector<JointIndex>> nets;  // as put together from the links
    std::vector<std::set<std::pair<int, int>>> truly_direct;  // [side]: pairs that the true copper joins directly
    [[nodiscard]] std::string name() const { return layout + " " + level; }
    // Links given, at the present probabilities.
    [[nodiscard]] std::vector<Link> links(double least = 0.01) const;
    // Fills the leads' features that rest on links, and whether they are true.
    void settle_leads();
};

// Kept between runs; the maps are read again from the boards' folders.
void keep(const std::vector<Drawn>& drawn, const std::filesystem::path& file);
[[nodiscard]] std::vector<Drawn> kept(const std::filesystem::path& file);

[[nodiscard]] Drawn draw(const Case& one, std::set<std::pair<int, int>> direct_top, std::set<std::pair<int, int>> direct_bottom);
[[nodiscard]] std::set<std::pair<int, int>> direct_pairs(const Case& masks, Side side);

}  // namespace eyelet::fitting
