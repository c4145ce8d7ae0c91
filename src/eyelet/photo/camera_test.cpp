#include "eyelet/photo/camera.h"

#include <gtest/gtest.h>

namespace eyelet {
namespace {

TEST(Camera, ProjectsTheUnitSquareAsTheTextbookSolutionSays) {
    // Unit square to (0,0) (4,1) (3,5) (1,4); the centre maps to the crossing of the diagonals.
    Camera camera;
    camera.photo_from_board = {28.0 / 9, 17.0 / 9, 0, 7.0 / 9, 68.0 / 9, 0, -2.0 / 9, 8.0 / 9, 1};
    const Point centre = camera.to_photo({0.5, 0.5});
    EXPECT_NEAR(centre.x, 1.875, 1e-12);
    EXPECT_NEAR(centre.y, 3.125, 1e-12);
    EXPECT_FALSE(camera.mirrored());
}

TEST(Camera, ReturnsToTheBoard) {
    Camera camera;
    camera.photo_from_board = {26.7, 0.47, 225.3, -0.2, 26.4, 274.4, 1.8e-4, -1.2e-5, 1};
    camera.centre_px = {1537, 1545.5};
    camera.radius_px = 2179.7;
    for (double k1 : {-0.2, -0.007, 0.0, 0.007, 0.2}) {
        camera.k1 = k1;
        for (Point p : {Point{0, 0}, Point{99, 99}, Point{10, 80}, Point{50, 50}}) {
            const Point back = camera.to_board(camera.to_photo(p));
            EXPECT_NEAR(back.x, p.x, 1e-7);
            EXPECT_NEAR(back.y, p.y, 1e-7);
        }
    }
}

TEST(Camera, KnowsAViewFromBehind) {
    Camera camera;
    camera.photo_from_board = {-26, 0, 2600, 0, 26, 100, 0, 0, 1};
    EXPECT_TRUE(camera.mirrored());
    EXPECT_NEAR(camera.px_per_mm({10, 10}), 26, 1e-6);
}

}  // namespace
}  // namespace eyelet
