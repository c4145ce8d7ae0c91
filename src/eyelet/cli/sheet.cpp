#include "eyelet/copper/sheet.h"

#include <fmt/format.h>

#include <opencv2/imgproc.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"
#include "eyelet/photo/image.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string mask;
    double mm_per_px = 0;
    std::vector<std::string> contacts;
    double ohms_per_square = 0;
    bool json = false;
};

Result<Contact> contact_from(const std::string& text) {
    std::vector<double> numbers;
    std::istringstream in(text);
    for (std::string piece; std::getline(in, piece, ',');) {
        try {
            std::size_t used = 0;
            numbers.push_back(std::stod(piece, &used));
            if (used != piece.size()) numbers.clear();
        } catch (const std::exception&) {
            numbers.clear();
        }
        if (numbers.empty()) break;
    }
    if (numbers.size() == 3) return Contact(Disc{{numbers[0], numbers[1]}, numbers[2]});
    if (numbers.size() == 4) return Contact(Box{{numbers[0], numbers[1]}, {numbers[2], numbers[3]}});
    return bad_input(
        fmt::format("--contact {}: give a disc X,Y,R or a box X0,Y0,X1,Y1 in millimetres", text));
}

}  // namespace

Run declare_sheet(CLI::App& app) {
    auto chosen = options<Options>();
    app.add_option("MASK", chosen->mask, "A picture in which light pixels are copper.")->required();
    app.add_option("--mm-per-px", chosen->mm_per_px, "Size of a pixel in millimetres.")->required();
    app.add_option(
           "--contact", chosen->contacts,
           "Where current enters and leaves: a disc X,Y,R or a box X0,Y0,X1,Y1, in millimetres. Twice.")
        ->required()
        ->allow_extra_args(false)
        ->type_name("PLACE");
    app.add_option("--ohms-per-square", chosen->ohms_per_square,
                   "Sheet resistance; without it that of 35 µm copper at 20 °C.");
    add_json(app, chosen->json);
    return [chosen](Context&) -> Status {
        if (chosen->contacts.size() != 2)
            return bad_input(
                fmt::format("--contact: given {} times; it must be given twice", chosen->contacts.size()));
        EYELET_ASSIGN(const Contact from, contact_from(chosen->contacts[0]));
        EYELET_ASSIGN(const Contact to, contact_from(chosen->contacts[1]));
        EYELET_ASSIGN(const Image image, decode(std::filesystem::path(chosen->mask)));
        cv::Mat grey;
        cv::cvtColor(image.bgr, grey, cv::COLOR_BGR2GRAY);
        grey = grey >= 128;
        SheetMask mask{grey.cols, grey.rows, chosen->mm_per_px, {}};
        mask.copper.assign(grey.datastart, grey.dataend);
        SheetOptions sheet;
        sheet.ohms_per_square = chosen->ohms_per_square;
        EYELET_ASSIGN(const SheetAnswer answer, sheet_resistance(mask, from, to, sheet));
        if (chosen->json) {
            nlohmann::ordered_json json;
            if (answer.open)
                json["open"] = true;
            else
                json = {{"ohms", answer.ohms},
                        {"error", answer.error_ohms},
                        {"lower", answer.lower_ohms},
                        {"upper", answer.upper_ohms}};
            return write_out(json_text(json));
        }
        if (answer.open) return write_out("open: no copper joins the two contacts\n");
        return write_out(fmt::format("{:.6g} ohm, right to {:.2g} ohm ({} cells of copper)\n", answer.ohms,
                                     answer.error_ohms, answer.cells));
    };
}

}  // namespace eyelet::cli
