// What can be told about a candidate link, in numbers that hold on any board: nothing here knows names or places.
#pragma once

#include <array>
#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/photo/candidates.h"
#include "eyelet/photo/pad_ring.h"

namespace eyelet {

// Pictures derived from the evidence, shared by all candidates of a side.
struct SidePictures {
    PixelGrid grid;
    cv::Mat owner;       // CV_32S, draw_pads
    cv::Mat copper;      // CV_32F, as it came in, pads filled
    cv::Mat log_odds;    // CV_32F, of the slightly smoothed copper
    cv::Mat narrow;      // CV_32F, least copper of the 3 x 3 pixels around: high only where a way is 3 px wide
    cv::Mat half_width;  // CV_32F, distance in px to the nearest pixel below even odds, the best within 2 px
    cv::Mat hidden;      // CV_8U, 1 where hidden
    cv::Mat near_doubt;  // CV_32F, mean entropy of the pixels within 0.8 mm, bits
    double doubt = 0;    // mean entropy of the visible pixels, bits
    double contrast = 0; // share of visible pixels that are plainly one or the other
    double fill = 0;     // share of visible pixels above even odds
    double hidden_share = 0;
};

[[nodiscard]] SidePictures prepare_side(const cv::Mat& copper, const cv::Mat& hidden, cv::Mat owner, const PixelGrid& grid,
                                        double hidden_above);

// The order is the order of kLinkFeatures.
enum class LinkFeature {
    least_pass,         // log-odds of the lowest contact on the way
    doubt,              // sum over contacts
    contacts,
    open_px,            // how wide the lowest contact is open
    touching_px,
    length_mm,
    crow_mm,            // between the pads' centres
    detour,             // length over the straight distance
    mean_log_odds,      // along the visible way
    least_seen,         // least log-odds where the way is visible
    second_least_seen,  // least once the worst place and 0.5 mm around it are left out
    least_narrow,       // least of the 3 x 3 minimum where visible
    gap_px,             // visible pixels below even odds
    longest_gap_px,
    deficit,            // sum of log-odds below zero, visible, per pixel of the way's worst 16
    width_mm,           // median where visible
    least_width_mm,
    width_spread,       // (upper - lower quartile) / median
    hidden_share,
    longest_hidden_mm,
    bend_at_hidden,     // worst turn between a hidden stretch's chord and the way before and after it, 1 - cosine
    width_change_at_hidden,  // |ln(width after / width before)|
    mean_hidden_log_odds,
    ring_closed_high, ring_closed_low,   // of the two pads: the higher and the lower
    ring_open_low, ring_open_high,
    ring_best_low, ring_best_high,
    ring_spokes_low,
    ring_cross_low, ring_cross_high,
    ring_field_low, ring_field_high,
    ring_hidden_high,
    ring_crowded_high,
    ring_gain_low, ring_gain_high,
    ring_doubt_low, ring_doubt_high,
    ring_rise_low, ring_rise_high,
    ring_cross_rise_low, ring_cross_rise_high,
    ring_median_low, ring_median_high,
    pass_over_ring,     // lowest contact over the lower of the two rings' median necks, log-odds
    doubt_at_least,     // mean entropy around the least visible place of the way: low where the evidence is clean
    doubt_along,        // the same, mean along the way
    side_gap,           // what a gap looks like on this side: lower third of the least log-odds of all its candidates
    behind_best,        // log-odds by which the lowest contact is below the best of the same pads' other candidates
    others_better,      // of the pad that has fewer: how many of its candidates have a higher pass
    vias,               // 0, 1 or 2 of the joints are vias
    same_part,
    two_pin_part,       // they are the only two joints of one part
    side_doubt,
    side_contrast,
    side_fill,
    side_hidden,
    side_joined,        // candidates whose pass is plain copper, per joint of the side
    side_crowding,      // joints per square centimetre
    pad_size_low_mm,
    pad_size_high_mm,
    count
};
constexpr std::size_t kLinkFeatureCount = static_cast<std::size_t>(LinkFeature::count);
using LinkFeatures = std::array<float, kLinkFeatureCount>;

// What the way itself shows, kept for the link that may come of it.
struct WayMeasures {
    double length_mm = 0;
    double width_mm = 0;
    double hidden_share = 0;
    double longest_hidden_mm = 0;
    double longest_gap_mm = 0;
    double least_seen_log_odds = 0;
    bool touch = false;      // the two pads overlap or touch
    int first_outside = 0;   // places in the way: the part between the pads
    int last_outside = 0;
};

struct DescribedCandidate {
    Candidate candidate;
    WayMeasures measures;
    LinkFeatures features{};
};

[[nodiscard]] std::vector<DescribedCandidate> describe_candidates(const Assembly& assembly,
                                                                  const std::vector<JointIndex>& joints,
                                                                  const SidePictures& pictures,
                                                                  const std::vector<PadRing>& rings,
                                                                  std::vector<Candidate> candidates);

}  // namespace eyelet
