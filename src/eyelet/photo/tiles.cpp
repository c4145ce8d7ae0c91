#include "eyelet/photo/tiles.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <string>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>
#include <vips/vips8>

#include "eyelet/photo/photo_source.h"
#include "eyelet/photo/rectify.h"
#include "eyelet/photo/vips_setup.h"

namespace eyelet {

namespace {

constexpr const char* kSizeFile = "pyramid.txt";
constexpr const char* kSizeForm = "eyelet-pyramid/1";
constexpr int kJpegQuality = 85;

// A folder beside `place` that is removed again unless it was renamed away.
class FolderBeside {
  public:
    static Result<FolderBeside> create(const std::filesystem::path& place) {
        static std::atomic<unsigned> count = 0;
        FolderBeside folder;
        folder.path_ = place;
        folder.path_ += fmt::format(".{}-{}.part", getpid(), count++);
        std::error_code failure;
        if (place.has_parent_path()) std::filesystem::create_directories(place.parent_path(), failure);
        if (!failure) std::filesystem::create_directory(folder.path_, failure);
        if (failure)
            return storage_error(fmt::format("tiles: the folder {} cannot be written ({})", place.string(), failure.message()));
        return folder;
    }
    FolderBeside(FolderBeside&& from) noexcept : path_(std::exchange(from.path_, {})) {}
    FolderBeside& operator=(FolderBeside&&) = delete;
    ~FolderBeside() {
        std::error_code ignored;
        if (!path_.empty()) std::filesystem::remove_all(path_, ignored);
    }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

  private:
    FolderBeside() = default;
    std::filesystem::path path_;
};

class OpenFolder {
  public:
    explicit OpenFolder(const std::filesystem::path& folder) : descriptor_(open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)) {}
    OpenFolder(const OpenFolder&) = delete;
    OpenFolder& operator=(const OpenFolder&) = delete;
    ~OpenFolder() {
        if (descriptor_ >= 0) close(descriptor_);
    }
    [[nodiscard]] int descriptor() const { return descriptor_; }

  private:
    int descriptor_;
};

// Every tile is there and ends with JPEG's end-of-image marker (ITU-T T.81, B.1.1.3). libvips 8.14 does not report
// that a tile could not be written, so a full disk shows only here.
bool has_every_tile(const std::filesystem::path& folder, const Pyramid& pyramid) {
    int width = pyramid.width_px;
    int height = pyramid.height_px;
    for (int level = pyramid.levels - 1; level >= 0; --level) {
        for (int column = 0; column * pyramid.tile_px < width; ++column)
            for (int row = 0; row * pyramid.tile_px < height; ++row) {
                std::ifstream tile(folder / fmt::format("{}/{}_{}.jpg", level, column, row), std::ios::binary);
                char end[2] = {};
                if (!tile.seekg(-2, std::ios::end).read(end, 2) || end[0] != '\xFF' || end[1] != '\xD9') return false;
            }
        width = (width + 1) / 2;
        height = (height + 1) / 2;
    }
    return true;
}

Error disk_said_no(const std::filesystem::path& folder) {
    return storage_error(fmt::format("tiles: {} could not be brought to the disk ({})", folder.string(), std::strerror(errno)));
}

// Renames the finished folder into place. The hundreds of tiles are brought to the disk by one call for the whole
// file system rather than one each: a rename must never survive a power cut that its tiles did not.
Result<Pyramid> put_in_place(const std::filesystem::path& made, const std::filesystem::path& folder, Pyramid pyramid) {
    if (!has_every_tile(made, pyramid))
        return storage_error(fmt::format("tiles: {} could not be written whole; the disk may be full", folder.string()));
    {
        std::ofstream size(made / kSizeFile);
        size << fmt::format("{} {} {} {} {}\n", kSizeForm, pyramid.width_px, pyramid.height_px, pyramid.tile_px, pyramid.levels);
        size.close();
        if (!size) return disk_said_no(made);
    }
    const OpenFolder opened(made);
    if (opened.descriptor() < 0 || syncfs(opened.descriptor()) != 0) return disk_said_no(made);
    if (rename(made.c_str(), folder.c_str()) != 0) {
        // Something lies there: another maker was faster, or it is no whole pyramid and gives way.
        if (const auto there = find_pyramid(folder)) return *there;
        EYELET_ASSIGN(const FolderBeside away, FolderBeside::create(folder));
        if (rename(folder.c_str(), (away.path() / "old").c_str()) != 0 || rename(made.c_str(), folder.c_str()) != 0) {
            if (const auto there = find_pyramid(folder)) return *there;
            return disk_said_no(folder);
        }
    }
    const OpenFolder parent(folder.has_parent_path() ? folder.parent_path() : std::filesystem::path("."));
    if (parent.descriptor() < 0 || fsync(parent.descriptor()) != 0) return disk_said_no(folder);
    return pyramid;
}

// Whether the disk still takes what a few tiles need: tells a full disk from a damaged photograph, which libvips
// reports alike.
bool takes_more(const std::filesystem::path& folder) {
    const std::filesystem::path trial = folder / "trial";
    std::ofstream file(trial, std::ios::binary);
    file << std::string(std::size_t{1} << 18, 'x');
    file.close();
    std::error_code ignored;
    std::filesystem::remove(trial, ignored);
    return !file.fail();
}

// May throw vips::VError.
void write_tiles(const vips::VImage& image, const std::filesystem::path& base) {
    image.dzsave(base.c_str(), vips::VImage::option()
                                   ->set("layout", VIPS_FOREIGN_DZ_LAYOUT_DZ)
                                   ->set("depth", VIPS_FOREIGN_DZ_DEPTH_ONEPIXEL)
                                   ->set("tile_size", Pyramid{}.tile_px)
                                   ->set("overlap", 0)
                                   ->set("suffix", fmt::format(".jpg[Q={},strip]", kJpegQuality).c_str()));
}

Result<Pyramid> make_pyramid(const PhotoSource& source, const std::filesystem::path& folder, const DecodeLimits& limits) {
    EYELET_ASSIGN(const OpenedPhoto opened, open_photo_header(source, limits));
    EYELET_ASSIGN(const FolderBeside beside, FolderBeside::create(folder));
    vips::VImage image = opened.image;
    try {
        image = to_srgb(image);
        if (opened.orientation != 1) {
            // Turning needs rows that are not at hand yet, so the picture is held whole.
            image = image.copy_memory();
            image.set(VIPS_META_ORIENTATION, opened.orientation);
            image = image.autorot();
        }
        write_tiles(image, beside.path() / "p");
    } catch (const vips::VError&) {
        if (!takes_more(beside.path()))
            return storage_error(fmt::format("tiles: {} could not be written ({})", folder.string(), take_vips_error()));
        return damaged_photo(source, opened.format);
    }
    return put_in_place(beside.path() / "p_files", folder, pyramid_of_size(image.width(), image.height()));
}

}  // namespace

