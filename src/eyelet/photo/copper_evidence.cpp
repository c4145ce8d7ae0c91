#include "eyelet/photo/copper_evidence.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <mutex>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <opencv2/dnn.hpp>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/copper_model.h"

namespace eyelet {

namespace {

// The network's planes, in the order of training/model.py.
constexpr int kPlanes = 8;
enum Plane { blue, green, red, pads, holes, vias, told_tone, inside };

constexpr int kStride = 32;      // sides must be multiples of it
constexpr int kTile = 3072;      // longest piece judged at once; a side is one piece unless it is long
constexpr int kOverlap = 192;    // context that neighbouring pieces share
constexpr double kDrawFiner = 4; // joints are drawn this much finer and averaged to coverage

constexpr int kShift = 4;  // fractional bits of OpenCV's drawing coordinates

cv::Point fixed_point(Point board_mm, double px_per_mm) {
    const double unit = 1 << kShift;
    // Pixel centres lie at whole numbers in OpenCV, at halves in the board's frame.
    return {cvRound((board_mm.x * px_per_mm - 0.5) * unit), cvRound((board_mm.y * px_per_mm - 0.5) * unit)};
}

void fill_disc(cv::Mat& plane, Point centre, double radius_mm, double px_per_mm) {
    cv::circle(plane, fixed_point(centre, px_per_mm), cvRound(radius_mm * px_per_mm * (1 << kShift)), cv::Scalar(255),
               cv::FILLED, cv::LINE_8, kShift);
}

void fill_box(cv::Mat& plane, Point centre, Size size, double rotation_deg, double px_per_mm) {
    const double a = rotation_deg * CV_PI / 180;
    std::array<cv::Point, 4> corners;
    constexpr std::array<std::array<int, 2>, 4> signs{{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}};
    for (std::size_t i = 0; i < signs.size(); ++i) {
        const double x = signs[i][0] * size.width / 2;
        const double y = signs[i][1] * size.height / 2;
        // Counter-clockwise as seen, with y pointing down.
        corners[i] = fixed_point({centre.x + x * std::cos(a) + y * std::sin(a), centre.y - x * std::sin(a) + y * std::cos(a)},
                                 px_per_mm);
    }
    cv::fillConvexPoly(plane, corners.data(), static_cast<int>(corners.size()), cv::Scalar(255), cv::LINE_8, kShift);
}

void fill_shape(cv::Mat& plane, PadShape shape, Point centre, Size size, double rotation_deg, double px_per_mm) {
    const double narrow = std::min(size.width, size.height);
    const bool round = shape == PadShape::circle || (shape == PadShape::oval && std::abs(size.width - size.height) < 1e-6);
    if (round) {
        fill_disc(plane, centre, std::max(size.width, size.height) / 2, px_per_mm);
        return;
    }
    if (shape == PadShape::oval) {
        const double a = rotation_deg * CV_PI / 180;
        const double x = (size.width - narrow) / 2;
        const double y = (size.height - narrow) / 2;
        const Point along{x * std::cos(a) + y * std::sin(a), -x * std::sin(a) + y * std::cos(a)};
        fill_disc(plane, centre + along, narrow / 2, px_per_mm);
        fill_disc(plane, centre - along, narrow / 2, px_per_mm);
        if (size.width > size.height) size.width -= narrow;
        else size.height -= narrow;
    }
    fill_box(plane, centre, size, rotation_deg, px_per_mm);
}

// Coverage, 0 to 1, of what the map knows: pads, drilled holes, via rings.
struct JointPlanes {
    cv::Mat pads;
    cv::Mat holes;
    cv::Mat vias;
};

JointPlanes draw_joints(const Assembly& assembly, BoardIndex board, Side side, cv::Size size) {
    const double scale = kEvidencePxPerMm * kDrawFiner;
    const cv::Size fine(cvRound(size.width * kDrawFiner), cvRound(size.height * kDrawFiner));
    JointPlanes planes;
    const auto draw = [&](auto&& each) {
        cv::Mat plane = cv::Mat::zeros(fine, CV_8U);
        for (const Joint& joint : assembly.joints)
            if (joint.board == board && joint.on(side)) each(plane, joint);
        cv::Mat coverage;
        cv::resize(plane, coverage, size, 0, 0, cv::INTER_AREA);
        coverage.convertTo(coverage, CV_32F, 1.0 / 255);
        return coverage;
    };
    const auto outline = [&](cv::Mat& plane, const Joint& j) {
        fill_shape(plane, j.shape, j.copper_centre, j.pad_mm, j.rotation_deg, scale);
    };
    planes.pads = draw([&](cv::Mat& plane, const Joint& j) { if (j.kind == JointKind::pad) outline(plane, j); });
    planes.vias = draw([&](cv::Mat& plane, const Joint& j) { if (j.kind == JointKind::via) outline(plane, j); });
    planes.holes = draw([&](cv::Mat& plane, const Joint& j) {
        if (j.drill_mm) fill_shape(plane, PadShape::oval, j.hole, *j.drill_mm, j.rotation_deg, scale);
    });
    return planes;
}

// Log colour: uneven light becomes an offset; the side's own middle is taken off. As training/model.py.
std::array<cv::Mat, 3> log_colour(const cv::Mat& bgr) {
    cv::Mat picture;
    bgr.convertTo(picture, CV_32F, 1.0 / 255, 0.03);
    cv::log(picture, picture);
    std::vector<float> sample;
    sample.reserve(static_cast<std::size_t>(picture.total() / 16 + 1));
    for (int r = 0; r < picture.rows; r += 4) {
        const auto* row = picture.ptr<cv::Vec3f>(r);
        for (int c = 0; c < picture.cols; c += 4) sample.push_back((row[c][0] + row[c][1] + row[c][2]) / 3);
    }
    const auto middle = sample.begin() + static_cast<std::ptrdiff_t>((sample.size() - 1) / 2);
    std::nth_element(sample.begin(), middle, sample.end());
    const double offset = *middle;
    std::array<cv::Mat, 3> planes;
    cv::split(picture, planes.data());
    for (cv::Mat& plane : planes) {
        plane.convertTo(plane, CV_32F, 1.5, -1.5 * offset);
        plane = cv::min(cv::max(plane, -4), 4);
    }
    return planes;
}

// One network a process: forward() is not to be run by two threads at once.
struct Network {
    std::mutex busy;
    cv::dnn::Net net;
};

Network& network() {
    static Network one;
    static std::once_flag loaded;
    std::call_once(loaded, [] {
        const std::vector<unsigned char> model = copper_model_onnx();
        one.net = cv::dnn::readNetFromONNX(reinterpret_cast<const char*>(model.data()), model.size());
        one.net.setPreferableBackend(cv::dnn::DNN_BACKEND_OPENCV);
        one.net.setPreferableTarget(cv::dnn::DNN_TARGET_CPU);
    });
    return one;
}

class ThreadCount {
  public:
    explicit ThreadCount(int threads) : before_(cv::getNumThreads()) {
        if (threads > 0) cv::setNumThreads(threads);
    }
    ~ThreadCount() { cv::setNumThreads(before_); }
    ThreadCount(const ThreadCount&) = delete;
    ThreadCount& operator=(const ThreadCount&) = delete;

