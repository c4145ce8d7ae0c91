#include "eyelet/photo/alignment.h"

#include <algorithm>
#include <cmath>
#include <array>
#include <map>
#include <set>

#include <fmt/format.h>

#include "eyelet/photo/camera_fit.h"
#include "eyelet/photo/pad_search.h"

namespace eyelet {

namespace {

// As many as hold the camera to a few hundredths of a pixel; more only cost time.
constexpr std::size_t kMostJoints = 400;
// Fewer do not hold a camera better than clicks do.
constexpr std::size_t kFewestJoints = 10;
// A tie point that misses by more than this many times the median miss of all is no careless click: for clicks
// that scatter alike in x and y, one in 100,000 does (Rayleigh: 4.25 x 1.177 sigma = 5 sigma).
constexpr double kWrongOverMedian = 4.25;
// Accuracy of a click, one coordinate, against that of an outline: gives the tie points their small say in the
// refined fit, which holds it where no pad was found.
constexpr double kClickPx = 3;
constexpr double kOutlinePx = 0.5;
// A term is taken up where the F test says that the places seen want it; 15 is beyond one in 1,000 even for few.
constexpr double kTermIsHeld = 15;
// Tie points speak against a term when they fit worse with it by this much (chi squared; 4 is two sigma).
constexpr double kClicksAgainst = 4;
// Drilling is this true to the pads, in common practice.
constexpr double kHoleInPadMm = 0.15;

std::string tie_name(const Assembly& assembly, const TiePoint& tie) {
    return fmt::format("tie point {}", assembly.joint(tie.joint).name.text());
}

Status check_tie_points(cv::Size photo, Side side, const Assembly& assembly, BoardIndex board, std::span<const TiePoint> ties) {
    if (ties.size() < 4)
        return bad_input(fmt::format("{} tie point{} on the {}: four or more are wanted, near the corners of the board, and a "
                                     "fifth to tell a misfit", ties.size(), ties.size() == 1 ? "" : "s", name_of(side)));
    for (std::size_t i = 0; i < ties.size(); ++i) {
        if (ties[i].joint.raw() >= assembly.joints.size())
            return bad_input(fmt::format("tie point {} of {}: its joint is not in the assembly", i + 1, ties.size()));
        const Joint& joint = assembly.joint(ties[i].joint);
        const std::string name = tie_name(assembly, ties[i]);
        if (joint.board != board)
            return bad_input(fmt::format("{}: this joint lies on board {}, the photograph shows board {}", name,
                                         assembly.board(joint.board).name.text(), assembly.board(board).name.text()));
        if (!joint.on(side))
            return bad_input(fmt::format("{}: this joint lies on the {} only and cannot be seen on the {}", name,
                                         name_of(other(side)), name_of(side)));
        const Point p = ties[i].photo_px;
        if (!std::isfinite(p.x) || !std::isfinite(p.y) || p.x < -0.5 || p.y < -0.5 || p.x > photo.width - 0.5 || p.y > photo.height - 0.5)
            return bad_input(fmt::format("{}: the pixel ({:.1f}, {:.1f}) lies outside the photograph of {} x {} pixels", name, p.x,
                                         p.y, photo.width, photo.height));
        for (std::size_t j = 0; j < i; ++j) {
            const std::string before = assembly.joint(ties[j].joint).name.text();
            if (ties[j].joint == ties[i].joint)
                return bad_input(fmt::format("{}: this joint has two tie points; one is wanted", name));
            if (distance(ties[j].photo_px, p) < 1)
                return bad_input(fmt::format("{}: it lies on the same pixel as the tie point {}", name, before));
            if (distance(assembly.joint(ties[j].joint).hole, joint.hole) < 1e-3)
                return bad_input(fmt::format("{}: on the board it lies on the same spot as the tie point {}", name, before));
        }
    }
    return {};
}

std::vector<Sight> sights_of(const Assembly& assembly, std::span<const TiePoint> ties) {
    std::vector<Sight> sights;
    for (const TiePoint& tie : ties) sights.push_back({assembly.joint(tie.joint).hole, tie.photo_px});
    return sights;
}

// How far four places are from having three on one line: the least triangle's area over the square of the extent.
double spread_of(const std::array<Point, 4>& p) {
    double least = 1e300;
    double extent = 0;
    for (std::size_t i = 0; i < 4; ++i)
        for (std::size_t j = i + 1; j < 4; ++j) {
            extent = std::max(extent, distance(p[i], p[j]));
            for (std::size_t k = j + 1; k < 4; ++k) least = std::min(least, std::abs(cross(p[j] - p[i], p[k] - p[i])) / 2);
        }
    return extent > 0 ? least / (extent * extent) : 0;
}
constexpr double kLeastSpread = 0.004;  // a strip fifty times as long as wide has 0.01

// Every choice of four from n; a fixed sample of them where there are too many.
std::vector<std::array<std::size_t, 4>> fours_of(std::size_t n) {
    std::vector<std::array<std::size_t, 4>> fours;
    if (n <= 14) {
        for (std::size_t a = 0; a < n; ++a)
            for (std::size_t b = a + 1; b < n; ++b)
                for (std::size_t c = b + 1; c < n; ++c)
                    for (std::size_t d = c + 1; d < n; ++d) fours.push_back({a, b, c, d});
        return fours;
    }
    cv::RNG random(20);
    while (fours.size() < 1000) {
        std::array<std::size_t, 4> four{};
        for (auto& i : four) i = static_cast<std::size_t>(random.uniform(0, static_cast<int>(n)));
        std::sort(four.begin(), four.end());
        if (std::adjacent_find(four.begin(), four.end()) == four.end()) fours.push_back(four);
    }
    return fours;
}

// The photograph can be one of a flat board: everything lies before the camera, and no corner is seen at less
// than a fifth of the scale of another.
bool is_plausible(const Camera& camera, const Board& board) {
    const auto& h = camera.photo_from_board;
    const Size size = board.size_mm;
    double least = 1e300;
    double most = 0;
    const double middle = h[6] * size.width / 2 + h[7] * size.height / 2 + h[8];
    for (double x : {0.0, size.width})
        for (double y : {0.0, size.height}) {
            if ((h[6] * x + h[7] * y + h[8]) / middle < 0.1) return false;
            const double scale = camera.px_per_mm({x, y});
            least = std::min(least, scale);
            most = std::max(most, scale);
        }
    return least > 0 && most < 5 * least;
}

struct TieFit {
    Camera camera;
    std::vector<bool> used;
    [[nodiscard]] std::size_t count() const { return static_cast<std::size_t>(std::count(used.begin(), used.end(), true)); }
};

std::vector<Sight> used_of(std::span<const Sight> sights, const std::vector<bool>& used) {
    std::vector<Sight> left;
    for (std::size_t i = 0; i < sights.size(); ++i)
        if (used[i]) left.push_back(sights[i]);
    return left;
}

Camera least_squares(std::span<const Sight> sights, const Camera& start) {
    return sights.size() > 4 ? fit_camera(sights, start, Lens::flat) : start;
}

// Fits that the tie points allow, best first: each agrees with as many of them as it can. The first is the only
// one unless exactly four of five or more agree, for any four always do.
std::vector<TieFit> tie_fits(std::span<const Sight> sights, cv::Size photo, const Board& board) {
    // A careless click and the curvature that a homography leaves out stay within this; another pad does not.
    const auto agrees_px = [&](const Camera& camera, const Sight& s) { return std::max(12.0, 0.6 * camera.px_per_mm(s.board_mm)); };
    struct Candidate {
        TieFit fit;
        double cost = 0;
    };
    std::vector<Candidate> candidates;
    for (const auto& four : fours_of(sights.size())) {
        std::array<Point, 4> on_board;
        std::array<Point, 4> in_photo;
        std::vector<Sight> chosen;
        for (std::size_t i = 0; i < 4; ++i) {
            chosen.push_back(sights[four[i]]);
            on_board[i] = chosen.back().board_mm;
            in_photo[i] = chosen.back().photo_px;
        }
        if (spread_of(on_board) < kLeastSpread || spread_of(in_photo) < kLeastSpread) continue;
        const auto camera = homography_of(chosen, photo);
        if (!camera || !is_plausible(*camera, board)) continue;
        Candidate candidate{{*camera, std::vector<bool>(sights.size(), false)}};
        for (std::size_t i : four) candidate.fit.used[i] = true;
        // Four clicks carry their errors far outside, so the others are judged by a fit to all that agree.
        for (int round = 0; round < 6; ++round) {
            std::vector<bool> next(sights.size(), false);
            candidate.cost = 0;
            for (std::size_t i = 0; i < sights.size(); ++i) {
                const double limit = agrees_px(candidate.fit.camera, sights[i]) * (round == 0 ? 2 : 1);
                const double miss = distance(candidate.fit.camera.to_photo(sights[i].board_mm), sights[i].photo_px);
                next[i] = miss < limit;
                candidate.cost += std::min(1.0, miss * miss / (limit * limit));
            }
            if (std::count(next.begin(), next.end(), true) < 4) break;
            const bool settled = round > 0 && next == candidate.fit.used;
            candidate.fit.used = next;
            if (settled) break;
            const auto used = used_of(sights, next);
            if (const auto again = homography_of(used, photo)) candidate.fit.camera = least_squares(used, *again);
        }
        if (is_plausible(candidate.fit.camera, board)) candidates.push_back(std::move(candidate));
    }
    std::stable_sort(candidates.begin(), candidates.end(), [](const Candidate& a, const Candidate& b) {
        return a.fit.count() != b.fit.count() ? a.fit.count() > b.fit.count() : a.cost < b.cost;
    });
    std::vector<TieFit> fits;
    std::set<std::vector<bool>> seen;
    for (Candidate& c : candidates)
        if ((fits.empty() || (fits.front().count() == 4 && c.fit.count() == 4)) && seen.insert(c.fit.used).second)
            fits.push_back(std::move(c.fit));
    return fits;
}

double median_of(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

// --- Refining on the photograph ------------------------------------------------------------------------

struct Refined {
    Camera camera;
    Lens lens = Lens::flat;
    std::size_t located = 0;
    double rms_mm = 0;
    double worst_mm = 0;
};

// A hole is believed only where the pad around it was found in the same place: under solder there is none to see.
void drop_lone_holes(std::vector<Found>& found, std::span<const Mark> marks) {
    std::map<JointIndex, Point> pads;
    for (const Found& f : found)
        if (marks[f.mark].kind == MarkKind::pad) pads[marks[f.mark].joint] = f.shift_mm;
    std::erase_if(found, [&](const Found& f) {
        if (marks[f.mark].kind == MarkKind::pad) return false;
        const auto pad = pads.find(marks[f.mark].joint);
        return pad == pads.end() || distance(pad->second, f.shift_mm) > kHoleInPadMm;
    });
}

// What the tie points say of the shift: little each, but parts that stand above the board can agree among themselves
// on a view of their own, and only the clicks tell which is the board's.
struct Anchor {
    Point board_mm;
    Point shift_mm;
};

// Where the shifts found vary smoothly over the board: the best affine field through three of them, by the sum of
// how well the others agree (a form of RANSAC, M. Fischler and R. Bolles, CACM 24 (1981)), the tie points together
// counting as much as half of the marks. Those that agree are returned; none if so many could agree by chance.
std::vector<Found> agreeing(const std::vector<Found>& found, std::span<const Mark> marks, std::span<const Anchor> anchors,
                            double reach_mm, double tolerance_mm, double anchor_tolerance_mm) {
    if (found.size() < 4) return {};
    cv::RNG random(30);
    double all = 0;
    for (const Found& f : found) all += f.agreement;
    const auto value_of = [&](const std::array<double, 6>& a, std::vector<Found>* keep) {
        const auto field_at = [&](Point b) { return Point{a[0] * b.x + a[1] * b.y + a[2], a[3] * b.x + a[4] * b.y + a[5]}; };
        double value = 0;
        for (const Found& f : found) {
            const double t = distance(field_at(marks[f.mark].middle_mm), f.shift_mm) / tolerance_mm;
            if (t >= 1) continue;
            value += f.agreement * (1 - t * t);
            if (keep != nullptr) keep->push_back(f);
        }
        for (const Anchor& anchor : anchors) {
            const double t = distance(field_at(anchor.board_mm), anchor.shift_mm) / anchor_tolerance_mm;
            if (t < 1) value += 0.5 * all / static_cast<double>(anchors.size()) * (1 - t * t);
        }
        return value;
    };
    std::array<double, 6> best{};
    double best_value = value_of(best, nullptr);
    for (int attempt = 0; attempt < 600; ++attempt) {
        std::array<Found, 3> three;
        for (Found& f : three) f = found[static_cast<std::size_t>(random.uniform(0, static_cast<int>(found.size())))];
        const Point o = marks[three[0].mark].middle_mm;
        const Point u = marks[three[1].mark].middle_mm - o;
        const Point v = marks[three[2].mark].middle_mm - o;
        const double area = cross(u, v);
        if (std::abs(area) < 0.02 * (dot(u, u) + dot(v, v)) || std::abs(area) < 1e-9) continue;
        const Point du = three[1].shift_mm - three[0].shift_mm;
        const Point dv = three[2].shift_mm - three[0].shift_mm;
        std::array<double, 6> a{};
        a[0] = (du.x * v.y - dv.x * u.y) / area;
        a[1] = (dv.x * u.x - du.x * v.x) / area;
        a[2] = three[0].shift_mm.x - a[0] * o.x - a[1] * o.y;
        a[3] = (du.y * v.y - dv.y * u.y) / area;
        a[4] = (dv.y * u.x - du.y * v.x) / area;
        a[5] = three[0].shift_mm.y - a[3] * o.x - a[4] * o.y;
        if (const double value = value_of(a, nullptr); value > best_value) {
            best = a;
            best_value = value;
        }
    }
    std::vector<Found> kept;
    value_of(best, &kept);
    const auto n = static_cast<double>(found.size());
    const double by_chance = std::min(1.0, 3.1416 * tolerance_mm * tolerance_mm / (4 * reach_mm * reach_mm));
    if (static_cast<double>(kept.size()) < 3 + n * by_chance + 4 * std::sqrt(n * by_chance)) return {};
    return kept;
}

// How much better the residuals are with the larger lens, as an F statistic. `alike` sights in a row share their
// errors (the pieces of one outline) and count as one.
double gain_of(std::span<const Sight> sights, const RobustFit& larger, Lens larger_lens, const Camera& start, Lens smaller_lens,
               double alike) {
    std::vector<Sight> weighted(sights.begin(), sights.end());
    double count = 0;
    for (std::size_t i = 0; i < weighted.size(); ++i) {
        weighted[i].weight *= larger.weights[i];
        count += (weighted[i].is_edge() ? 1 : 2) * std::min(1.0, weighted[i].weight);
    }
    const auto square_sum = [&](const Camera& camera) {
        double sum = 0;
        for (const Sight& s : weighted) {
            const Point r = s.counted(camera.to_photo(s.board_mm) - s.photo_px);
            sum += s.weight * dot(r, r);
        }
        return sum;
    };
    const double with = square_sum(fit_camera(weighted, larger.camera, larger_lens));
    const double without = square_sum(fit_camera(weighted, start, smaller_lens));
    const auto p1 = static_cast<double>(parameters_of(larger_lens));
    const auto p0 = static_cast<double>(parameters_of(smaller_lens));
    count /= alike;
    if (count <= p1 + 2 || with <= 0) return 0;
    return (without - with) / (p1 - p0) / (with / (count - p1));
}

struct LensFit {
    RobustFit fit;
    Lens lens = Lens::flat;
};

// The lens is one that a camera has: everywhere in the picture and a little beyond, farther out on the board is farther
// out in the photograph, by a factor near one.
bool is_lens(const Camera& camera, const Camera& middle) {
    if (distance(camera.centre_px, middle.centre_px) > 0.4 * middle.radius_px) return false;
    for (double s = 0.1; s <= 1.3; s += 0.1) {
        const double slope = 1 + 3 * camera.k1 * s * s;
        if (slope < 0.6 || slope > 1.6) return false;
    }
    return true;
}

// How much the tie points speak against one camera: the sum of their squared misses in units of a click's variance.
double clicks_against(std::span<const Sight> sights, const Camera& camera) {
    double sum = 0;
    for (const Sight& s : sights) {
        const Point miss = camera.to_photo(s.board_mm) - s.photo_px;
        if (s.trusted) sum += dot(miss, miss) / (kClickPx * kClickPx);
    }
    return sum;
}

// The robust fit with as many terms as the sights hold. The clicks, which reach into corners where nothing else may be
// seen, must not speak plainly against a term: else it follows the middle of the board and swings out beyond.
LensFit fit_with_lens(std::span<const Sight> sights, const Camera& start, cv::Size photo, Lens most, double alike, double least_sigma_px) {
    const Camera middle = unfitted_camera(photo);
    Camera flat_start = start;
    flat_start.k1 = 0;
    flat_start.centre_px = middle.centre_px;
    LensFit best{fit_camera_robustly(sights, flat_start, Lens::flat, least_sigma_px), Lens::flat};
    const double count = static_cast<double>(sights.size()) / alike;
    struct Step {
        Lens lens;
        double joints;  // that are wanted before it is tried
    };
    for (const Step& step : {Step{Lens::radial, 2.0 * kFewestJoints}, Step{Lens::radial_off_centre, 4.0 * kFewestJoints}}) {
        if (step.lens > most || count < step.joints) break;
        const RobustFit larger = fit_camera_robustly(sights, best.fit.camera, step.lens, least_sigma_px);
        if (!(step.lens == Lens::radial || best.lens == Lens::radial)) break;
        if (is_lens(larger.camera, middle) && clicks_against(sights, larger.camera) < clicks_against(sights, best.fit.camera) + kClicksAgainst &&
            gain_of(sights, larger, step.lens, best.fit.camera, best.lens, alike) > kTermIsHeld)
            best = {larger, step.lens};
    }
    return best;
}

std::optional<Refined> refine(const cv::Mat& photo, std::span<const Mark> marks, std::span<const Sight> ties, const TieFit& tie_fit,
                              const Board& board, double pitch_mm) {
    Refined refined;
    refined.camera = tie_fit.camera;
    const double photo_px_per_mm = refined.camera.px_per_mm({board.size_mm.width / 2, board.size_mm.height / 2});
    const auto window_of = [&](double reach_mm, double blur_mm, double px_per_mm) {
        SearchWindow window;
        window.px_per_mm = std::min(px_per_mm, 1.5 * photo_px_per_mm);
        window.reach_mm = std::max(reach_mm, 3 / window.px_per_mm);
        window.blur_mm = std::max(blur_mm, 0.6 / photo_px_per_mm);
        return window;
    };
    // What is seen bunches where parts leave pads free, and no two terms describe a real board to the last tenth of a
    // millimetre: each part of the board gets the same say. The tie points, which are few, keep theirs where nothing
    // is seen: `mark_mm` is how true one mark is, of `pieces` sights.
    const auto balance = [&](std::vector<Sight>& sights, double mark_mm, double pieces) {
        std::map<std::pair<int, int>, double> crowd;
        const auto cell_of = [&](const Sight& s) {
            return std::pair(static_cast<int>(5 * s.board_mm.x / board.size_mm.width), static_cast<int>(5 * s.board_mm.y / board.size_mm.height));
        };
        for (const Sight& s : sights) crowd[cell_of(s)] += s.weight;
        double sum = 0;
        double all = 0;
        for (const Sight& s : sights) {
            all += s.weight;
            sum += s.weight / std::sqrt(crowd[cell_of(s)]);
        }
        for (Sight& s : sights) s.weight *= all / sum / std::sqrt(crowd[cell_of(s)]);
        for (std::size_t i = 0; i < ties.size(); ++i)
            if (tie_fit.used[i]) {
                Sight tie = ties[i];
                tie.weight = pieces * std::pow(std::max(kOutlinePx, mark_mm * photo_px_per_mm) / kClickPx, 2);
                tie.trusted = true;
                sights.push_back(tie);
            }
    };

    // First whole outlines, from far to near.
    struct Pass {
        double reach_mm, blur_mm, px_per_mm, tolerance_mm, mark_mm;
        Lens most;
    };
    // The first reach covers clicks a few pixels off and the curvature they leave out; a row of like pads is no
    // trap as long as most find their own. The later ones are a few times what the fit before still missed by.
    std::vector<Mark> seen;
    for (const Pass& pass : {Pass{0.7, 0.10, 12, 0.25, 0.06, Lens::flat}, Pass{0.4, 0.07, 16, 0.20, 0.05, Lens::radial}, Pass{0.25, 0.05, 25, 0.12, 0.04, Lens::radial}}) {
        const SearchWindow window = window_of(pass.reach_mm, pass.blur_mm, pass.px_per_mm);
        std::vector<Found> found = find_marks(photo, refined.camera, marks, window);
        drop_lone_holes(found, marks);
        std::vector<Anchor> anchors;
        for (std::size_t i = 0; i < ties.size(); ++i)
            if (tie_fit.used[i]) anchors.push_back({ties[i].board_mm, refined.camera.to_board(ties[i].photo_px) - ties[i].board_mm});
        found = agreeing(found, marks, anchors, window.reach_mm, std::max(pass.tolerance_mm, 1.5 / photo_px_per_mm),
                         std::max(0.3, 3.5 * kClickPx / photo_px_per_mm));
        if (found.size() < kFewestJoints) return std::nullopt;
        std::vector<Sight> sights;
        seen.clear();
        for (const Found& f : found) {
            const Point at = marks[f.mark].middle_mm;
            sights.push_back({at, refined.camera.to_photo(at + f.shift_mm), f.agreement * f.agreement});
            seen.push_back(marks[f.mark]);
        }
        balance(sights, pass.mark_mm, 1);
        const LensFit fit = fit_with_lens(sights, refined.camera, photo.size(), pass.most, 1, 0.5 * pass.mark_mm * photo_px_per_mm);
        if (!is_plausible(fit.fit.camera, board)) return std::nullopt;
        refined.camera = fit.fit.camera;
        refined.lens = fit.lens;
    }

    // Then piece by piece.
    for (const double reach_mm : {0.2, 0.12, 0.12}) {
        const SearchWindow window = window_of(reach_mm, 0.04, 30);
        const std::vector<Edge> edges = find_edges(photo, refined.camera, seen, window);
        if (edges.size() < 4 * kFewestJoints) return std::nullopt;
        // Pads look larger than they are by their solder and the opening in the mask, holes smaller by their plating:
        // what all pieces share says nothing of where they are.
        std::array<std::vector<double>, 2> outward;
        for (const Edge& edge : edges) outward[seen[edge.mark].kind == MarkKind::hole ? 1 : 0].push_back(edge.outward_mm);
        const std::array<double, 2> common = {median_of(outward[0]), median_of(outward[1])};
        std::vector<Sight> sights;
        for (const Edge& edge : edges) {
            const double out = edge.outward_mm - common[seen[edge.mark].kind == MarkKind::hole ? 1 : 0];
            const Point here = refined.camera.to_photo(edge.at_mm);
            const Point outside = refined.camera.to_photo(edge.at_mm + 0.1 * edge.normal) - here;
            sights.push_back({edge.at_mm, refined.camera.to_photo(edge.at_mm + out * edge.normal), 1, (1 / length(outside)) * outside});
        }
        const double pieces = static_cast<double>(edges.size()) / static_cast<double>(seen.size());
        balance(sights, 0.03, pieces);
        const LensFit fit = fit_with_lens(sights, refined.camera, photo.size(), Lens::radial_off_centre, pieces, 0.05);
        if (!is_plausible(fit.fit.camera, board)) return std::nullopt;
        refined.camera = fit.fit.camera;
        refined.lens = fit.lens;

        // Each joint's own place, from those of its pieces that the fit believes: normal equations of
        // normal . miss = distance along the normal. It is located where pieces all around it are believed.
        struct Normal {
            double xx = 0, xy = 0, yy = 0, x = 0, y = 0;
            std::size_t believed = 0, all = 0;
        };
        std::map<JointIndex, Normal> by_joint;
        for (std::size_t i = 0; i < edges.size(); ++i) {
            Normal& n = by_joint[seen[edges[i].mark].joint];
            ++n.all;
            if (fit.fit.weights[i] <= 0) continue;
            const Point miss_px = sights[i].photo_px - refined.camera.to_photo(sights[i].board_mm);
            const double along_mm = dot(sights[i].normal_px, miss_px) / photo_px_per_mm;
            const Point normal = edges[i].normal;
            n.xx += normal.x * normal.x;
            n.xy += normal.x * normal.y;
            n.yy += normal.y * normal.y;
            n.x += normal.x * along_mm;
            n.y += normal.y * along_mm;
            ++n.believed;
        }
        refined.located = 0;
        refined.worst_mm = 0;
        double square = 0;
        for (const auto& [joint, n] : by_joint) {
            const double determinant = n.xx * n.yy - n.xy * n.xy;
            const auto count = static_cast<double>(n.believed);
            if (2 * n.believed < n.all || n.believed < 5 || determinant < 0.02 * count * count) continue;
            const double miss = length({(n.x * n.yy - n.y * n.xy) / determinant, (n.y * n.xx - n.x * n.xy) / determinant});
            ++refined.located;
            square += miss * miss;
            refined.worst_mm = std::max(refined.worst_mm, miss);
        }
        refined.rms_mm = std::sqrt(square / static_cast<double>(std::max<std::size_t>(1, refined.located)));
    }
    if (refined.located < kFewestJoints) return std::nullopt;
    // Locked on to a neighbour, the pads agree with each other but not with the clicks.
    std::vector<double> misses;
    std::vector<double> before;
    for (std::size_t i = 0; i < ties.size(); ++i)
        if (tie_fit.used[i]) {
            misses.push_back(distance(refined.camera.to_board(ties[i].photo_px), ties[i].board_mm));
            before.push_back(distance(tie_fit.camera.to_board(ties[i].photo_px), ties[i].board_mm));
        }
    if (median_of(misses) > std::max(pitch_mm / 2, 3 * median_of(before) + 6 / photo_px_per_mm)) return std::nullopt;
    return refined;
}

}  // namespace

std::optional<double> finest_pitch_mm(const Assembly& assembly, BoardIndex board, Side side) {
    std::vector<const Joint*> pads;
    for (const Joint& joint : assembly.joints)
        if (joint.board == board && joint.on(side) && joint.kind == JointKind::pad) pads.push_back(&joint);
    std::sort(pads.begin(), pads.end(), [](const Joint* a, const Joint* b) { return a->copper_centre.x < b->copper_centre.x; });
    double finest = 1e300;
    for (std::size_t i = 0; i < pads.size(); ++i)
        for (std::size_t j = i + 1; j < pads.size() && pads[j]->copper_centre.x - pads[i]->copper_centre.x < finest; ++j) {
            const double apart = distance(pads[i]->copper_centre, pads[j]->copper_centre);
            const auto half = [](const Joint* joint) { return std::min(joint->pad_mm.width, joint->pad_mm.height) / 2; };
            if (apart > half(pads[i]) + half(pads[j])) finest = std::min(finest, apart);
        }
    if (finest == 1e300) return std::nullopt;
    return finest;
}

Result<Alignment> align(const cv::Mat& photo, Side side, const Assembly& assembly, BoardIndex board_index,
                        std::span<const TiePoint> tie_points, const AlignOptions& options) {
    if (photo.empty() || (photo.type() != CV_8UC1 && photo.type() != CV_8UC3))
        return bad_input("a photograph of 8-bit pixels, grey or colour, is wanted");
    if (board_index.raw() >= assembly.boards.size()) return not_found("the photograph's board is not in the assembly");
    EYELET_TRY(check_tie_points(photo.size(), side, assembly, board_index, tie_points));
    const Board& board = assembly.board(board_index);

    Alignment alignment;
    // A side with one pad has no neighbours to be mistaken for; the common 2.54 mm grid then sets the limit.
    alignment.finest_pitch_mm = finest_pitch_mm(assembly, board_index, side).value_or(2.54);
    alignment.limit_mm = options.limit_share_of_pitch * alignment.finest_pitch_mm;

    const std::vector<Sight> sights = sights_of(assembly, tie_points);
    const std::vector<TieFit> fits = tie_fits(sights, photo.size(), board);
    if (fits.empty()) {
        bool spread = false;
        for (const auto& four : fours_of(sights.size())) {
            std::array<Point, 4> on_board;
            std::array<Point, 4> in_photo;
            for (std::size_t i = 0; i < 4; ++i) {
                on_board[i] = sights[four[i]].board_mm;
                in_photo[i] = sights[four[i]].photo_px;
            }
            spread = spread || (spread_of(on_board) >= kLeastSpread && spread_of(in_photo) >= kLeastSpread);
        }
        if (!spread)
            return bad_input("the tie points lie on one line, or all but one do; four are wanted of which no three lie on a line, "
                             "best near the board's corners");
        return bad_input("no view of a flat board puts the tie points where they were clicked; two of them may be exchanged");
    }

    // Which of the fits: the photograph tells where the tie points alone do not.
    const std::vector<Mark> marks =
        options.refine == Refine::on_photograph ? marks_of(assembly, board_index, side, kMostJoints) : std::vector<Mark>{};
    {
        std::set<JointIndex> sought;
        for (const Mark& mark : marks) sought.insert(mark.joint);
        alignment.joints_sought = sought.size();
    }
    const TieFit* chosen = &fits.front();
    std::optional<Refined> refined;
    const auto right_way_round = [&](const Camera& camera) { return camera.mirrored() == (side == Side::solder); };
    if (fits.size() == 1) {
        if (!right_way_round(chosen->camera))
            return refused(fmt::format("the tie points show the {}, but the photograph is entered for the {}; enter it for the {}",
                                       name_of(other(side)), name_of(side), name_of(other(side))));
        if (!marks.empty()) refined = refine(photo, marks, sights, *chosen, board, alignment.finest_pitch_mm);
    } else {
        std::size_t second = 0;
        for (const TieFit& fit : fits) {
            if (!right_way_round(fit.camera) || marks.empty()) continue;
            const auto attempt = refine(photo, marks, sights, fit, board, alignment.finest_pitch_mm);
            if (!attempt) continue;
            if (!refined || attempt->located > refined->located) {
                // Two fits that ended at the same camera are one answer.
                if (refined && distance(refined->camera.to_photo(sights[0].board_mm), attempt->camera.to_photo(sights[0].board_mm)) > 3)
                    second = refined->located;
                refined = attempt;
                chosen = &fit;
            } else if (distance(refined->camera.to_photo(sights[0].board_mm), attempt->camera.to_photo(sights[0].board_mm)) > 3) {
                second = std::max(second, attempt->located);
            }
        }
        if (!refined || 2 * refined->located < 3 * second)
            return refused(fmt::format("the {} tie points contradict each other, and with so few it cannot be told which is wrong; "
                                       "check them or add two more", sights.size()));
    }

    std::vector<bool> used = chosen->used;
    alignment.camera = chosen->camera;
    if (refined) {
        alignment.camera = refined->camera;
        alignment.lens = refined->lens;
        alignment.refined = true;
        alignment.joints_located = refined->located;
        alignment.located_rms_mm = refined->rms_mm;
        alignment.located_worst_mm = refined->worst_mm;
    } else if (chosen->count() >= 2 * kFewestJoints) {
        const LensFit fit = fit_with_lens(used_of(sights, used), chosen->camera, photo.size(), Lens::radial, 1, kClickPx / 3);
        alignment.camera = fit.fit.camera;
        alignment.lens = fit.lens;
    }

    // The tie points against the final camera.
    const auto miss_px = [&](const Sight& s) { return distance(alignment.camera.to_photo(s.board_mm), s.photo_px); };
    const auto miss_mm = [&](const Sight& s) { return distance(alignment.camera.to_board(s.photo_px), s.board_mm); };
    if (refined) {
        std::vector<double> misses;
        for (const Sight& s : sights) misses.push_back(miss_mm(s));
        const double wrong_from = std::max(alignment.finest_pitch_mm / 2, kWrongOverMedian * median_of(misses));
        for (std::size_t i = 0; i < sights.size(); ++i) used[i] = misses[i] <= wrong_from;
    }
    double square = 0;
    double worst = 0;
    std::size_t count = 0;
    for (std::size_t i = 0; i < sights.size(); ++i) {
        const double miss = miss_mm(sights[i]);
        alignment.tie_points.push_back(
            {tie_points[i].joint, miss_px(sights[i]), miss, used[i] ? TieVerdict::used : TieVerdict::wrong});
        if (used[i]) {
            square += miss * miss;
            worst = std::max(worst, miss);
            ++count;
        } else {
            const Point clicked = alignment.camera.to_board(sights[i].photo_px);
            JointIndex nearest;
            for (std::size_t j = 0; j < assembly.joints.size(); ++j) {
                const Joint& joint = assembly.joints[j];
                if (joint.board == board_index && joint.on(side) && joint.kind == JointKind::pad &&
                    (!nearest.valid() || distance(joint.hole, clicked) < distance(assembly.joint(nearest).hole, clicked)))
                    nearest = JointIndex(j);
            }
            // Where the click went, if it went to another joint.
            std::string where;
            if (nearest.valid() && nearest != tie_points[i].joint && distance(assembly.joint(nearest).hole, clicked) < 1)
                where = ", on " + assembly.joint(nearest).name.text();
            alignment.remarks.push_back(fmt::format("{} is wrong and was left out: the click lies {:.1f} mm from that joint{}",
                                                    tie_name(assembly, tie_points[i]), miss, where));
        }
    }
    if (refined || count > 4) {
        alignment.tie_rms_mm = std::sqrt(square / static_cast<double>(std::max<std::size_t>(1, count)));
        alignment.tie_worst_mm = worst;
    }
    if (!refined && count == 4)
        alignment.remarks.push_back("four tie points always fit, so their misfit says nothing; a fifth would tell");
    if (!refined && options.refine == Refine::on_photograph)
        alignment.remarks.push_back("too few pads were recognised where the tie points put them; the fit rests on the tie points alone");

    const double misfit = refined ? refined->rms_mm : alignment.tie_rms_mm.value_or(0);
    if (misfit > alignment.limit_mm)
        return refused(fmt::format("the {} miss by {:.2f} mm (root mean square), more than the {:.2f} mm that the finest joint pitch of "
                                   "{:.2f} mm can bear; check the tie points, {} misses most",
                                   refined ? "joints seen in the photograph" : "tie points", misfit, alignment.limit_mm,
                                   alignment.finest_pitch_mm, [&] {
                                       std::size_t most = 0;
                                       for (std::size_t i = 1; i < sights.size(); ++i)
                                           if (miss_mm(sights[i]) > miss_mm(sights[most])) most = i;
                                       return assembly.joint(tie_points[most].joint).name.text();
                                   }()));
    return alignment;
}

}  // namespace eyelet
