// Picture tiles for deep zoom, made when first asked for and kept in the bench's tiles folder. Of each photograph
// there are two pyramids: as taken, and rectified into the board's frame (not mirrored, so that both sides of a
// board lie on each other).
#pragma once

#include <filesystem>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/watch.h"

namespace eyelet {

enum class TilesOf { photograph, rectified };

struct TilePyramid {
    std::filesystem::path folder;  // LEVEL/COLUMN_ROW.jpg; level 0 is the smallest
    int width_px = 0;              // of the largest level
    int height_px = 0;
    int tile_px = 0;
    int levels = 0;
    double px_per_mm = 0;          // rectified only; pixel (0, 0)'s centre lies at `origin_mm`
    Point origin_mm;
};

[[nodiscard]] Result<TilePyramid> tiles_of(Store& store, const PhotographName& photograph, const JobName& job, TilesOf of,
                                           const Watch& watch = {});

}  // namespace eyelet
