// What can be told about whether a joint has copper that leaves it towards somewhere unseen, on one side.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "eyelet/photo/side_examination.h"

namespace eyelet {

// The order is the order of the numbers in LeadFeatures.
enum class LeadFeature {
    best_link,          // (the first five rest on links) highest probability of a link of the joint on this side
    second_link,
    likely_links,       // sum of probabilities
    doubtful_links,     // sum of p (1 - p)
    best_elsewhere,     // highest probability of a link on the other side
    pass_to_hidden,     // log-odds of the best way from the pad to a hidden pixel of its region; floor: none
    steps_to_hidden_mm, // length of the shortest such way over likely copper; 20: none
    hidden_near_mm2,    // hidden area of its region that likely copper reaches
    hidden_region,      // share of its region (near ground left out) that is hidden
    farthest_mm,        // how far likely copper of its region runs from the pad
    own_area_mm2,       // likely copper of its region
    ring_closed, ring_open, ring_best, ring_spokes, ring_cross, ring_field, ring_hidden, ring_doubt, ring_crowded,
    ring_rise, ring_cross_rise, ring_median,
    pad_hidden,         // share of the pad itself that the evidence calls hidden
    best_island_pass,   // best pass to an island: copper that no pad owns
    via,
    pad_size_mm,
    alone_in_part,      // the part has no other joint
    side_doubt, side_contrast, side_hidden,
    count
};
constexpr std::size_t kLeadFeatureCount = static_cast<std::size_t>(LeadFeature::count);
using LeadFeatures = std::array<float, kLeadFeatureCount>;

struct DescribedLead {
    int joint = 0;                   // place in the examination's list
    LeadFeatures features{};
    std::optional<Point> last_seen;  // where likely copper goes out of sight, or its far end
};

// One for each joint of the side, in the examination's order; what rests on links is still zero.
[[nodiscard]] std::vector<DescribedLead> describe_leads(const Assembly& assembly, const SideExamination& side,
                                                        const cv::Mat& hidden_as_given);

// Adds what the links say. `links` are those of all sides and boards, with their probabilities.
void tell_links(std::vector<DescribedLead>& leads, const std::vector<JointIndex>& joints, Side which,
                const std::vector<Link>& links);

}  // namespace eyelet
