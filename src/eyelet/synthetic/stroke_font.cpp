#include "eyelet/synthetic/stroke_font.h"

#include <cctype>
#include <unordered_map>

namespace eyelet::synthetic {
namespace {

// Each pair of digits is a point (x 0..4, y 0..6, y down); a space lifts the pen.
const std::unordered_map<char, std::string>& glyphs() {
    static const std::unordered_map<char, std::string> table{
        {'A', "062046 1434"},
        {'B', "06003041423303 3344453606"},
        {'C', "4130100105163645"},
        {'D', "00063645413000"},
        {'E', "40000646 0333"},
        {'F', "400006 0333"},
        {'G', "41301001051636454323"},
        {'H', "0006 4046 0343"},
        {'I', "1030 1636 2026"},
        {'J', "4045361605"},
        {'K', "0006 4004 1346"},
        {'L', "000646"},
        {'M', "0600234046"},
        {'N', "06004640"},
        {'O', "100105163645413010"},
        {'P', "06003041423303"},
        {'Q', "100105163645413010 2446"},
        {'R', "06003041423303 2346"},
        {'S', "413010010213334445361605"},
        {'T', "0040 2026"},
        {'U', "000516364540"},
        {'V', "002640"},
        {'W', "0016233640"},
        {'X', "0046 4006"},
        {'Y', "002340 2326"},
        {'Z', "00400646"},
        {'0', "100105163645413010 1432"},
        {'1', "112026 1636"},
        {'2', "01103041420646"},
        {'3', "01103041423313 3344453616 1605"},
        {'4', "36300444"},
        {'5', "4000023243453616 1605"},
        {'6', "4130100105163645443304"},
        {'7', "004016"},
        {'8', "100102133342413010 1304051636454433"},
        {'9', "4233130201103041453616 1605"},
        {'+', "2125 0343"},
        {'-', "0343"},
        {'.', "2526"},
        {'/', "4006"},
        {'_', "0646"},
        {':', "2122 2526"},
    };
    return table;
}

constexpr double kAdvance = 5.4;  // grid units from letter to letter

}  // namespace

double text_width_mm(const std::string& text, double height_mm) {
    return text.empty() ? 0 : (kAdvance * static_cast<double>(text.size()) - 1.4) * height_mm / 6;
}

std::vector<Shape> text_strokes(const std::string& text, Point at, double height_mm, double line_mm,
                                double degrees, Mirrored mirrored) {
    std::vector<Shape> strokes;
    const double scale = height_mm / 6;
    double left = 0;
    for (const char letter : text) {
        const auto glyph = glyphs().find(static_cast<char>(std::toupper(static_cast<unsigned char>(letter))));
        if (glyph != glyphs().end()) {
            const std::string& code = glyph->second;
            std::vector<Point> points;
            for (std::size_t i = 0; i <= code.size();) {
                if (i == code.size() || code[i] == ' ') {
                    if (points.size() > 1) strokes.push_back(stroke(points, line_mm));
                    points.clear();
                    ++i;
                    continue;
                }
                Point p{scale * (left + (code[i] - '0')), scale * (code[i + 1] - '0')};
                if (mirrored == Mirrored::yes) p.x = -p.x;
                points.push_back(at + turned(p, degrees));
                i += 2;
            }
        }
        left += kAdvance;
    }
    return strokes;
}

}  // namespace eyelet::synthetic
