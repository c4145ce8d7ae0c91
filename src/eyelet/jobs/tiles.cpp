#include "eyelet/jobs/tiles.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "eyelet/photo/image.h"

namespace eyelet {

namespace {

// Both sides of a board get one scale: enough to show the sharpest photograph of the two pixel by pixel, in
// steps of two, so that a slightly better photograph does not make all pyramids anew. At most 40 megapixels
// or so.
double scale_for(const Assembly& map, BoardIndex board, const std::vector<Photograph>& photographs,
                 const std::vector<StoredAlignment>& alignments) {
    const Size size = map.board(board).size_mm;
    double sharpest = 10;
    for (const StoredAlignment& alignment : alignments)
        for (const Photograph& photograph : photographs)
            if (photograph.name == alignment.photograph && photograph.board == map.board(board).name &&
                !photograph.withdrawn)
                sharpest = std::max(sharpest, alignment.camera.px_per_mm({size.width / 2, size.height / 2}));
    const double largest = std::sqrt(40e6 / (size.width * size.height));
    return std::max(2.0, 2 * std::floor(std::min(sharpest, largest) / 2));
}

}  // namespace

Result<TilePyramid> tiles_of(Store& store, const JobName& job, const PhotographName& name, TilesOf of) {
    EYELET_ASSIGN(const std::vector<Photograph> photographs, store.photographs(job));
    const auto photograph =
        std::find_if(photographs.begin(), photographs.end(), [&](const auto& p) { return p.name == name; });
    if (photograph == photographs.end())
        return not_found(
            fmt::format("photograph {}: job {} has no such photograph", name.text(), job.text()));
    TilePyramid tiles;
    if (of == TilesOf::photograph) {
        tiles.folder = store.tiles_folder() / photograph->sha256 / "photograph";
        if (const auto found = find_pyramid(tiles.folder)) {
            tiles.pyramid = *found;
            return tiles;
        }
        EYELET_ASSIGN(const auto bytes, store.photograph_bytes(name));
        EYELET_ASSIGN(tiles.pyramid, make_pyramid(bytes, photograph->file_name, tiles.folder));
        return tiles;
    }

    EYELET_ASSIGN(const std::vector<StoredAlignment> alignments, store.alignments(job));
    const auto alignment = std::find_if(alignments.begin(), alignments.end(),
                                        [&](const auto& a) { return a.photograph == name; });
    if (alignment == alignments.end())
        return refused(
            fmt::format("photograph {}: it is not aligned yet; align job {} first", name.text(), job.text()));
    EYELET_ASSIGN(const MapVersion version, store.map(job));
    const BoardIndex board = version.map.find_board(photograph->board);
    if (!board.valid())
        return refused(fmt::format("photograph {}: its board {} is no longer in the map", name.text(),
                                   photograph->board.text()));
    tiles.px_per_mm = scale_for(version.map, board, photographs, alignments);
    tiles.margin_mm = 2;
    // All that the pixels depend on is in the folder's name, so a pyramid there is never out of date.
    const Camera& camera = alignment->camera;
    std::string basis =
        fmt::format("{} {} {} {} {} {}", fmt::join(camera.photo_from_board, " "), camera.k1,
                    camera.centre_px.x, camera.centre_px.y, camera.radius_px, tiles.margin_mm);
    const Size size = version.map.board(board).size_mm;
    basis += fmt::format(" {} {} {}", size.width, size.height, tiles.px_per_mm);
    tiles.folder = store.tiles_folder() / photograph->sha256 / ("rectified-" + content_name(basis));
    if (const auto found = find_pyramid(tiles.folder)) {
        tiles.pyramid = *found;
        return tiles;
    }
    EYELET_ASSIGN(const auto bytes, store.photograph_bytes(name));
    EYELET_ASSIGN(const Image image, decode(bytes, photograph->file_name));
    EYELET_ASSIGN(tiles.pyramid, make_rectified_pyramid(image.bgr, camera, size, tiles.px_per_mm,
                                                        tiles.margin_mm, tiles.folder));
    return tiles;
}

}  // namespace eyelet
