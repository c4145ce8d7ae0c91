#include "eyelet/synthetic/paint.h"

#include <gtest/gtest.h>

#include <cmath>

namespace eyelet::synthetic {
namespace {

Shot small_shot(Side side) {
    Shot shot;
    shot.side = side;
    shot.width_px = 900;
    shot.height_px = 700;
    shot.noise = 0;
    return shot;
}

double brightness(const Photograph& photo, Point pixel) {
    const auto x = static_cast<std::size_t>(std::lround(pixel.x));
    const auto y = static_cast<std::size_t>(std::lround(pixel.y));
    const std::uint8_t* at = photo.rgb.data() + 3 * (y * static_cast<std::size_t>(photo.width) + x);
    return (at[0] + at[1] + at[2]) / 3.0;
}

TEST(Paint, CameraShowsTheBoardInTheMiddleAndTheSolderSideMirrored) {
    const Size board{100, 70};
    for (const Side side : {Side::component, Side::solder}) {
        const Shot shot = small_shot(side);
        const Camera camera = camera_of(shot, board);
        EXPECT_LT(distance(camera.to_photo({50, 35}), camera.centre_px), 1e-6);
        EXPECT_EQ(camera.mirrored(), side == Side::solder);
        EXPECT_NEAR(camera.px_per_mm({50, 35}), px_per_mm(shot, board), 0.02 * px_per_mm(shot, board));
        for (const Point corner : {Point{0, 0}, Point{100, 0}, Point{100, 70}, Point{0, 70}}) {
            const Point p = camera.to_photo(corner);
            EXPECT_GT(p.x, 0);
            EXPECT_GT(p.y, 0);
            EXPECT_LT(p.x, shot.width_px - 1);
            EXPECT_LT(p.y, shot.height_px - 1);
        }
    }
}

TEST(Paint, PadsAppearWhereTheCameraSaysOnBothSides) {
    // A bare board with one bright pad at each of four places, in darkness otherwise.
    Layout layout;
    layout.assembly.boards.push_back({BoardName{"main"}, {60, 40}, {{0, 0}, {60, 0}, {60, 40}, {0, 40}}});
    for (const Point at : {Point{6, 5}, Point{52, 8}, Point{30, 20}, Point{9, 34}}) {
        Joint joint;
        joint.name = JointName{"T" + std::to_string(layout.assembly.joints.size())};
        joint.board = BoardIndex{0};
        joint.hole = joint.copper_centre = at;
        joint.pad_mm = {1.2, 1.2};
        layout.assembly.joints.push_back(joint);
        layout.wanted_net.push_back(-1);
    }
    Paint paint;
    paint.mask_over_laminate = paint.mask_over_copper = {0, 0, 0};
    paint.fitted = Fitted::bare;
    paint.relief = paint.ghost = 0;
    for (const Side side : {Side::component, Side::solder}) {
        const Shot shot = small_shot(side);
        const Photograph photo = take(layout, draw_layers(layout, 20), paint, shot);
        for (const Joint& joint : layout.assembly.joints) {
            // Centre of gravity of the bright pixels near the place where the pad should be.
            const Point expected = photo.camera.to_photo(joint.copper_centre);
            double sum = 0;
            Point weighted;
            for (int dy = -14; dy <= 14; ++dy)
                for (int dx = -14; dx <= 14; ++dx) {
                    const Point p{std::round(expected.x) + dx, std::round(expected.y) + dy};
                    const double light = brightness(photo, p) > 60 ? 1 : 0;
                    sum += light;
                    weighted = weighted + light * p;
                }
            ASSERT_GT(sum, 0) << joint.name.text();
            EXPECT_LT(distance((1 / sum) * weighted, expected), 0.25) << joint.name.text();
        }
    }
}

TEST(Paint, PartsHideLeanAndThrowShadow) {
    Layout layout;
    layout.assembly.boards.push_back({BoardName{"main"}, {60, 40}, {{0, 0}, {60, 0}, {60, 40}, {0, 40}}});
    Body body;
    body.outline = rectangle({{46, 15}, {54, 25}});
    body.high_mm = 10;
    body.look = Look::dipped;
    body.colour = 5;
    layout.bodies.push_back(body);
    const Layers layers = draw_layers(layout, 16);
    Shot shot = small_shot(Side::component);
    shot.tilt_x_deg = shot.tilt_y_deg = shot.turn_deg = 0;
    Paint paint;
    const Photograph fitted = take(layout, layers, paint, shot);
    paint.fitted = Fitted::bare;
    const Photograph bare = take(layout, layers, paint, shot);
    const auto changed = [&](Point mm) {
        const Point p = fitted.camera.to_photo(mm);
        return brightness(fitted, p) - brightness(bare, p);
    };
    EXPECT_GT(changed({50, 20}), 60);        // a bright body hides the dark mask
    EXPECT_GT(changed({54.8, 20}), 60);      // it leans away from the middle
    EXPECT_NEAR(changed({45.5, 20}), 0, 8);  // and not towards it, where no shadow falls
    EXPECT_NEAR(changed({10, 10}), 0, 2);
    EXPECT_LT(fitted.surface_seen, 1);
    EXPECT_EQ(bare.surface_seen, 1);
}

TEST(Paint, SameSeedSamePhotograph) {
    const Layout layout = make_layout(random_recipe(7));
    const Layers layers = draw_layers(layout, 8);
    Shot shot = small_shot(Side::component);
    shot.noise = 0.02;
    const Photograph a = take(layout, layers, {}, shot);
    EXPECT_EQ(a.rgb, take(layout, layers, {}, shot).rgb);
    shot.seed = 2;
    EXPECT_NE(a.rgb, take(layout, layers, {}, shot).rgb);
}

}  // namespace
}  // namespace eyelet::synthetic
