// How long it takes to follow copper in a pair of photographs of 24 megapixels, and what comes of it.
//
//   benchmark_follow [SEED]
//
// An invented board is painted twice (both sides, parts fitted) at 6000 x 4000 pixels. Ours: rectify, evidence, links,
// likeliest nets. The reference, on the same rectified pictures in the same run: a threshold by Otsu's method
// (N. Otsu, IEEE Trans. SMC 9, 1979) on brightness, pads filled in, connected components, joints joined where they
// share a component. Printed: seconds of each, their ratio, and the pairwise F1 of same-net over pads of each.
#include <algorithm>
#include <chrono>
#include <cstdlib>
#include <map>
#include <numeric>
#include <vector>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/copper_evidence.h"
#include "eyelet/photo/follow.h"
#include "eyelet/photo/likeliest_nets.h"
#include "eyelet/photo/pad_raster.h"
#include "eyelet/photo/rectify.h"
#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/paint.h"

namespace {

using namespace eyelet;
using Clock = std::chrono::steady_clock;
using Partition = std::vector<std::vector<JointIndex>>;

double seconds_since(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

double pairs(double n) { return n * (n - 1) / 2; }

double f1_of_pads(const Assembly& assembly, const Partition& truth, const Partition& found) {
    std::vector<int> net(assembly.joints.size(), -1);
    double real = 0;
    for (std::size_t n = 0; n < truth.size(); ++n) {
        double pads = 0;
        for (const JointIndex joint : truth[n]) {
            net[joint.raw()] = static_cast<int>(n);
            if (assembly.joint(joint).kind == JointKind::pad) ++pads;
        }
        real += pairs(pads);
    }
    double given = 0;
    double both = 0;
    for (const auto& group : found) {
        std::map<int, double> parts;
        double pads = 0;
        for (const JointIndex joint : group) {
            if (assembly.joint(joint).kind != JointKind::pad) continue;
            ++parts[net[joint.raw()]];
            ++pads;
        }
        given += pairs(pads);
        for (const auto& [n, count] : parts) both += pairs(count);
    }
    return given + real > 0 ? 2 * both / (given + real) : 1;
}

Partition by_threshold(const Assembly& assembly, const std::vector<cv::Mat>& rectified) {
    std::vector<std::size_t> parent(assembly.joints.size());
    std::iota(parent.begin(), parent.end(), std::size_t{0});
    const auto root = [&](std::size_t joint) {
        while (parent[joint] != joint) joint = parent[joint] = parent[parent[joint]];
        return joint;
    };
    for (const Side side : {Side::component, Side::solder}) {
        const cv::Mat& picture = rectified[side == Side::component ? 0 : 1];
        cv::Mat grey;
        cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
        cv::Mat copper;
        cv::threshold(grey, copper, 0, 255, cv::THRESH_BINARY | cv::THRESH_OTSU);
        const std::vector<JointIndex> joints = joints_on(assembly, BoardIndex(0), side);
        const cv::Mat owner = draw_pads(assembly, joints, {picture.cols, picture.rows, kEvidencePxPerMm});
        copper.setTo(255, owner >= 0);
        cv::Mat labels;
        cv::connectedComponents(copper, labels, 4, CV_32S);
        std::map<int, std::size_t> first;
        for (int row = 0; row < owner.rows; ++row)
            for (int column = 0; column < owner.cols; ++column) {
                const int pad = owner.at<int>(row, column);
                if (pad < 0) continue;
                const std::size_t joint = joints[static_cast<std::size_t>(pad)].raw();
                const auto [place, fresh] = first.try_emplace(labels.at<int>(row, column), joint);
                if (!fresh) parent[root(joint)] = root(place->second);
            }
    }
    std::map<std::size_t, std::vector<JointIndex>> groups;
    for (std::size_t j = 0; j < parent.size(); ++j) groups[root(j)].emplace_back(j);
    Partition partition;
    for (auto& [r, joints] : groups) partition.push_back(std::move(joints));
    return partition;
}

}  // namespace

int main(int argc, char** argv) {
    synthetic::Recipe recipe;
    recipe.seed = argc > 1 ? std::strtoull(argv[1], nullptr, 10) : 424242;
    recipe.size_mm = {140, 102};
    recipe.pour = synthetic::Pour::one_side;
    const synthetic::Layout layout = synthetic::make_layout(recipe);
    const synthetic::Layers layers = synthetic::draw_layers(layout, 24);
    const synthetic::Paint paint;
    std::vector<cv::Mat> photographs;
    std::vector<Camera> cameras;
    for (const Side side : {Side::component, Side::solder}) {
        synthetic::Shot shot;
        shot.side = side;
        shot.width_px = 6000;
        shot.height_px = 4000;
        const synthetic::Photograph photo = synthetic::take(layout, layers, paint, shot);
        cv::Mat bgr;
        cv::cvtColor(cv::Mat(photo.height, photo.width, CV_8UC3, const_cast<std::uint8_t*>(photo.rgb.data())), bgr,
                     cv::COLOR_RGB2BGR);
        photographs.push_back(bgr);
        cameras.push_back(photo.camera);
    }
    fmt::print("{} joints, {} x {} mm, two photographs of {} x {} pixels\n", layout.assembly.joints.size(),
               recipe.size_mm.width, recipe.size_mm.height, photographs[0].cols, photographs[0].rows);

    auto start = Clock::now();
    std::vector<cv::Mat> rectified;
    for (std::size_t i = 0; i < 2; ++i) rectified.push_back(rectify(photographs[i], cameras[i], recipe.size_mm, kEvidencePxPerMm));
    const double rectify_s = seconds_since(start);

    start = Clock::now();
    std::vector<SideEvidence> sides;
    for (const Side side : {Side::component, Side::solder}) {
        auto seen = see_copper(rectified[side == Side::component ? 0 : 1], kEvidencePxPerMm, layout.assembly, BoardIndex(0), side);
        if (!seen.ok()) {
            fmt::print(stderr, "{}\n", seen.error().message);
            return 1;
        }
        sides.push_back({BoardIndex(0), side, seen.value().px_per_mm, seen.value().copper, seen.value().hidden});
    }
    const double evidence_s = seconds_since(start);

    start = Clock::now();
    const auto proposals = follow_copper(layout.assembly, sides);
    if (!proposals.ok()) {
        fmt::print(stderr, "{}\n", proposals.error().message);
        return 1;
    }
    const double follow_s = seconds_since(start);
    start = Clock::now();
    const Partition ours = likeliest_nets(layout.assembly, proposals.value().links);
    const double nets_s = seconds_since(start);

    start = Clock::now();
    const Partition reference = by_threshold(layout.assembly, rectified);
    const double reference_s = seconds_since(start);

    const double ours_s = evidence_s + follow_s + nets_s;
    fmt::print("rectify {:.2f} s (both)\n", rectify_s);
    fmt::print("ours       evidence {:.2f} s, links {:.2f} s, nets {:.2f} s; {} links, {} leads; F1 {:.3f}\n", evidence_s, follow_s,
               nets_s, proposals.value().links.size(), proposals.value().leads.size(),
               f1_of_pads(layout.assembly, layout.nets, ours));
    fmt::print("reference  threshold and components {:.2f} s; F1 {:.3f}\n", reference_s,
               f1_of_pads(layout.assembly, layout.nets, reference));
    fmt::print("ratio of time, ours / reference: {:.1f}\n", ours_s / reference_s);
}
