#include "eyelet/photo/link_features.h"

#include <algorithm>
#include <array>
#include <cmath>

#include <opencv2/imgproc.hpp>

namespace eyelet {

namespace {

std::size_t at(int index) { return static_cast<std::size_t>(index); }
float single(double value) { return static_cast<float>(value); }

constexpr double kCoveredDoubt = 1.0;  // log-odds

double entropy_bits(double p) {
    p = std::clamp(p, 1e-6, 1 - 1e-6);
    return -(p * std::log2(p) + (1 - p) * std::log2(1 - p));
}

double quantile(std::vector<double>& values, double q) {
    if (values.empty()) return 0;
    const auto place = values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

struct Way {
    const std::vector<int>& pixels;
    const SidePictures& pictures;

    [[nodiscard]] int row(int i) const { return pixels[at(i)] / pictures.grid.width; }
    [[nodiscard]] int column(int i) const { return pixels[at(i)] % pictures.grid.width; }
    [[nodiscard]] Point px(int i) const { return {static_cast<double>(column(i)), static_cast<double>(row(i))}; }
    [[nodiscard]] float of(const cv::Mat& picture, int i) const { return picture.at<float>(row(i), column(i)); }
    [[nodiscard]] bool hidden(int i) const { return pictures.hidden.at<std::uint8_t>(row(i), column(i)) != 0; }
};

}  // namespace

SidePictures prepare_side(const cv::Mat& copper, const cv::Mat& hidden, cv::Mat owner, const PixelGrid& grid,
                          double hidden_above) {
    SidePictures side;
    side.grid = grid;
    side.owner = std::move(owner);
    copper.copyTo(side.copper);
    side.hidden = hidden > hidden_above;
    side.hidden /= 255;
    const cv::Mat pads = side.owner >= 0;
    side.copper.setTo(0.999, pads);
    side.hidden.setTo(0, pads);
    cv::Mat smooth;
    cv::GaussianBlur(side.copper, smooth, cv::Size(5, 5), 0.8, 0.8, cv::BORDER_REPLICATE);
    side.log_odds.create(smooth.size(), CV_32F);
    cv::Mat entropy(smooth.size(), CV_32F);
    std::array<float, 256> entropies{};
    for (std::size_t i = 0; i < entropies.size(); ++i) entropies[i] = single(entropy_bits(static_cast<double>(i) / 255));
    double doubt = 0;
    long long plain = 0;
    long long filled = 0;
    long long visible = 0;
    for (int row = 0; row < smooth.rows; ++row) {
        const float* from = smooth.ptr<float>(row);
        const float* raw = side.copper.ptr<float>(row);
        const std::uint8_t* under = side.hidden.ptr<std::uint8_t>(row);
        float* to = side.log_odds.ptr<float>(row);
        float* bits = entropy.ptr<float>(row);
        for (int column = 0; column < smooth.cols; ++column) {
            const float p = std::clamp(from[column], 0.0025F, 0.9975F);
            to[column] = std::log(p / (1 - p));
            bits[column] = entropies[static_cast<std::size_t>(std::clamp(raw[column], 0.0F, 1.0F) * 255)];
            // Every fourth pixel will do for figures about the whole side.
            if (under[column] == 0 && ((row | column) & 1) == 0) {
                ++visible;
                doubt += entropy_bits(raw[column]);
                if (raw[column] < 0.1F || raw[column] > 0.9F) ++plain;
                if (raw[column] > 0.5F) ++filled;
            }
        }
    }
    // Under a part the evidence is a guess at each pixel by itself; that a way leads through is less likely than
    // that. Strokes of print, up to half a millimetre, are narrow enough to be seen across.
    cv::Mat covered;
    const int stroke = 2 * static_cast<int>(0.25 * grid.px_per_mm) + 1;
    cv::morphologyEx(side.hidden, covered, cv::MORPH_OPEN, cv::getStructuringElement(cv::MORPH_RECT, cv::Size(stroke, stroke)));
    cv::subtract(side.log_odds, cv::Scalar(kCoveredDoubt), side.log_odds, covered);
    const double seen = static_cast<double>(std::max<long long>(1, visible));
    side.doubt = doubt / seen;
    side.contrast = static_cast<double>(plain) / seen;
    side.fill = static_cast<double>(filled) / seen;
    side.hidden_share = cv::mean(side.hidden)[0];
    const int near = 2 * static_cast<int>(0.8 * grid.px_per_mm) + 1;
    cv::blur(entropy, side.near_doubt, cv::Size(near, near));
    cv::erode(side.copper, side.narrow, cv::getStructuringElement(cv::MORPH_RECT, cv::Size(3, 3)));
    const cv::Mat solid = side.copper > 0.5;
    cv::distanceTransform(solid, side.half_width, cv::DIST_L2, 3);
    cv::dilate(side.half_width, side.half_width, cv::getStructuringElement(cv::MORPH_RECT, cv::Size(5, 5)));
    return side;
}

namespace {

void describe(const Assembly& assembly, const std::vector<JointIndex>& joints, const SidePictures& pictures,
              const std::vector<PadRing>& rings, DescribedCandidate& described) {
    const Candidate& candidate = described.candidate;
    WayMeasures& measures = described.measures;
    LinkFeatures& features = described.features;
    const auto set = [&](LinkFeature feature, double value) {
        features[static_cast<std::size_t>(feature)] = single(value);
    };
    const double mm = 1 / pictures.grid.px_per_mm;
    const Way way{candidate.way, pictures};
    const int count = static_cast<int>(candidate.way.size());

    // The part of the way that lies outside both pads.
    int first = 0;
    int last = count - 1;
    while (first < count && pictures.owner.at<int>(way.row(first), way.column(first)) == candidate.a) ++first;
    while (last > first && pictures.owner.at<int>(way.row(last), way.column(last)) == candidate.b) --last;
    measures.touch = candidate.contacts == 1 && first < count &&
                     pictures.owner.at<int>(way.row(first), way.column(first)) == candidate.b;
    measures.first_outside = std::min(first, count - 1);
    measures.last_outside = std::max(measures.first_outside, last);

    double length = 0;
    for (int i = first + 1; i <= last; ++i) length += distance(way.px(i), way.px(i - 1)) * mm;
    std::vector<double> widths;
    double sum_seen = 0;
    double doubt_sum = 0;
    double sum_hidden = 0;
    int seen = 0;
    int under = 0;
    double least_seen = 6;
    int least_place = first;
    double least_narrow = 1;
    double least_width = 100;
    int gap = 0;
    int run = 0;
    int longest_gap = 0;
    std::vector<double> lows;
    for (int i = first; i <= last; ++i) {
        const double height = way.of(pictures.log_odds, i);
        doubt_sum += way.of(pictures.near_doubt, i);
        if (way.hidden(i)) {
            ++under;
            sum_hidden += height;
            run = 0;
            continue;
        }
        ++seen;
        sum_seen += height;
        if (height < least_seen) {
            least_seen = height;
            least_place = i;
        }
        least_narrow = std::min<double>(least_narrow, way.of(pictures.narrow, i));
        const double width = 2 * way.of(pictures.half_width, i) * mm;
        widths.push_back(width);
        least_width = std::min(least_width, width);
        if (height < 0) {
            ++gap;
            lows.push_back(-height);
            longest_gap = std::max(longest_gap, ++run);
        } else {
            run = 0;
        }
    }
    double second_least = 6;
    const int around = static_cast<int>(0.5 * pictures.grid.px_per_mm);
    for (int i = first; i <= last; ++i)
        if (!way.hidden(i) && std::abs(i - least_place) > around)
            second_least = std::min<double>(second_least, way.of(pictures.log_odds, i));
    std::sort(lows.begin(), lows.end(), std::greater<>());
    double deficit = 0;
    for (std::size_t i = 0; i < std::min<std::size_t>(16, lows.size()); ++i) deficit += lows[i];

    // Hidden stretches: does what goes in come out in the same direction and as wide?
    double longest_hidden = 0;
    double bend = 0;
    double width_change = 0;
    const int look = static_cast<int>(0.8 * pictures.grid.px_per_mm);
    for (int i = first; i <= last;) {
        if (!way.hidden(i)) {
            ++i;
            continue;
        }
        int end = i;
        while (end < last && way.hidden(end + 1)) ++end;
        const Point chord = way.px(end) - way.px(i);
        longest_hidden = std::max(longest_hidden, length == 0 ? 0 : eyelet::length(chord) * mm);
        if (end - i >= 4) {
            const int before = std::max(0, i - look);
            const int after = std::min(count - 1, end + look);
            const auto turn = [&](Point u, Point v) {
                const double lengths = eyelet::length(u) * eyelet::length(v);
                return lengths > 0 ? 1 - dot(u, v) / lengths : 0.0;
            };
            if (i > first) bend = std::max(bend, turn(way.px(i) - way.px(before), chord));
            if (end < last) bend = std::max(bend, turn(way.px(after) - way.px(end), chord));
            if (i - 3 > first && end + 3 < last) {
                const double in = way.of(pictures.half_width, std::max(first, i - look / 2));
                const double out = way.of(pictures.half_width, std::min(last, end + look / 2));
                width_change = std::max(width_change, std::abs(std::log((out + 0.5) / (in + 0.5))));
            }
        }
        i = end + 1;
    }

    const double median_width = quantile(widths, 0.5);
    const double spread = median_width > 0 ? (quantile(widths, 0.75) - quantile(widths, 0.25)) / median_width : 0;
    const Joint& a = assembly.joint(joints[at(candidate.a)]);
    const Joint& b = assembly.joint(joints[at(candidate.b)]);
    const double crow = distance(a.copper_centre, b.copper_centre);
    const double gap_between = std::max(0.1, crow - (a.pad_mm.width + a.pad_mm.height + b.pad_mm.width + b.pad_mm.height) / 4);
    const double outside = static_cast<double>(std::max(1, seen + under));

    measures.length_mm = length;
    measures.width_mm = median_width;
    measures.hidden_share = static_cast<double>(under) / outside;
    measures.longest_hidden_mm = longest_hidden;
    measures.longest_gap_mm = longest_gap * mm;
    measures.least_seen_log_odds = seen > 0 ? least_seen : 0;

    set(LinkFeature::least_pass, candidate.least_pass);
    set(LinkFeature::doubt, candidate.doubt);
    set(LinkFeature::contacts, candidate.contacts);
    set(LinkFeature::open_px, candidate.open_px);
    set(LinkFeature::touching_px, candidate.touching_px);
    set(LinkFeature::length_mm, length);
    set(LinkFeature::crow_mm, crow);
    set(LinkFeature::detour, length / gap_between);
    set(LinkFeature::mean_log_odds, seen > 0 ? sum_seen / seen : 0);
    set(LinkFeature::least_seen, seen > 0 ? least_seen : 0);
    set(LinkFeature::second_least_seen, second_least);
    set(LinkFeature::least_narrow, seen > 0 ? least_narrow : 0.5);
    set(LinkFeature::gap_px, gap);
    set(LinkFeature::longest_gap_px, longest_gap);
    set(LinkFeature::deficit, deficit);
    set(LinkFeature::width_mm, median_width);
    set(LinkFeature::least_width_mm, seen > 0 ? least_width : 0);
    set(LinkFeature::width_spread, spread);
    set(LinkFeature::hidden_share, measures.hidden_share);
    set(LinkFeature::longest_hidden_mm, longest_hidden);
    set(LinkFeature::bend_at_hidden, bend);
    set(LinkFeature::width_change_at_hidden, width_change);
    set(LinkFeature::mean_hidden_log_odds, under > 0 ? sum_hidden / under : 0);
    const PadRing& ring_a = rings[at(candidate.a)];
    const PadRing& ring_b = rings[at(candidate.b)];
    const auto set_high = [&](LinkFeature feature, double PadRing::* member) {
        set(feature, std::max(ring_a.*member, ring_b.*member));
    };
    const auto set_low = [&](LinkFeature feature, double PadRing::* member) {
        set(feature, std::min(ring_a.*member, ring_b.*member));
    };
    set_high(LinkFeature::ring_closed_high, &PadRing::closed);
    set_low(LinkFeature::ring_closed_low, &PadRing::closed);
    set_low(LinkFeature::ring_open_low, &PadRing::open);
    set_high(LinkFeature::ring_open_high, &PadRing::open);
    set_low(LinkFeature::ring_best_low, &PadRing::best_neck);
    set_high(LinkFeature::ring_best_high, &PadRing::best_neck);
    set_low(LinkFeature::ring_spokes_low, &PadRing::spokes);
    set_low(LinkFeature::ring_cross_low, &PadRing::cross);
    set_high(LinkFeature::ring_cross_high, &PadRing::cross);
    set_low(LinkFeature::ring_field_low, &PadRing::field);
    set_high(LinkFeature::ring_field_high, &PadRing::field);
    set_high(LinkFeature::ring_hidden_high, &PadRing::hidden);
    set_high(LinkFeature::ring_crowded_high, &PadRing::crowded);
    set_low(LinkFeature::ring_gain_low, &PadRing::gain);
    set_high(LinkFeature::ring_gain_high, &PadRing::gain);
    set_low(LinkFeature::ring_doubt_low, &PadRing::doubt);
    set_high(LinkFeature::ring_doubt_high, &PadRing::doubt);
    set_low(LinkFeature::ring_rise_low, &PadRing::rise);
    set_high(LinkFeature::ring_rise_high, &PadRing::rise);
    set_low(LinkFeature::ring_cross_rise_low, &PadRing::cross_rise);
    set_high(LinkFeature::ring_cross_rise_high, &PadRing::cross_rise);
    set_low(LinkFeature::ring_median_low, &PadRing::median_odds);
    set_high(LinkFeature::ring_median_high, &PadRing::median_odds);
    set(LinkFeature::pass_over_ring, candidate.least_pass - std::min(ring_a.median_odds, ring_b.median_odds));
    set(LinkFeature::doubt_at_least, way.of(pictures.near_doubt, least_place));
    set(LinkFeature::doubt_along, doubt_sum / outside);
    set(LinkFeature::vias, (a.kind == JointKind::via ? 1 : 0) + (b.kind == JointKind::via ? 1 : 0));
    const bool same_part = a.part.valid() && a.part == b.part;
    set(LinkFeature::same_part, same_part ? 1 : 0);
    set(LinkFeature::two_pin_part, same_part && assembly.part(a.part).joints.size() == 2 ? 1 : 0);
    set(LinkFeature::side_doubt, pictures.doubt);
    set(LinkFeature::side_contrast, pictures.contrast);
    set(LinkFeature::side_fill, pictures.fill);
    set(LinkFeature::side_hidden, pictures.hidden_share);
    const double size_a = std::min(a.pad_mm.width, a.pad_mm.height);
    const double size_b = std::min(b.pad_mm.width, b.pad_mm.height);
    set(LinkFeature::pad_size_low_mm, std::min(size_a, size_b));
    set(LinkFeature::pad_size_high_mm, std::max(size_a, size_b));
}

}  // namespace

std::vector<DescribedCandidate> describe_candidates(const Assembly& assembly, const std::vector<JointIndex>& joints,
                                                    const SidePictures& pictures, const std::vector<PadRing>& rings,
                                                    std::vector<Candidate> candidates) {
    std::vector<DescribedCandidate> described(candidates.size());
    std::vector<std::vector<double>> passes(joints.size());
    for (const Candidate& candidate : candidates) {
        passes[at(candidate.a)].push_back(candidate.least_pass);
        passes[at(candidate.b)].push_back(candidate.least_pass);
    }
    const double joint_count = static_cast<double>(std::max<std::size_t>(1, joints.size()));
    const auto plain = std::count_if(candidates.begin(), candidates.end(), [](const Candidate& c) { return c.least_pass >= 1; });
    const double area_cm2 = pictures.grid.width * pictures.grid.height / std::pow(pictures.grid.px_per_mm * 10, 2);
    const double joined = static_cast<double>(plain) / joint_count;
    for (std::vector<double>& list : passes) std::sort(list.begin(), list.end(), std::greater<>());
    std::vector<double> least;
    for (std::size_t i = 0; i < candidates.size(); ++i) {
        described[i].candidate = std::move(candidates[i]);
        describe(assembly, joints, pictures, rings, described[i]);
        least.push_back(described[i].measures.least_seen_log_odds);
    }
    const double gap = quantile(least, 0.33);
    for (std::size_t i = 0; i < described.size(); ++i) {
        const Candidate& candidate = described[i].candidate;
        double behind = 0;
        double better = 1e9;
        for (const int pad : {candidate.a, candidate.b}) {
            const std::vector<double>& list = passes[at(pad)];
            behind = std::max(behind, list.front() - candidate.least_pass);
            const auto higher = std::count_if(list.begin(), list.end(), [&](double p) { return p > candidate.least_pass; });
            better = std::min(better, static_cast<double>(higher));
        }
        described[i].features[static_cast<std::size_t>(LinkFeature::side_gap)] = single(gap);
        described[i].features[static_cast<std::size_t>(LinkFeature::side_joined)] = single(joined);
        described[i].features[static_cast<std::size_t>(LinkFeature::side_crowding)] = single(joint_count / area_cm2);
        described[i].features[static_cast<std::size_t>(LinkFeature::behind_best)] = single(behind);
        described[i].features[static_cast<std::size_t>(LinkFeature::others_better)] = single(better);
    }
    return described;
}

}  // namespace eyelet