Pyramid pyramid_of_size(int width_px, int height_px) {
    Pyramid pyramid{width_px, height_px};
    pyramid.levels = 1;
    for (int longest = std::max(width_px, height_px); longest > 1; longest = (longest + 1) / 2) ++pyramid.levels;
    return pyramid;
}

std::optional<Pyramid> find_pyramid(const std::filesystem::path& folder) {
    std::ifstream size(folder / kSizeFile);
    std::string form;
    Pyramid found;
    size >> form >> found.width_px >> found.height_px >> found.tile_px >> found.levels;
    if (!size || form != kSizeForm || found != pyramid_of_size(found.width_px, found.height_px)) return std::nullopt;
    return found;
}

Result<Pyramid> make_pyramid(const std::filesystem::path& photo, const std::filesystem::path& folder, const DecodeLimits& limits) {
    if (const auto there = find_pyramid(folder)) return *there;
    EYELET_ASSIGN(const PhotoSource source, open_photo(photo, limits));
    return make_pyramid(source, folder, limits);
}

Result<Pyramid> make_pyramid(std::span<const std::byte> photo, std::string_view name, const std::filesystem::path& folder,
                             const DecodeLimits& limits) {
    if (const auto there = find_pyramid(folder)) return *there;
    EYELET_ASSIGN(const PhotoSource source, open_photo(photo, name, limits));
    return make_pyramid(source, folder, limits);
}

Result<Pyramid> make_pyramid(const cv::Mat& pixels, const std::filesystem::path& folder) {
    if (const auto there = find_pyramid(folder)) return *there;
    EYELET_TRY(start_vips());
    if (pixels.empty() || (pixels.type() != CV_8UC1 && pixels.type() != CV_8UC3))
        return bad_input("tiles are made from 8-bit pixels of one or three channels");
    EYELET_ASSIGN(const FolderBeside beside, FolderBeside::create(folder));
    cv::Mat rgb;
    cv::cvtColor(pixels, rgb, pixels.channels() == 1 ? cv::COLOR_GRAY2RGB : cv::COLOR_BGR2RGB);
    try {
        write_tiles(vips::VImage::new_from_memory(rgb.data, rgb.total() * rgb.elemSize(), rgb.cols, rgb.rows, 3, VIPS_FORMAT_UCHAR)
                        .copy(vips::VImage::option()->set("interpretation", VIPS_INTERPRETATION_sRGB)),
                    beside.path() / "p");
    } catch (const vips::VError&) {
        return storage_error(fmt::format("tiles: {} could not be written ({})", folder.string(), take_vips_error()));
    }
    return put_in_place(beside.path() / "p_files", folder, pyramid_of_size(pixels.cols, pixels.rows));
}

Result<Pyramid> make_rectified_pyramid(const cv::Mat& photo, const Camera& camera, Size board_mm, double px_per_mm,
                                       double margin_mm, const std::filesystem::path& folder) {
    if (const auto there = find_pyramid(folder)) return *there;
    return make_pyramid(rectify(photo, camera, board_mm, px_per_mm, margin_mm), folder);
}

}  // namespace eyelet
