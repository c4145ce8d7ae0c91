// Picture tiles for deep zoom, made when first asked for and kept in the bench's tiles folder. Of each
// photograph there are two pyramids: as taken, and seen straight from above in the board's frame (not
// mirrored). Rectified pyramids of both sides of one board have one scale and margin, so they lie on each
// other pixel for pixel.
#pragma once

#include <filesystem>

#include "eyelet/bench/store.h"
#include "eyelet/photo/tiles.h"

namespace eyelet {

enum class TilesOf { photograph, rectified };

struct TilePyramid {
    std::filesystem::path folder;  // LEVEL/COLUMN_ROW.jpg: photo/tiles.h
    Pyramid pyramid;
    double px_per_mm = 0;  // rectified only: at the last level
    double margin_mm = 0;  // rectified only: pixel (0, 0) begins at (-margin, -margin)
};

// Rectified: refused where the photograph is not aligned yet.
[[nodiscard]] Result<TilePyramid> tiles_of(Store& store, const JobName& job, const PhotographName& photograph,
                                           TilesOf of);

}  // namespace eyelet
