// Surveys in and out: one board as `board-survey/1`, or several boards of one assembly as `board-assembly/1`.
//
// A survey says what a board carries (outline, joints, parts) and which photographs were taken of it, with
// tie points (joint <-> pixel). It holds no connections. Reading checks everything before it returns, so that
// whoever stores a survey may rely on these properties:
//   1. `check(survey.assembly)` holds;
//   2. each photograph names a board and a side; `read_survey` also found it on disk: a regular file of some
//   size
//      that could be opened. Whether it decodes to width_px x height_px is for whoever decodes it;
//   3. a photograph has no tie points, or at least four, each inside the picture, no joint twice.
// Each refusal is one line: file, member, what is wrong, what would be right.
//
// Members that a reader does not know are ignored. Identifiers are any text without control characters. Where
// two parts of one board bear one reference, the later ones get "#2", "#3" behind it (joints have that from
// the file). In an assembly of several boards joint names get their board's name and a slash before them
// ("main/U1.3").
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "eyelet/board/map.h"
#include "eyelet/core/result.h"

namespace eyelet {

struct SurveyTiePoint {
    JointIndex joint;
    Point pixel;  // a pixel's centre is at whole numbers
};

struct SurveyPhoto {
    BoardIndex board;
    Side side = Side::component;
    std::string file;            // as the survey names it
    std::filesystem::path path;  // where it lies; empty when only a text was parsed
    std::string level;           // the survey's own word for the series it belongs to; may be empty
    int width_px = 0;
    int height_px = 0;
    std::vector<SurveyTiePoint> tie_points;
};

struct Survey {
    Assembly assembly;
    std::vector<SurveyPhoto> photos;
    std::string unit;       // serial number, where an assembly file gives one
    std::string complaint;  // likewise
};

// Beyond these a file is refused, so that a broken or hostile one cannot fill the memory.
inline constexpr std::size_t kMaxSurveyBytes = 32U << 20U;
inline constexpr std::size_t kMaxPhotoBytes = 2048ULL << 20U;
inline constexpr std::size_t kMaxSurveyJoints = 100'000;  // in the whole assembly
inline constexpr std::size_t kMaxSurveyBoards = 32;
inline constexpr std::size_t kMaxSurveyPhotos = 1'000;
inline constexpr std::size_t kMaxNameBytes = 256;
inline constexpr double kMaxBoardSide_mm = 5'000;
inline constexpr int kMaxPhotoSide_px = 65'535;
inline constexpr double kMaxPhotoPixels = 300e6;  // as photo/image.h decodes at most

// A survey file, an assembly file, or a folder that holds survey.json or assembly.json.
[[nodiscard]] Result<Survey> read_survey(const std::filesystem::path& path);

// One board from text alone; no file is touched. `where` names the text in messages.
[[nodiscard]] Result<Survey> parse_survey(std::string_view text, const std::string& where);

// An assembly from text; `load` is asked for the text of each board's survey by the name in the file.
using SurveyLoader = std::function<Result<std::string>(const std::string& file)>;
[[nodiscard]] Result<Survey> parse_assembly(std::string_view text, const std::string& where,
                                            const SurveyLoader& load);

// Text of one board of a survey in schema board-survey/1; parse_survey gives the same values back.
[[nodiscard]] std::string survey_json(const Survey& survey, BoardIndex board);
// Text of the assembly file; the boards' surveys are named "BOARD/survey.json".
[[nodiscard]] std::string assembly_json(const Survey& survey);

// Writes survey.json (one board) or assembly.json and one folder a board into `folder`, which is made. The
// photographs are not copied. Nothing that is there already is overwritten: that is refused.
[[nodiscard]] Status write_survey(const Survey& survey, const std::filesystem::path& folder);

}  // namespace eyelet
