#include "eyelet/copper/sheet.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace eyelet {
namespace {

using testing::HasSubstr;

SheetMask mask_of(int width, int height, double mm_per_cell, const std::function<bool(Point)>& copper) {
    SheetMask mask{width, height, mm_per_cell, {}};
    mask.copper.resize(static_cast<std::size_t>(width) * static_cast<std::size_t>(height));
    for (int r = 0; r < height; ++r)
        for (int c = 0; c < width; ++c)
            mask.copper[static_cast<std::size_t>(r) * static_cast<std::size_t>(width) + static_cast<std::size_t>(c)] =
                copper({(c + 0.5) * mm_per_cell, (r + 0.5) * mm_per_cell});
    return mask;
}

SheetOptions unit_sheet() {
    SheetOptions options;
    options.ohms_per_square = 1;
    return options;
}

// A track of 0.25 mm by 100 mm, 35 um: 400 squares of 0.4926 milliohm (IEC 60028), 0.197 ohm.
TEST(Sheet, AStraightTrackHasLengthOverWidthSquares) {
    EXPECT_NEAR(ohms_per_square(35) * 1e3, 0.4926, 5e-5);
    EXPECT_NEAR(ohms_per_square(35, 120) / ohms_per_square(35), 1.393, 1e-9);
    const SheetMask mask = mask_of(2040, 5, 0.05, [](Point) { return true; });
    const auto answer = sheet_resistance(mask, Box{{0, 0}, {1, 0.25}}, Box{{101, 0}, {102, 0.25}});
    ASSERT_TRUE(answer.ok()) << answer.error().message;
    EXPECT_NEAR(answer.value().ohms, 400 * ohms_per_square(35), 1e-6 * answer.value().ohms);
    EXPECT_LT(answer.value().error_ohms, 1e-5 * answer.value().ohms);
}

// A ring between radii a and b, cut open: 2 pi / ln(b/a) squares round it (Laplace's equation in polar form).
TEST(Sheet, ARingCutOpenHasItsAngleOverTheLogarithmOfItsRadii) {
    const Point centre{10, 10};
    const double a = 2.5, b = 9;
    SheetMask cut = mask_of(1000, 1000, 0.02, [&](Point p) { return distance(p, centre) <= b && distance(p, centre) >= a; });
    // Across the ring cut open along one radius the current runs round it: R = 2 pi / ln(b/a) squares.
    for (int c = 500; c < 1000; ++c) {
        cut.copper[static_cast<std::size_t>(499) * 1000 + static_cast<std::size_t>(c)] = 0;
        cut.copper[static_cast<std::size_t>(500) * 1000 + static_cast<std::size_t>(c)] = 0;
    }
    const auto answer = sheet_resistance(cut, Box{{10, 9.96}, {20, 9.98}}, Box{{10, 10.02}, {20, 10.04}}, unit_sheet());
    ASSERT_TRUE(answer.ok()) << answer.error().message;
    const double angle = 2 * std::numbers::pi - 2 * std::asin(0.04 / 5.75);  // the contacts' own width, at mid radius
    EXPECT_NEAR(answer.value().ohms, angle / std::log(b / a), 2e-3 * answer.value().ohms);
}

// A right-angled bend of two equal strips: the corner counts 0.559 squares (conformal mapping; M. Hall, "Resistance
// calculations for thin film patterns", Thin Solid Films 1 (1968), from memory).
TEST(Sheet, ARightAngledBendCounts0559Squares) {
    const double w = 1, arm = 4;
    const int cells_per_mm = 64;
    const int n = static_cast<int>((w + arm + 0.5) * cells_per_mm);
    const SheetMask mask = mask_of(n, n, 1.0 / cells_per_mm, [&](Point p) { return p.x < w || p.y < w; });
    const double end = w + arm;
    const auto answer = sheet_resistance(mask, Box{{end, 0}, {end + 0.5, w}}, Box{{0, end}, {w, end + 0.5}}, unit_sheet());
    ASSERT_TRUE(answer.ok()) << answer.error().message;
    EXPECT_NEAR(answer.value().ohms, 2 * arm + 0.559, 2e-3 * answer.value().ohms);
    EXPECT_GE(answer.value().error_ohms, std::abs(answer.value().ohms - (2 * arm + 0.55888)) - 1e-4);
}

// The bounds hold against a grid eight times finer on random shapes, and current is conserved.
TEST(Sheet, BoundsEncloseAndChargeIsConservedOnRandomMasks) {
    std::mt19937 random(7);
    int covered = 0, tried = 0;
    while (tried < 40) {
        const int n = 24;
        SheetMask coarse = mask_of(n, n, 1, [&](Point p) {
            return p.x < 3 || p.x > n - 3 || std::uniform_real_distribution<>(0, 1)(random) < 0.72;
        });
        const Box left{{0, 0}, {2, n}}, right{{n - 2.0, 0}, {double(n), n}};
        const auto answer = sheet_resistance(coarse, left, right, unit_sheet());
        ASSERT_TRUE(answer.ok()) << answer.error().message;
        if (answer.value().open) continue;
        ++tried;
        const int k = 8;
        SheetMask fine{n * k, n * k, 1.0 / k, {}};
        for (int r = 0; r < n * k; ++r)
            for (int c = 0; c < n * k; ++c) fine.copper.push_back(coarse.copper[static_cast<std::size_t>(r / k * n + c / k)]);
        const auto reference = sheet_resistance(fine, left, right, unit_sheet());
        ASSERT_TRUE(reference.ok());
        EXPECT_LE(answer.value().lower_ohms, reference.value().upper_ohms * (1 + 1e-6));
        EXPECT_GE(answer.value().upper_ohms, reference.value().lower_ohms * (1 - 1e-6));
        EXPECT_LE(answer.value().lower_ohms, answer.value().upper_ohms);
        EXPECT_LT(answer.value().current_balance, 1e-6);
        covered += std::abs(answer.value().ohms - reference.value().ohms) <= answer.value().error_ohms;
    }
    EXPECT_GE(covered, 38);  // 95 in 100
}

// Against a dense elimination of the same network, on small masks.
TEST(Sheet, ConductanceMatrixEqualsDenseElimination) {
    std::mt19937 random(11);
    const int n = 9;
    const SheetMask mask = mask_of(n, n, 1, [&](Point p) {
        return std::uniform_real_distribution<>(0, 1)(random) < 0.85 || p.x < 1 || p.y < 1 || p.x > n - 1 || p.y > n - 1;
    });
    const std::vector<Contact> contacts{Box{{0, 0}, {1, 1}}, Box{{n - 1.0, 0}, {double(n), 1}}, Disc{{0.5, n - 0.5}, 0.4}};
    const auto matrix = sheet_conductances(mask, contacts, unit_sheet());
    ASSERT_TRUE(matrix.ok()) << matrix.error().message;
    // The network's Laplacian with every cell that is not a contact eliminated (star-mesh, Rosen 1924).
    const std::size_t cells = static_cast<std::size_t>(n) * n;
    const std::size_t corner[3] = {0, static_cast<std::size_t>(n - 1), static_cast<std::size_t>(n * (n - 1))};
    const auto is_corner = [&](std::size_t i) { return std::find(corner, corner + 3, i) != corner + 3; };
    std::vector<double> g(cells * cells, 0);
    const auto at = [&](std::size_t i, std::size_t j) -> double& { return g[i * cells + j]; };
    for (int r = 0; r < n; ++r)
        for (int c = 0; c < n; ++c)
            for (const auto& [dr, dc] : {std::pair{0, 1}, std::pair{1, 0}}) {
                if (r + dr >= n || c + dc >= n) continue;
                const auto i = static_cast<std::size_t>(r * n + c), j = static_cast<std::size_t>((r + dr) * n + c + dc);
                const bool held = is_corner(i) || is_corner(j);  // a contact's edge is half a cell away
                if (mask.copper[i] && mask.copper[j]) at(i, j) = at(j, i) = held ? 2 : 1;
            }
    for (std::size_t k = 0; k < cells; ++k) {
        if (is_corner(k)) continue;
        double sum = 0;
        for (std::size_t i = 0; i < cells; ++i) sum += at(k, i);
        if (sum > 0)
            for (std::size_t i = 0; i < cells; ++i)
                for (std::size_t j = 0; j < cells; ++j)
                    if (i != j) at(i, j) += at(i, k) * at(k, j) / sum;
        for (std::size_t i = 0; i < cells; ++i) at(i, k) = at(k, i) = 0;
    }
    for (std::size_t i = 0; i < 3; ++i)
        for (std::size_t j = 0; j < 3; ++j)
            if (i != j) {
                EXPECT_NEAR(-matrix.value().at(i, j), at(corner[i], corner[j]), 1e-6);
            }
}

TEST(Sheet, CopperThatDoesNotJoinIsOpenAndNotANumber) {
    const SheetMask mask = mask_of(40, 10, 0.1, [](Point p) { return p.x < 1.5 || p.x > 2; });
    const auto answer = sheet_resistance(mask, Disc{{0.5, 0.5}, 0.2}, Disc{{3, 0.5}, 0.2});
    ASSERT_TRUE(answer.ok());
    EXPECT_TRUE(answer.value().open);
}

TEST(Sheet, RefusesContactsOffCopperOverlappingOrOfNoSize) {
    const SheetMask mask = mask_of(40, 10, 0.1, [](Point p) { return p.x < 3; });
    const auto refuse = [&](const Contact& a, const Contact& b) {
        const auto answer = sheet_resistance(mask, a, b);
        return answer.ok() ? std::string("accepted") : answer.error().message;
    };
    EXPECT_THAT(refuse(Disc{{0.5, 0.5}, 0.2}, Disc{{3.5, 0.5}, 0.2}), HasSubstr("contact 2: it covers no copper"));
    EXPECT_THAT(refuse(Disc{{0.5, 0.5}, 0.2}, Disc{{0.6, 0.5}, 0.2}), HasSubstr("overlap"));
    EXPECT_THAT(refuse(Box{{0, 0}, {1, 1}}, Box{{1.02, 0}, {2, 1}}), HasSubstr("touch"));
    EXPECT_THAT(refuse(Disc{{0.5, 0.5}, 0}, Disc{{2, 0.5}, 0.2}), HasSubstr("contact 1"));
    EXPECT_THAT(refuse(Box{{1, 1}, {0, 0}}, Disc{{2, 0.5}, 0.2}), HasSubstr("positive size"));
}

}  // namespace
}  // namespace eyelet
