// A small drawn board for tests of jobs. Included by tests only.
#pragma once

#include <filesystem>
#include <fstream>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "eyelet/bench/testing.h"
#include "eyelet/exchange/survey.h"
#include "eyelet/photo/image.h"

namespace eyelet {

inline constexpr double kDrawnPxPerMm = 20;

// Two rows of eight pads, 5.08 mm apart, and their true nets: pads of one column are joined, as are the first
// three columns; the last column's pads stand alone.
//
//     J1.1 o--o--o  o  o  o  o  o
//          |  |  |  |  |  |  |
//     J2.1 o  o  o  o  o  o  o  o
struct DrawnBoard {
    Assembly map;
    std::vector<std::vector<JointIndex>> nets;
};

inline DrawnBoard drawn_board() {
    DrawnBoard drawn;
    drawn.map.name = "drawn-board";
    drawn.map.boards.push_back({BoardName("main"), {50, 30}, {{0, 0}, {50, 0}, {50, 30}, {0, 30}}});
    for (int row = 0; row < 2; ++row) {
        Part part;
        part.name = PartName(row == 0 ? "J1" : "J2");
        part.board = BoardIndex(0);
        part.body = {{4, 6.0 + 12 * row}, {46, 12.0 + 12 * row}};
        for (int column = 0; column < 8; ++column) {
            Joint joint;
            joint.name = JointName(part.name.text() + "." + std::to_string(column + 1));
            joint.board = BoardIndex(0);
            joint.part = PartIndex(static_cast<std::size_t>(row));
            joint.pin = std::to_string(column + 1);
            joint.hole = {7 + 5.08 * column, 9.0 + 12 * row};
            joint.copper_centre = joint.hole;
            joint.pad_mm = {2, 2};
            joint.drill_mm = Size{0.9, 0.9};
            part.joints.emplace_back(drawn.map.joints.size());
            drawn.map.joints.push_back(joint);
        }
        drawn.map.parts.push_back(part);
    }
    const auto at = [](std::size_t row, std::size_t column) { return JointIndex(8 * row + column); };
    drawn.nets.push_back({at(0, 0), at(0, 1), at(0, 2), at(1, 0), at(1, 1), at(1, 2)});
    for (std::size_t column = 3; column < 7; ++column) drawn.nets.push_back({at(0, column), at(1, column)});
    drawn.nets.push_back({at(0, 7)});
    drawn.nets.push_back({at(1, 7)});
    return drawn;
}

// The side as a camera straight above it sees it: green mask, lighter copper under it, tinned pads. Copper
// lies on the solder side only, which is photographed from behind.
inline cv::Mat drawn_photograph(const DrawnBoard& drawn, Side side) {
    const Size size = drawn.map.boards[0].size_mm;
    const double scale = kDrawnPxPerMm;
    const auto px = [&](Point p) { return cv::Point(cvRound(p.x * scale), cvRound(p.y * scale)); };
    cv::Mat photo(cvRound(size.height * scale), cvRound(size.width * scale), CV_8UC3, cv::Scalar(40, 90, 30));
    if (side == Side::solder) {
        const cv::Scalar copper(60, 140, 60);
        const auto& j = drawn.map.joints;
        for (std::size_t column = 0; column < 7; ++column)
            cv::line(photo, px(j[column].hole), px(j[8 + column].hole), copper, 16);
        cv::line(photo, px(j[0].hole), px(j[2].hole), copper, 16);
    }
    for (const Joint& joint : drawn.map.joints) {
        cv::circle(photo, px(joint.hole), cvRound(joint.pad_mm.width / 2 * scale), cv::Scalar(190, 200, 205),
                   cv::FILLED, cv::LINE_AA);
        cv::circle(photo, px(joint.hole), cvRound(joint.drill_mm->width / 2 * scale), cv::Scalar(20, 20, 20),
                   cv::FILLED, cv::LINE_AA);
    }
    cv::GaussianBlur(photo, photo, {}, 1.0);
    // A little noise with a fixed seed, so that nothing is flatter than a sensor would have it.
    cv::Mat noise(photo.size(), CV_8UC3);
    cv::RNG random(7);
    random.fill(noise, cv::RNG::UNIFORM, 0, 6);
    photo += noise;
    if (side == Side::solder) cv::flip(photo, photo, 1);
    return photo;
}

inline Point drawn_pixel(const DrawnBoard& drawn, Side side, std::size_t joint) {
    const Point at = drawn.map.joints[joint].hole;
    const double width = drawn.map.boards[0].size_mm.width;
    // A pixel's centre is at whole numbers.
    return {(side == Side::solder ? width - at.x : at.x) * kDrawnPxPerMm - 0.5, at.y * kDrawnPxPerMm - 0.5};
}

// Writes the photographs into `folder` and gives the survey of it, as read_survey would.
inline Survey drawn_survey(const DrawnBoard& drawn, const std::filesystem::path& folder) {
    Survey survey;
    survey.assembly = drawn.map;
    for (Side side : {Side::component, Side::solder}) {
        const cv::Mat photo = drawn_photograph(drawn, side);
        const auto jpeg = must(encode_jpeg(photo, 92));
        SurveyPhoto one;
        one.side = side;
        one.board = BoardIndex(0);
        one.file = std::string(key_of(side)) + ".jpg";
        one.path = folder / one.file;
        one.width_px = photo.cols;
        one.height_px = photo.rows;
        std::ofstream(one.path, std::ios::binary)
            .write(reinterpret_cast<const char*>(jpeg.data()), static_cast<std::streamsize>(jpeg.size()));
        for (std::size_t joint : {0U, 3U, 7U, 8U, 12U, 15U})
            one.tie_points.push_back({JointIndex(joint), drawn_pixel(drawn, side, joint)});
        survey.photos.push_back(std::move(one));
    }
    return survey;
}

}  // namespace eyelet
