// Copper comparison over the 48 published pairs of ../shared/copper-scans (S. Tang's DeepPCB, 2018), scored by the
// data set's own rule: kind right and intersection over union above 0.33. Reference: a plain difference of the two
// pictures, its pieces named by whether copper was lost or gained, in the same run. Usage: benchmark_compare [FOLDER]
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>

#include <opencv2/imgproc.hpp>

#include "eyelet/photo/compare.h"
#include "eyelet/photo/image.h"

namespace {

using eyelet::Difference;
using eyelet::DifferenceKind;

struct Marked {
    cv::Rect box;
    int kind;
};

double overlap(const cv::Rect& a, const cv::Rect& b) {
    const double both = (a & b).area();
    return both / (a.area() + b.area() - both);
}

struct Score {
    int right = 0, wrong = 0, missed = 0;
    [[nodiscard]] double f() const { return 2.0 * right / std::max(1, 2 * right + wrong + missed); }
};

void tally(std::map<int, Score>& scores, std::vector<Marked> truth, const std::vector<Marked>& found, const std::string& name, bool tell) {
    for (const Marked& one : found) {
        const auto hit = std::max_element(truth.begin(), truth.end(), [&](const Marked& a, const Marked& b) {
            return (a.kind == one.kind) * overlap(a.box, one.box) < (b.kind == one.kind) * overlap(b.box, one.box);
        });
        if (hit != truth.end() && hit->kind == one.kind && overlap(hit->box, one.box) > 0.33) {
            ++scores[one.kind].right;
            truth.erase(hit);
        } else {
            ++scores[one.kind].wrong;
            if (tell) std::printf("  %s: false %d at %d %d %d %d\n", name.c_str(), one.kind, one.box.x, one.box.y, one.box.br().x, one.box.br().y);
        }
    }
    for (const Marked& one : truth) {
        ++scores[one.kind].missed;
        if (tell) std::printf("  %s: missed %d at %d %d %d %d\n", name.c_str(), one.kind, one.box.x, one.box.y, one.box.br().x, one.box.br().y);
    }
}

std::vector<Marked> plain_difference(const cv::Mat& reference, const cv::Mat& unit) {
    std::vector<Marked> found;
    for (int lost = 0; lost < 2; ++lost) {
        cv::Mat piece, labels, stats, centroids;
        cv::subtract(lost ? unit : reference, lost ? reference : unit, piece);
        piece = piece > 128;
        cv::morphologyEx(piece, piece, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_ELLIPSE, {5, 5}));
        const int n = cv::connectedComponentsWithStats(piece, labels, stats, centroids);
        for (int i = 1; i < n; ++i)
            found.push_back({cv::Rect(stats.at<int>(i, 0) - 8, stats.at<int>(i, 1) - 8, stats.at<int>(i, 2) + 16, stats.at<int>(i, 3) + 16), lost ? 1 : 4});
    }
    return found;
}

double total_f(const std::map<int, Score>& scores) {
    Score all;
    for (const auto& [kind, score] : scores) {
        all.right += score.right;
        all.wrong += score.wrong;
        all.missed += score.missed;
    }
    return all.f();
}

}  // namespace

int main(int argc, char** argv) {
    const std::filesystem::path folder = argc > 1 ? argv[1] : "../shared/copper-scans/pairs";
    const bool tell = argc > 2;
    std::map<int, Score> ours, plain;
    double seconds = 0, plain_seconds = 0;
    int pairs = 0;
    std::vector<std::filesystem::path> lists;
    for (const auto& file : std::filesystem::directory_iterator(folder))
        if (file.path().extension() == ".txt") lists.push_back(file.path());
    std::sort(lists.begin(), lists.end());
    for (const auto& list : lists) {
        std::vector<Marked> truth;
        std::ifstream in(list);
        for (int x0, y0, x1, y1, kind; in >> x0 >> y0 >> x1 >> y1 >> kind;) truth.push_back({{x0, y0, x1 - x0, y1 - y0}, kind});
        const std::string stem = list.stem();
        const auto reference = eyelet::decode(folder / (stem + "_reference.jpg"));
        const auto unit = eyelet::decode(folder / (stem + "_unit.jpg"));
        if (!reference.ok() || !unit.ok()) return 1;
        eyelet::CompareOptions options;
        options.px_per_mm = 48;
        auto start = std::chrono::steady_clock::now();
        const auto comparison = eyelet::compare_copper(reference.value().bgr, unit.value().bgr, options);
        seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
        if (!comparison.ok()) {
            std::printf("%s: %s\n", stem.c_str(), comparison.error().message.c_str());
            return 1;
        }
        if (tell && (!comparison.value().copper_is_dark || !comparison.value().tone_is_sure))
            std::printf("  %s: copper %s, %s\n", stem.c_str(), comparison.value().copper_is_dark ? "dark" : "light", comparison.value().tone_is_sure ? "sure" : "not sure");
        std::vector<Marked> found;
        for (const Difference& d : comparison.value().differences) found.push_back({d.box, static_cast<int>(d.kind) + 1});
        tally(ours, truth, found, stem, tell);
        cv::Mat a, b;
        cv::cvtColor(reference.value().bgr, a, cv::COLOR_BGR2GRAY);
        cv::cvtColor(unit.value().bgr, b, cv::COLOR_BGR2GRAY);
        start = std::chrono::steady_clock::now();
        const std::vector<Marked> simple = plain_difference(a, b);
        plain_seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
        tally(plain, truth, simple, stem, false);
        ++pairs;
    }
    std::printf("%-14s %6s %6s %6s %6s\n", "kind", "right", "false", "missed", "F");
    for (const auto& [kind, score] : ours)
        std::printf("%-14s %6d %6d %6d %6.3f\n", eyelet::name_of(static_cast<DifferenceKind>(kind - 1)), score.right, score.wrong, score.missed, score.f());
    std::printf("all kinds: F %.3f over %d pairs, %.0f ms a pair\nplain difference: F %.3f, %.1f ms a pair; ratio of F %.2f, of time %.1f\n", total_f(ours), pairs,
                1e3 * seconds / pairs, total_f(plain), 1e3 * plain_seconds / pairs, total_f(ours) / std::max(1e-9, total_f(plain)), seconds / plain_seconds);
    return 0;
}
