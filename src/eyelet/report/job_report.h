// The report of one job: the unit, the complaint, both sides of each board with joints and nets drawn over
// the photograph, the nets with their parts, what is proven and what is not, the journal, the readings, and
// the cautions. Plain values in, a PDF (or one side as SVG) out; it decides nothing.
#pragma once

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "eyelet/board/evidence.h"

namespace eyelet::report {

// One side of a board, rectified into the board's frame (not mirrored), as JPEG bytes.
struct SidePicture {
    BoardIndex board;
    Side side = Side::component;
    std::vector<std::byte> jpeg;
    int width_px = 0;
    int height_px = 0;
    double px_per_mm = 1;
};

struct JournalLine {
    std::string when;  // UTC, as it is to be printed
    std::string who;
    std::string kind;  // finding, work, note, trial, photograph
    std::string text;
    bool withdrawn = false;
};

struct ReadingLine {
    std::string when;
    std::string who;
    Reading reading;
};

struct JobReport {
    std::string job;
    std::string unit;
    std::string complaint;
    std::string made;  // UTC date and time of the report
    Assembly assembly;
    std::vector<SidePicture> pictures;
    std::vector<Link> links;
    std::vector<Net> nets;                                 // every pad in exactly one
    std::vector<std::pair<JointIndex, std::string>> unproven;  // what stays unproven, and why
    std::vector<std::string> contradictions;               // in words
    std::vector<JournalLine> journal;
    std::vector<ReadingLine> readings;
    std::optional<double> expected_mistakes;               // that remain in the map by the engine's count
    std::size_t gestures = 0;
    double seconds = 0;                                    // by the cost model
};

// Errors: the file cannot be written. Nothing half-made is left.
Status write_pdf(const JobReport& report, const std::string& path);

// The same drawing of one side, as SVG, in the board's frame; the solder side as seen from behind.
Status write_svg(const JobReport& report, BoardIndex board, Side side, const std::string& path);

// Plain words for a count of things: "1 net", "3 nets".
[[nodiscard]] std::string count_of(std::size_t n, const std::string& thing);

}  // namespace eyelet::report
