#include "eyelet/jobs/import.h"

#include <fmt/format.h>

#include <fstream>
#include <set>
#include <system_error>

#include "eyelet/photo/image.h"

namespace eyelet {

namespace {

namespace fs = std::filesystem;

Result<std::vector<std::byte>> read_file(const fs::path& path, const std::string& name) {
    std::error_code error;
    const auto size = fs::file_size(path, error);
    if (error) return not_found(fmt::format("{}: there is no such file ({})", name, error.message()));
    std::ifstream in(path, std::ios::binary);
    std::vector<std::byte> bytes(size);
    in.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(size));
    if (!in) return bad_input(fmt::format("{}: it cannot be read; is reading allowed?", name));
    return bytes;
}

// Decodes the whole picture: what is stored can be shown and followed later.
Status check_picture(NewPhotograph& photograph, const std::string& name) {
    EYELET_ASSIGN(const Image image, decode(photograph.bytes, name));
    const int width = image.bgr.cols;
    const int height = image.bgr.rows;
    if (photograph.width_px == 0 && photograph.height_px == 0) {
        photograph.width_px = width;
        photograph.height_px = height;
    }
    if (photograph.width_px != width || photograph.height_px != height)
        return bad_input(fmt::format("{}: the picture is {} x {} pixels, not {} x {} as was said", name,
                                     width, height, photograph.width_px, photograph.height_px));
    photograph.media_type = media_type_of(image.format);
    std::set<JointName> tied;
    for (const StoredTiePoint& tie : photograph.tie_points) {
        // A pixel's centre is at whole numbers, so the picture reaches half a pixel beyond them.
        if (!(tie.pixel.x >= -0.5 && tie.pixel.x <= width - 0.5 && tie.pixel.y >= -0.5 &&
              tie.pixel.y <= height - 0.5))
            return bad_input(
                fmt::format("{}: tie point {} lies outside the picture", name, tie.joint.text()));
        if (!tied.insert(tie.joint).second)
            return bad_input(
                fmt::format("{}: joint {} has two tie points; give each joint one", name, tie.joint.text()));
    }
    return {};
}

}  // namespace

Result<Job> import_survey(Store& store, const Survey& survey, const ImportOptions& options,
                          const Watch& watch) {
    NewJob wanted;
    wanted.map = survey.assembly;
    wanted.unit = UnitName(options.unit.empty() ? survey.unit : options.unit);
    wanted.complaint = options.complaint.empty() ? survey.complaint : options.complaint;
    wanted.condition = options.condition;
    for (std::size_t i = 0; i < survey.photos.size(); ++i) {
        const SurveyPhoto& photo = survey.photos[i];
        watch.tell(static_cast<double>(i) / static_cast<double>(survey.photos.size() + 1),
                   fmt::format("reading {}", photo.file));
        if (watch.stop.stop_requested()) return refused("stopped; nothing was imported");
        NewPhotograph photograph;
        const std::string name = photo.path.string();
        EYELET_ASSIGN(photograph.bytes, read_file(photo.path, name));
        photograph.file_name = photo.file;
        photograph.board = survey.assembly.board(photo.board).name;
        photograph.side = photo.side;
        photograph.width_px = photo.width_px;
        photograph.height_px = photo.height_px;
        for (const SurveyTiePoint& tie : photo.tie_points)
            photograph.tie_points.push_back({survey.assembly.joint(tie.joint).name, tie.pixel});
        EYELET_TRY(check_picture(photograph, name));
        wanted.photographs.push_back(std::move(photograph));
    }
    if (watch.stop.stop_requested()) return refused("stopped; nothing was imported");
    watch.tell(0.95, "storing");
    return store.add_job(wanted, options.who);
}

Result<Photograph> add_job_photograph(Store& store, const JobName& job, NewPhotograph photograph,
                                      const Who& who) {
    EYELET_TRY(
        check_picture(photograph, photograph.file_name.empty() ? "the photograph" : photograph.file_name));
    return store.add_photograph(job, photograph, who);
}

}  // namespace eyelet