  private:
    int before_;
};

// Where pieces begin so that they cover `length` and share at least kOverlap.
std::vector<cv::Range> pieces(int length) {
    if (length <= kTile) return {cv::Range(0, length)};
    const int count = (length - kOverlap + kTile - kOverlap - 1) / (kTile - kOverlap);
    std::vector<cv::Range> ranges;
    for (int i = 0; i < count; ++i) {
        // Even spacing, on a multiple of the stride so that pieces see the same grid.
        const int start = static_cast<int>(static_cast<double>(length - kTile) * i / (count - 1)) / kStride * kStride;
        ranges.emplace_back(start, std::min(length, start + kTile + kStride));
    }
    return ranges;
}

// A piece's weight: full in its middle, falling to nothing over the shared margin where another piece goes on.
cv::Mat taper(cv::Size size, const cv::Range& xs, const cv::Range& ys, cv::Size whole) {
    const auto along = [](int length, const cv::Range& range, int end) {
        cv::Mat weight(1, length, CV_32F, cv::Scalar(1));
        for (int i = 0; i < length; ++i) {
            double w = 1;
            if (range.start > 0) w = std::min(w, (i + 1.0) / kOverlap);
            if (range.end < end) w = std::min(w, (length - i) / static_cast<double>(kOverlap));
            weight.at<float>(i) = static_cast<float>(w);
        }
        return weight;
    };
    const cv::Mat row = along(size.width, xs, whole.width);
    const cv::Mat column = along(size.height, ys, whole.height);
    return column.t() * row;
}

// Judges one piece: planes in, logits of copper and hidden out, both CV_32F of the piece's size.
std::array<cv::Mat, 2> judge(Network& network, const std::array<cv::Mat, kPlanes>& planes, const cv::Range& xs, const cv::Range& ys) {
    const int width = xs.size();
    const int height = ys.size();
    const int padded_width = (width + kStride - 1) / kStride * kStride;
    const int padded_height = (height + kStride - 1) / kStride * kStride;
    const std::array<int, 4> shape{1, kPlanes, padded_height, padded_width};
    cv::Mat blob(4, shape.data(), CV_32F, cv::Scalar(0));
    for (int p = 0; p < kPlanes; ++p) {
        cv::Mat plane(padded_height, padded_width, CV_32F, blob.ptr<float>(0, p));
        planes[static_cast<std::size_t>(p)](ys, xs).copyTo(plane(cv::Rect(0, 0, width, height)));
    }
    cv::Mat out;
    {
        const std::lock_guard<std::mutex> lock(network.busy);
        network.net.setInput(blob);
        out = network.net.forward().clone();
    }
    assert(out.size[1] == 8 && out.size[2] * 2 == padded_height && out.size[3] * 2 == padded_width);
    std::array<cv::Mat, 2> logits;
    for (int c = 0; c < 2; ++c) {
        cv::Mat whole(padded_height, padded_width, CV_32F);
        for (int r = 0; r < padded_height; ++r) {
            auto* to = whole.ptr<float>(r);
            for (int part = 0; part < 2; ++part) {
                const float* from = out.ptr<float>(0, c * 4 + (r % 2) * 2 + part) + static_cast<std::ptrdiff_t>(r / 2) * out.size[3];
                for (int i = 0; i < out.size[3]; ++i) to[2 * i + part] = from[i];
            }
        }
        logits[static_cast<std::size_t>(c)] = whole(cv::Rect(0, 0, width, height)).clone();
    }
    return logits;
}

cv::Mat sigmoid(const cv::Mat& logit) {
    cv::Mat p;
    cv::exp(-logit, p);
    p = 1.0 / (1.0 + p);
    return p;
}

// Whether covered copper is the lighter: across every edge that the network is sure of, in plain sight and clear of
// pads, the brighter side is noted; the balance of the votes is the tone.
void read_tone(const cv::Mat& log_green, const JointPlanes& joints, CopperEvidence& evidence) {
    constexpr int kReach = 13;  // pixels over which both sides of an edge are averaged: 0.8 mm
    cv::Mat near_pads;
    cv::dilate(joints.pads > 0.02, near_pads, cv::getStructuringElement(cv::MORPH_ELLIPSE, {9, 9}));
    const cv::Mat seen = (evidence.hidden < 0.3) & ~near_pads;
    const cv::Mat on = seen & (evidence.copper > 0.85);
    const cv::Mat off = seen & (evidence.copper < 0.15);
    const auto local_mean = [&](const cv::Mat& where, cv::Mat& share) {
        cv::Mat weight;
        where.convertTo(weight, CV_32F, 1.0 / 255);
        cv::Mat mean;
        cv::blur(log_green.mul(weight), mean, {kReach, kReach});
        cv::blur(weight, share, {kReach, kReach});
        cv::divide(mean, cv::max(share, 1e-6), mean);
        return mean;
    };
    cv::Mat share_on;
    cv::Mat share_off;
    const cv::Mat difference = local_mean(on, share_on) - local_mean(off, share_off);
    const cv::Mat both = (share_on > 0.1) & (share_off > 0.1);
    const double places = cv::countNonZero(both);
    if (places < 500) return;  // too little seen to say
    const double lighter = cv::countNonZero(both & (difference > 0)) / places;
    const double sureness = std::abs(2 * lighter - 1);
    evidence.tone_certainty = sureness;
    if (sureness >= 0.2) evidence.tone = lighter > 0.5 ? Tone::lighter : Tone::darker;
}

}  // namespace

const char* name_of(Tone tone) {
    switch (tone) {
        case Tone::lighter: return "lighter";
        case Tone::darker: return "darker";
        case Tone::unsure: break;
    }
    return "unsure";
}

Result<CopperEvidence> see_copper(const cv::Mat& rectified_bgr, double px_per_mm, const Assembly& assembly, BoardIndex board,
                                  Side side, const EvidenceOptions& options) {
    if (!board.valid() || board.raw() >= assembly.boards.size()) return bad_input("there is no such board in the assembly");
    const Board& about = assembly.board(board);
    if (rectified_bgr.empty() || rectified_bgr.type() != CV_8UC3)
        return bad_input(fmt::format("the picture of {}, {}, must be an 8-bit colour picture", about.name.text(), name_of(side)));
    if (!(px_per_mm > 0) || !std::isfinite(px_per_mm))
        return bad_input(fmt::format("the scale of the picture of {} must be a positive number of pixels per millimetre", about.name.text()));
    const double wide = about.size_mm.width * px_per_mm;
    const double high = about.size_mm.height * px_per_mm;
    if (std::abs(rectified_bgr.cols - wide) > 2 || std::abs(rectified_bgr.rows - high) > 2)
        return bad_input(fmt::format("the picture of {}, {}, is {} x {} pixels, but the board at {} px/mm takes {:.0f} x {:.0f}",
                                     about.name.text(), name_of(side), rectified_bgr.cols, rectified_bgr.rows, px_per_mm, wide, high));
    const auto stopped = [&](double share) { return options.progress && options.progress(share) == KeepLooking::no; };
    const ThreadCount threads(options.threads);

    // The network judges at its own scale; the evidence is given in the picture's.
    const cv::Size given = rectified_bgr.size();
    const double pixels = about.size_mm.width * about.size_mm.height * kEvidencePxPerMm * kEvidencePxPerMm;
    const double coarser = pixels > options.most_pixels ? std::sqrt(options.most_pixels / pixels) : 1.0;
    const double scale = kEvidencePxPerMm * coarser;
    cv::Mat picture = rectified_bgr;
    const cv::Size size(std::max(1, cvRound(given.width * scale / px_per_mm)), std::max(1, cvRound(given.height * scale / px_per_mm)));
    if (size != given)
        cv::resize(rectified_bgr, picture, size, 0, 0, size.width < given.width ? cv::INTER_AREA : cv::INTER_LINEAR);

    JointPlanes joints = draw_joints(assembly, board, side,
                                     {std::max(1, cvRound(given.width * kEvidencePxPerMm / px_per_mm)),
                                      std::max(1, cvRound(given.height * kEvidencePxPerMm / px_per_mm))});
    for (cv::Mat* plane : {&joints.pads, &joints.holes, &joints.vias})
        if (plane->size() != size) cv::resize(*plane, *plane, size, 0, 0, cv::INTER_AREA);
    const auto colour = log_colour(picture);
    const double told = !options.told ? 0 : *options.told == Tone::lighter ? 1 : *options.told == Tone::darker ? -1 : 0;
    const std::array<cv::Mat, kPlanes> planes{colour[0], colour[1], colour[2], joints.pads, joints.holes, joints.vias,
                                              cv::Mat(size, CV_32F, cv::Scalar(told)), cv::Mat(size, CV_32F, cv::Scalar(1))};

    std::array<cv::Mat, 2> sum{cv::Mat::zeros(size, CV_32F), cv::Mat::zeros(size, CV_32F)};
    cv::Mat weights = cv::Mat::zeros(size, CV_32F);
    const auto rows = pieces(size.height);
    const auto columns = pieces(size.width);
    const int looks = static_cast<double>(size.area()) <= options.second_look_pixels ? 2 : 1;
    const double steps = static_cast<double>(rows.size() * columns.size()) * looks;
    double done = 0;
    for (int look = 0; look < looks; ++look) {
        // The second look is upside down: the network's slips differ between poses, and the mean has fewer.
        auto turned = planes;
        if (look == 1)
            for (cv::Mat& plane : turned) {
                cv::Mat other_way_up;
                cv::rotate(plane, other_way_up, cv::ROTATE_180);
                plane = other_way_up;
            }
        for (const cv::Range& ys : rows)
            for (const cv::Range& xs : columns) {
                if (stopped(done / steps)) return refused("following copper was stopped");
                auto logits = judge(network(), turned, xs, ys);
                cv::Rect place(xs.start, ys.start, xs.size(), ys.size());
                cv::Mat weight = taper({xs.size(), ys.size()}, xs, ys, size);
                if (look == 1) {
                    for (cv::Mat& logit : logits) cv::rotate(logit, logit, cv::ROTATE_180);
                    cv::rotate(weight, weight, cv::ROTATE_180);
                    place.x = size.width - xs.end;
                    place.y = size.height - ys.end;
                }
                for (std::size_t c = 0; c < sum.size(); ++c) {
                    cv::Mat here = sum[c](place);
                    cv::accumulateProduct(logits[c], weight, here);
                }
                cv::Mat here = weights(place);
                here += weight;
                ++done;
            }
    }
    CopperEvidence evidence;
    evidence.side = side;
    evidence.px_per_mm = px_per_mm;
    evidence.copper = sigmoid(sum[0] / weights);
    evidence.hidden = sigmoid(sum[1] / weights);
    read_tone(colour[1], joints, evidence);
    if (size != given) {
        cv::resize(evidence.copper, evidence.copper, given, 0, 0, cv::INTER_LINEAR);
        cv::resize(evidence.hidden, evidence.hidden, given, 0, 0, cv::INTER_LINEAR);
    }
    if (stopped(1)) return refused("following copper was stopped");
    return evidence;
}

}  // namespace eyelet
