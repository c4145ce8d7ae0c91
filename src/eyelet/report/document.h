// A paginated A4 document: text that flows, tables whose heading repeats, pictures, drawings.
// Lengths are PostScript points (1/72 inch), as in PDF. Everything is vector except the photographs,
// whose JPEG bytes go into the file as they are.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "eyelet/core/geometry.h"
#include "eyelet/core/result.h"

typedef struct _cairo cairo_t;

namespace eyelet::report {

inline constexpr double kPageWidth = 595.276;   // A4, ISO 216: 210 mm
inline constexpr double kPageHeight = 841.890;  // 297 mm
inline constexpr double kMargin = 48;
inline constexpr double kTextWidth = kPageWidth - 2 * kMargin;

struct Colour {
    double r = 0, g = 0, b = 0;
};
inline constexpr Colour kInk{0.13, 0.16, 0.20};
inline constexpr Colour kQuiet{0.33, 0.37, 0.42};
inline constexpr Colour kAccent{0.62, 0.26, 0.13};
inline constexpr Colour kTint{0.957, 0.945, 0.922};

struct Column {
    std::string title;
    double share = 1;  // of the text's width, relative to the other columns
};

class Document {
  public:
    // Draws into `path`; nothing is on disk until finish() succeeds.
    static Result<std::unique_ptr<Document>> create(const std::string& path, std::string title, int pages_expected);
    virtual ~Document() = default;

    virtual void title(const std::string& text) = 0;
    virtual void heading(const std::string& text) = 0;
    virtual void paragraph(const std::string& text) = 0;
    virtual void quiet(const std::string& text) = 0;
    // A tinted box: a short bold title and its text.
    virtual void note(const std::string& title, const std::string& text) = 0;
    // Large figures side by side, each with a caption.
    virtual void figures(const std::vector<std::pair<std::string, std::string>>& value_and_caption) = 0;
    virtual void table(const std::vector<Column>& columns, const std::vector<std::vector<std::string>>& rows) = 0;
    virtual void new_page() = 0;
    // A drawing of at most the given height in the text's width; `draw` gets a context whose unit is a point
    // and whose origin is the upper left corner of the area, and the size of the area.
    virtual void drawing(double height, const std::function<void(cairo_t*, Size)>& draw) = 0;
    [[nodiscard]] virtual double room() const = 0;  // height left on this page
    [[nodiscard]] virtual int pages() const = 0;
    virtual Status finish() = 0;
};

}  // namespace eyelet::report
