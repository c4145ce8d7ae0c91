// Pads drawn on a pixel grid in the board's frame.
#pragma once

#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/board/map.h"

namespace eyelet {

// A grid of square pixels over a board: pixel (c, r) covers x = c / px_per_mm .. (c + 1) / px_per_mm.
struct PixelGrid {
    int width = 0;
    int height = 0;
    double px_per_mm = 16;

    [[nodiscard]] Point to_board(double column, double row) const {
        return {(column + 0.5) / px_per_mm, (row + 0.5) / px_per_mm};
    }
    [[nodiscard]] Point to_pixel(Point board_mm) const {
        return {board_mm.x * px_per_mm - 0.5, board_mm.y * px_per_mm - 0.5};
    }
    [[nodiscard]] bool contains(int column, int row) const {
        return column >= 0 && row >= 0 && column < width && row < height;
    }
};

// True where the point lies on the joint's copper. Trapezoids and custom shapes count as their rectangle.
[[nodiscard]] bool pad_covers(const Joint& joint, Point board_mm);

// Half the longest extent of the pad, from its centre.
[[nodiscard]] double pad_reach_mm(const Joint& joint);

// The joints of one side of one board, in the order of the assembly.
[[nodiscard]] std::vector<JointIndex> joints_on(const Assembly& assembly, BoardIndex board, Side side);

// CV_32S: place in `joints` of the joint whose pad covers the pixel, or -1. Where pads overlap the smaller one
// has the pixel, so that a pad inside another has a place of its own. A pad smaller than a pixel still gets the pixel of its centre.
[[nodiscard]] cv::Mat draw_pads(const Assembly& assembly, const std::vector<JointIndex>& joints, const PixelGrid& grid);

}  // namespace eyelet
