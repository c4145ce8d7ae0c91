// How near align comes to the truth, and how long it takes.
//
//   benchmark_align [FOLDER...]   each FOLDER holds boards: survey_LEVEL.json, their photographs, and board.json
//                                 with each photograph's true camera (default ../shared/boards ../shared/real)
//
// 1. For every photograph: the distance, in millimetres on the board, between where our camera and the true one
//    put each joint; beside it that of OpenCV's findHomography on the same tie points, the reference.
// 2. Time on a photograph of 24 megapixels, made by enlarging the first one, against findHomography's.
#include <array>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "eyelet/exchange/survey.h"
#include "eyelet/photo/alignment.h"
#include "eyelet/photo/image.h"

namespace {

using namespace eyelet;
namespace fs = std::filesystem;

double seconds_since(std::chrono::steady_clock::time_point start) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

struct TrueCamera {
    Camera camera;
    bool known = false;
};

TrueCamera true_camera(const nlohmann::json& truth, const std::string& file) {
    TrueCamera result;
    for (const auto& photo : truth.at("photos")) {
        if (photo.at("file") != file) continue;
        for (std::size_t i = 0; i < 9; ++i) result.camera.photo_from_board[i] = photo.at("homography")[i / 3][i % 3];
        const auto& lens = photo.at("distortion");
        result.camera.k1 = lens.at("k1");
        result.camera.centre_px = {lens.at("centre")[0], lens.at("centre")[1]};
        result.camera.radius_px = lens.at("radius");
        result.known = true;
    }
    return result;
}

struct Errors {
    double mean_mm = 0;
    double worst_mm = 0;
};

// The true camera's place of each joint, brought back to the board by the camera in question.
Errors errors_of(const Camera& camera, const Camera& truth, const Assembly& assembly, Side side) {
    Errors errors;
    std::size_t count = 0;
    for (const Joint& joint : assembly.joints) {
        if (!joint.on(side)) continue;
        const double miss = distance(camera.to_board(truth.to_photo(joint.hole)), joint.hole);
        errors.mean_mm += miss;
        errors.worst_mm = std::max(errors.worst_mm, miss);
        ++count;
    }
    errors.mean_mm /= static_cast<double>(std::max<std::size_t>(1, count));
    return errors;
}

// OpenCV's robust fit to the tie points, as anyone would call it.
Camera reference_camera(const Assembly& assembly, const std::vector<TiePoint>& ties, cv::Size photo) {
    std::vector<cv::Point2d> from;
    std::vector<cv::Point2d> to;
    for (const TiePoint& tie : ties) {
        from.emplace_back(assembly.joint(tie.joint).hole.x, assembly.joint(tie.joint).hole.y);
        to.emplace_back(tie.photo_px.x, tie.photo_px.y);
    }
    const cv::Mat h = cv::findHomography(from, to, cv::RANSAC, 15);
    Camera camera;
    camera.centre_px = {photo.width / 2.0, photo.height / 2.0};
    for (int i = 0; i < 9 && !h.empty(); ++i) camera.photo_from_board[static_cast<std::size_t>(i)] = h.at<double>(i);
    return camera;
}

std::vector<TiePoint> ties_of(const SurveyPhoto& photo) {
    std::vector<TiePoint> ties;
    for (const auto& tie : photo.tie_points) ties.push_back({tie.joint, tie.pixel});
    return ties;
}

struct Sum {
    double mean_mm = 0;
    double worst_mm = 0;
    int count = 0;
    int missed = 0;
};

void row(const Survey& survey, const SurveyPhoto& photo, const Camera& truth, const std::string& name, Sum& sum) {
    const auto image = decode(photo.path);
    if (!image.ok()) {
        fmt::print("{:<44} {}\n", name, image.error().message);
        return;
    }
    const auto ties = ties_of(photo);
    const auto start = std::chrono::steady_clock::now();
    const auto fit = align(image.value().bgr, photo.side, survey.assembly, photo.board, ties);
    const double seconds = seconds_since(start);
    const Errors reference = errors_of(reference_camera(survey.assembly, ties, image.value().bgr.size()), truth, survey.assembly, photo.side);
    if (!fit.ok()) {
        fmt::print("{:<44} refused: {}\n", name, fit.error().message);
        ++sum.missed;
        return;
    }
    const Alignment& a = fit.value();
    const Errors errors = errors_of(a.camera, truth, survey.assembly, photo.side);
    const bool within = errors.mean_mm < 0.03 && errors.worst_mm < 0.08;
    const char* lens = std::array{"flat", "k1", "centre"}[static_cast<std::size_t>(a.lens)];
    fmt::print("{:<44} {:7.4f} {:7.4f} {} {:4}/{:<4} {:7.4f} {:7.3f} {:6} {:5.2f}   {:7.4f} {:7.4f}\n", name, errors.mean_mm, errors.worst_mm,
               within ? ' ' : '*', a.joints_located, a.joints_sought, a.located_rms_mm.value_or(-1), a.tie_rms_mm.value_or(-1), lens, seconds,
               reference.mean_mm, reference.worst_mm);
    for (const auto& remark : a.remarks) fmt::print("    {}\n", remark);
    sum.mean_mm += errors.mean_mm;
    sum.worst_mm = std::max(sum.worst_mm, errors.worst_mm);
    ++sum.count;
    if (!within) ++sum.missed;
}

void accuracy(const fs::path& folder, const std::string& only) {
    std::vector<fs::path> boards;
    for (const auto& entry : fs::directory_iterator(folder))
        if (fs::exists(entry.path() / "board.json")) boards.push_back(entry.path());
    std::sort(boards.begin(), boards.end());
    fmt::print("\n{}\n{:<44} {:>7} {:>7}   {:>9} {:>7} {:>7} {:>5} {:>6}   {:>7} {:>7}\n", folder.string(), "photograph", "mean mm", "max mm", "located",
               "rms mm", "tie rms", "lens", "s", "findHomography", "");
    Sum sum;
    for (const fs::path& board : boards) {
        std::ifstream file(board / "board.json");
        const auto truth = nlohmann::json::parse(file);
        std::vector<fs::path> surveys;
        for (const auto& entry : fs::directory_iterator(board))
            if (entry.path().filename().string().starts_with("survey_")) surveys.push_back(entry.path());
        std::sort(surveys.begin(), surveys.end());
        for (const fs::path& path : surveys) {
            const auto survey = read_survey(path);
            if (!survey.ok()) {
                fmt::print("{}\n", survey.error().message);
                continue;
            }
            for (const SurveyPhoto& photo : survey.value().photos) {
                const std::string name = board.filename().string() + "/" + photo.file;
                if (!only.empty() && name.find(only) == std::string::npos) continue;
                if (const auto camera = true_camera(truth, photo.file); camera.known) row(survey.value(), photo, camera.camera, name, sum);
            }
        }
    }
    if (sum.count > 0)
        fmt::print("{} photographs: mean {:.4f} mm, worst joint of all {:.4f} mm, {} beyond mean 0.03 or max 0.08 (*)\n", sum.count,
                   sum.mean_mm / sum.count, sum.worst_mm, sum.missed);
}

// The first photograph of a folder enlarged to 24 megapixels.
void time_of_24_megapixels(const fs::path& folder) {
    for (const auto& entry : fs::recursive_directory_iterator(folder)) {
        if (entry.path().filename() != "survey_populated.json") continue;
        const auto survey = read_survey(entry.path());
        if (!survey.ok()) continue;
        const SurveyPhoto& photo = survey.value().photos.front();
        const auto image = decode(photo.path);
        if (!image.ok()) continue;
        const double scale = std::sqrt(24e6 / static_cast<double>(image.value().bgr.total()));
        cv::Mat large;
        cv::resize(image.value().bgr, large, {}, scale, scale, cv::INTER_CUBIC);
        auto ties = ties_of(photo);
        // A pixel's centre is at whole numbers: enlarging keeps the corners, not the centres.
        for (TiePoint& tie : ties) tie.photo_px = scale * (tie.photo_px + Point{0.5, 0.5}) - Point{0.5, 0.5};
        auto start = std::chrono::steady_clock::now();
        const Camera reference = reference_camera(survey.value().assembly, ties, large.size());
        const double reference_s = seconds_since(start);
        start = std::chrono::steady_clock::now();
        const auto fit = align(large, photo.side, survey.value().assembly, photo.board, ties);
        const double align_s = seconds_since(start);
        if (!fit.ok()) {
            fmt::print("{}\n", fit.error().message);
            return;
        }
        double reference_mm = 0;
        for (const TiePoint& tie : ties)
            reference_mm += std::pow(distance(reference.to_board(tie.photo_px), survey.value().assembly.joint(tie.joint).hole), 2);
        fmt::print("\n{} enlarged to {} x {}: align {:.2f} s, {} joints located, misfit {:.3f} mm\n", photo.path.string(), large.cols, large.rows, align_s,
                   fit.value().joints_located, fit.value().located_rms_mm.value_or(-1));
        fmt::print("findHomography on the tie points: {:.4f} s, misfit {:.3f} mm\n", reference_s,
                   std::sqrt(reference_mm / static_cast<double>(ties.size())));
        return;
    }
}

}  // namespace

int main(int argc, char** argv) {
    std::vector<fs::path> folders;
    std::string only;
    for (int i = 1; i < argc; ++i) {
        const std::string argument = argv[i];
        if (fs::is_directory(argument)) folders.emplace_back(argument);
        else only = argument;
    }
    if (folders.empty()) folders = {"../shared/boards", "../shared/real"};
    for (const fs::path& folder : folders)
        if (fs::is_directory(folder)) accuracy(folder, only);
    if (fs::is_directory(folders.front())) time_of_24_megapixels(folders.front());
}
