#include "eyelet/photo/lead_features.h"

#include <algorithm>
#include <unordered_map>

namespace eyelet {

namespace {
std::size_t at(int index) { return static_cast<std::size_t>(index); }
}  // namespace

void tell_links(std::vector<DescribedLead>& leads, const std::vector<JointIndex>& joints, Side which,
                const std::vector<Link>& links) {
    std::unordered_map<JointIndex, int> place;
    for (std::size_t i = 0; i < joints.size(); ++i) place[joints[i]] = static_cast<int>(i);
    struct Told {
        double best = 0;
        double second = 0;
        double likely = 0;
        double doubtful = 0;
        double elsewhere = 0;
    };
    std::vector<Told> told(joints.size());
    for (const Link& link : links)
        for (const JointIndex joint : {link.from, link.to}) {
            const auto here = place.find(joint);
            if (here == place.end()) continue;
            Told& t = told[at(here->second)];
            const double p = link.probability;
            if (link.side != which) {
                t.elsewhere = std::max(t.elsewhere, p);
                continue;
            }
            if (p > t.best) {
                t.second = t.best;
                t.best = p;
            } else {
                t.second = std::max(t.second, p);
            }
            t.likely += p;
            t.doubtful += p * (1 - p);
        }
    for (DescribedLead& lead : leads) {
        const Told& t = told[at(lead.joint)];
        const auto set = [&](LeadFeature feature, double value) {
            lead.features[static_cast<std::size_t>(feature)] = static_cast<float>(value);
        };
        set(LeadFeature::best_link, t.best);
        set(LeadFeature::second_link, t.second);
        set(LeadFeature::likely_links, t.likely);
        set(LeadFeature::doubtful_links, t.doubtful);
        set(LeadFeature::best_elsewhere, t.elsewhere);
    }
}

std::vector<DescribedLead> describe_leads(const Assembly& assembly, const SideExamination& side,
                                          const cv::Mat& hidden_as_given) {
    struct Told {  // gathered for each joint of the side
        double pass_to_hidden = RegionGraph::kFloor;
        double steps_to_hidden_mm = 20;
        int hidden_px = 0;
        int region_px = 0;
        int region_hidden_px = 0;
        int copper_px = 0;
        double farthest_mm = 0;
        int far_pixel = -1;
        int near_pixel = -1;
        int pad_px = 0;
        int pad_hidden_px = 0;
        double island_pass = RegionGraph::kFloor;
    };
    const RegionGraph& graph = side.regions;
    const double mm = 1 / side.pictures.grid.px_per_mm;
    const int near_px = static_cast<int>(3 * side.pictures.grid.px_per_mm);
    std::vector<Told> told(side.joints.size());
    const int count = static_cast<int>(graph.region.size());
    for (int p = 0; p < count; ++p) {
        const int region = graph.region[at(p)];
        if (region >= graph.pads) continue;
        Told& t = told[at(region)];
        const int row = p / graph.width;
        const int column = p % graph.width;
        if (graph.back[at(p)] == RegionGraph::kSource) {
            ++t.pad_px;
            if (hidden_as_given.at<float>(row, column) > 0.5F) ++t.pad_hidden_px;
            continue;
        }
        const bool hidden = side.pictures.hidden.at<std::uint8_t>(row, column) != 0;
        const double reached = graph.reached[at(p)];
        const double steps_mm = graph.steps[at(p)] * mm;
        if (graph.steps[at(p)] < near_px) {
            ++t.region_px;
            if (hidden) ++t.region_hidden_px;
        }
        if (hidden) {
            t.pass_to_hidden = std::max(t.pass_to_hidden, reached);
            // Under cover the evidence is a guess, so a little below even odds still counts.
            if (reached > -1) {
                ++t.hidden_px;
                if (steps_mm < t.steps_to_hidden_mm) {
                    t.steps_to_hidden_mm = steps_mm;
                    t.near_pixel = p;
                }
            }
        } else if (reached > 0) {
            ++t.copper_px;
            if (steps_mm > t.farthest_mm) {
                t.farthest_mm = steps_mm;
                t.far_pixel = p;
            }
        }
    }
    for (const Contact& contact : graph.contacts)
        if (contact.a < graph.pads && contact.b >= graph.pads)
            told[at(contact.a)].island_pass = std::max(told[at(contact.a)].island_pass, contact.pass);

    std::vector<DescribedLead> leads(side.joints.size());
    for (std::size_t i = 0; i < side.joints.size(); ++i) {
        const Told& t = told[i];
        const PadRing& ring = side.rings[i];
        const Joint& joint = assembly.joint(side.joints[i]);
        leads[i].joint = static_cast<int>(i);
        const auto set = [&](LeadFeature feature, double value) {
            leads[i].features[static_cast<std::size_t>(feature)] = static_cast<float>(value);
        };
        set(LeadFeature::pass_to_hidden, t.pass_to_hidden);
        set(LeadFeature::steps_to_hidden_mm, t.steps_to_hidden_mm);
        set(LeadFeature::hidden_near_mm2, t.hidden_px * mm * mm);
        set(LeadFeature::hidden_region, t.region_px > 0 ? static_cast<double>(t.region_hidden_px) / t.region_px : 0);
        set(LeadFeature::farthest_mm, t.farthest_mm);
        set(LeadFeature::own_area_mm2, t.copper_px * mm * mm);
        set(LeadFeature::ring_closed, ring.closed);
        set(LeadFeature::ring_open, ring.open);
        set(LeadFeature::ring_best, ring.best_neck);
        set(LeadFeature::ring_spokes, ring.spokes);
        set(LeadFeature::ring_cross, ring.cross);
        set(LeadFeature::ring_field, ring.field);
        set(LeadFeature::ring_hidden, ring.hidden);
        set(LeadFeature::ring_doubt, ring.doubt);
        set(LeadFeature::ring_crowded, ring.crowded);
        set(LeadFeature::ring_rise, ring.rise);
        set(LeadFeature::ring_cross_rise, ring.cross_rise);
        set(LeadFeature::ring_median, ring.median_odds);
        set(LeadFeature::pad_hidden, t.pad_px > 0 ? static_cast<double>(t.pad_hidden_px) / t.pad_px : 0);
        set(LeadFeature::best_island_pass, t.island_pass);
        set(LeadFeature::via, joint.kind == JointKind::via ? 1 : 0);
        set(LeadFeature::pad_size_mm, std::min(joint.pad_mm.width, joint.pad_mm.height));
        set(LeadFeature::alone_in_part, joint.part.valid() && assembly.part(joint.part).joints.size() == 1 ? 1 : 0);
        set(LeadFeature::side_doubt, side.pictures.doubt);
        set(LeadFeature::side_contrast, side.pictures.contrast);
        set(LeadFeature::side_hidden, side.pictures.hidden_share);
        const int seen = t.near_pixel >= 0 ? t.near_pixel : t.far_pixel;
        if (seen >= 0) leads[i].last_seen = side.pictures.grid.to_board(seen % graph.width, seen / graph.width);
    }
    return leads;
}

}  // namespace eyelet
