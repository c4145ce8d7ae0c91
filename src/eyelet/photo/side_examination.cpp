#include "eyelet/photo/side_examination.h"

#include "eyelet/photo/hidden_leaps.h"

namespace eyelet {

SideExamination examine_side(const Assembly& assembly, const SideEvidence& evidence, const FollowCopperOptions& options) {
    SideExamination side;
    side.joints = joints_on(assembly, evidence.board, evidence.side);
    const PixelGrid grid{evidence.copper.cols, evidence.copper.rows, evidence.px_per_mm};
    side.pictures = prepare_side(evidence.copper, evidence.hidden, draw_pads(assembly, side.joints, grid), grid,
                                 options.hidden_above);
    side.rings.reserve(side.joints.size());
    for (std::size_t i = 0; i < side.joints.size(); ++i)
        side.rings.push_back(look_round(assembly.joint(side.joints[i]), static_cast<int>(i), side.pictures.copper,
                                        evidence.hidden, side.pictures.owner, grid));
    side.regions = grow_regions(side.pictures.log_odds, side.pictures.owner, static_cast<int>(side.joints.size()));
    add_leaps(side.regions, side.pictures);
    cross_islands(side.regions);
    side.candidates =
        describe_candidates(assembly, side.joints, side.pictures, side.rings, find_candidates(side.regions));
    return side;
}

}  // namespace eyelet
