#include "eyelet/report/document.h"

#include <cairo-pdf.h>
#include <pango/pangocairo.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>

#include <fmt/format.h>

namespace eyelet::report {

namespace {

constexpr double kFooter = 24;
constexpr const char* kFont = "DejaVu Sans";

struct Unref {
    void operator()(PangoLayout* layout) const { g_object_unref(layout); }
};
using Layout = std::unique_ptr<PangoLayout, Unref>;

cairo_status_t write_to_file(void* file, const unsigned char* data, unsigned int length) {
    return std::fwrite(data, 1, length, static_cast<std::FILE*>(file)) == length ? CAIRO_STATUS_SUCCESS
                                                                                : CAIRO_STATUS_WRITE_ERROR;
}

class PdfDocument final : public Document {
  public:
    PdfDocument(std::string path, std::FILE* file, std::string title, int pages_expected)
        : path_(std::move(path)), file_(file), title_(std::move(title)), pages_expected_(pages_expected) {
        surface_ = cairo_pdf_surface_create_for_stream(&write_to_file, file_, kPageWidth, kPageHeight);
        cairo_pdf_surface_set_metadata(surface_, CAIRO_PDF_METADATA_TITLE, title_.c_str());
        cairo_pdf_surface_set_metadata(surface_, CAIRO_PDF_METADATA_CREATOR, "Eyelet");
        cairo_ = cairo_create(surface_);
        begin_page();
    }
    ~PdfDocument() override {
        cairo_destroy(cairo_);
        cairo_surface_destroy(surface_);
        if (file_) {  // finish() was not reached: leave nothing half-made
            std::fclose(file_);
            std::remove(part_path().c_str());
        }
    }
    PdfDocument(const PdfDocument&) = delete;
    PdfDocument& operator=(const PdfDocument&) = delete;

    void title(const std::string& text) override {
        Layout layout = lay_out(text, 20, PANGO_WEIGHT_BOLD, kTextWidth);
        put(layout, kInk, 8);
    }
    void heading(const std::string& text) override {
        if (room() < 90) new_page();
        y_ += 12;
        Layout layout = lay_out(text, 12.5, PANGO_WEIGHT_BOLD, kTextWidth);
        put(layout, kAccent, 5);
    }
    void paragraph(const std::string& text) override { flow(text, 9.5, kInk); }
    void quiet(const std::string& text) override { flow(text, 8.5, kQuiet); }

    void note(const std::string& heading_text, const std::string& text) override {
        constexpr double kPad = 7;
        Layout head = lay_out(heading_text, 9, PANGO_WEIGHT_BOLD, kTextWidth - 2 * kPad - 4);
        Layout body = lay_out(text, 9, PANGO_WEIGHT_NORMAL, kTextWidth - 2 * kPad - 4);
        const double height = height_of(head) + height_of(body) + 2 * kPad + 2;
        if (height > room()) new_page();
        set(kTint);
        cairo_rectangle(cairo_, kMargin, y_, kTextWidth, height);
        cairo_fill(cairo_);
        set(kAccent);
        cairo_rectangle(cairo_, kMargin, y_, 3, height);
        cairo_fill(cairo_);
        show(head, kMargin + kPad + 4, y_ + kPad, kInk);
        show(body, kMargin + kPad + 4, y_ + kPad + height_of(head) + 2, kInk);
        y_ += height + 5;
    }

    void figures(const std::vector<std::pair<std::string, std::string>>& value_and_caption) override {
        if (value_and_caption.empty()) return;
        if (room() < 60) new_page();
        const double width = kTextWidth / static_cast<double>(value_and_caption.size());
        double tallest = 0;
        double x = kMargin;
        for (const auto& [value, caption] : value_and_caption) {
            Layout number = lay_out(value, 19, PANGO_WEIGHT_BOLD, width - 8);
            Layout words = lay_out(caption, 8, PANGO_WEIGHT_NORMAL, width - 10);
            show(number, x, y_, kInk);
            show(words, x, y_ + height_of(number), kQuiet);
            tallest = std::max(tallest, height_of(number) + height_of(words));
            x += width;
        }
        y_ += tallest + 10;
    }

    void table(const std::vector<Column>& columns, const std::vector<std::vector<std::string>>& rows) override {
        double total = 0;
        for (const Column& column : columns) total += column.share;
        std::vector<double> widths;
        for (const Column& column : columns) widths.push_back(kTextWidth * column.share / total);

        const auto row_of = [&](const std::vector<std::string>& cells, PangoWeight weight) {
            std::vector<Layout> layouts;
            for (std::size_t c = 0; c < columns.size(); ++c)
                layouts.push_back(lay_out(c < cells.size() ? cells[c] : "", 8, weight, widths[c] - 6));
            return layouts;
        };
        const auto put_row = [&](const std::vector<Layout>& layouts, Colour colour) {
            double height = 0;
            for (const Layout& layout : layouts) height = std::max(height, height_of(layout));
            double x = kMargin;
            for (std::size_t c = 0; c < layouts.size(); ++c) {
                show(layouts[c], x, y_ + 1.5, colour);
                x += widths[c];
            }
            y_ += height + 4;
            rule(y_ - 0.5, 0.3);
        };
        std::vector<std::string> titles;
        for (const Column& column : columns) titles.push_back(column.title);
        const auto put_head = [&] { put_row(row_of(titles, PANGO_WEIGHT_BOLD), kQuiet); };

        if (room() < 60) new_page();
        put_head();
        for (const std::vector<std::string>& row : rows) {
            // A cell taller than a page would never fit: it is cut into rows that do.
            for (const std::vector<std::string>& piece : fit_rows(row, widths)) {
                std::vector<Layout> layouts = row_of(piece, PANGO_WEIGHT_NORMAL);
                double height = 0;
                for (const Layout& layout : layouts) height = std::max(height, height_of(layout));
                if (height + 4 > room()) {
                    new_page();
                    put_head();
                }
                put_row(layouts, kInk);
            }
        }
        y_ += 6;
    }

    void drawing(double height, const std::function<void(cairo_t*, Size)>& draw) override {
        if (height > room()) new_page();
        height = std::min(height, room());
        cairo_save(cairo_);
        cairo_translate(cairo_, kMargin, y_);
        draw(cairo_, {kTextWidth, height});
        cairo_restore(cairo_);
        y_ += height + 6;
    }

    void new_page() override {
        end_page();
        begin_page();
    }
    [[nodiscard]] double room() const override { return kPageHeight - kMargin - kFooter - y_; }
    [[nodiscard]] int pages() const override { return page_; }

    Status finish() override {
        end_page();
        cairo_surface_finish(surface_);
        const cairo_status_t status = cairo_surface_status(surface_);
        const bool closed = std::fflush(file_) == 0 && std::fclose(file_) == 0;
        file_ = nullptr;
        if (status != CAIRO_STATUS_SUCCESS || !closed) {
            std::remove(part_path().c_str());
            return storage_error(fmt::format("{}: the report could not be written ({}); nothing was changed", path_,
                                             status != CAIRO_STATUS_SUCCESS ? cairo_status_to_string(status)
                                                                            : std::strerror(errno)));
        }
        if (std::rename(part_path().c_str(), path_.c_str()) != 0) {
            const std::string why = std::strerror(errno);
            std::remove(part_path().c_str());
            return storage_error(fmt::format("{}: the report could not be put in place ({})", path_, why));
        }
        return {};
    }

  private:
    [[nodiscard]] std::string part_path() const { return path_ + ".part"; }

    void set(Colour c) { cairo_set_source_rgb(cairo_, c.r, c.g, c.b); }
    void rule(double y, double width) {
        set({0.78, 0.78, 0.76});
        cairo_set_line_width(cairo_, width);
        cairo_move_to(cairo_, kMargin, y);
        cairo_line_to(cairo_, kPageWidth - kMargin, y);
        cairo_stroke(cairo_);
    }
    Layout lay_out(const std::string& text, double points, PangoWeight weight, double width) {
        Layout layout(pango_cairo_create_layout(cairo_));
        PangoFontDescription* font = pango_font_description_from_string(kFont);
        pango_font_description_set_absolute_size(font, points * PANGO_SCALE);
        pango_font_description_set_weight(font, weight);
        pango_layout_set_font_description(layout.get(), font);
        pango_font_description_free(font);
        pango_layout_set_width(layout.get(), static_cast<int>(width * PANGO_SCALE));
        pango_layout_set_wrap(layout.get(), PANGO_WRAP_WORD_CHAR);
        pango_layout_set_text(layout.get(), text.c_str(), static_cast<int>(text.size()));
        return layout;
    }
    static double height_of(const Layout& layout) {
        int height = 0;
        pango_layout_get_size(layout.get(), nullptr, &height);
        return static_cast<double>(height) / PANGO_SCALE;
    }
    void show(const Layout& layout, double x, double y, Colour colour) {
        set(colour);
        cairo_move_to(cairo_, x, y);
        pango_cairo_show_layout(cairo_, layout.get());
    }
    void put(const Layout& layout, Colour colour, double after) {
        if (height_of(layout) > room()) new_page();
        show(layout, kMargin, y_, colour);
        y_ += height_of(layout) + after;
    }
    void flow(const std::string& text, double points, Colour colour) {
        Layout layout = lay_out(text, points, PANGO_WEIGHT_NORMAL, kTextWidth);
        // Line by line, so that a long paragraph runs over the page's end.
        const int lines = pango_layout_get_line_count(layout.get());
        for (int i = 0; i < lines; ++i) {
            PangoLayoutLine* line = pango_layout_get_line_readonly(layout.get(), i);
            PangoRectangle extents;
            pango_layout_line_get_extents(line, nullptr, &extents);
            const double height = static_cast<double>(extents.height) / PANGO_SCALE;
            if (height > room()) new_page();
            set(colour);
            cairo_move_to(cairo_, kMargin, y_ - static_cast<double>(extents.y) / PANGO_SCALE);
            pango_cairo_show_layout_line(cairo_, line);
            y_ += height;
        }
        y_ += 5;
    }
    // Cuts a row whose cells are longer than half a page at a space, into rows that fit.
    std::vector<std::vector<std::string>> fit_rows(std::vector<std::string> row, const std::vector<double>& widths) {
        constexpr double kTallest = 300;
        std::vector<std::vector<std::string>> rows;
        for (;;) {
            std::vector<std::string> rest(row.size());
            bool cut = false;
            for (std::size_t c = 0; c < row.size() && c < widths.size(); ++c) {
                std::size_t keep = row[c].size();
                while (height_of(lay_out(row[c].substr(0, keep), 8, PANGO_WEIGHT_NORMAL, widths[c] - 6)) > kTallest) {
                    const std::size_t space = row[c].rfind(' ', keep / 2);
                    keep = space == std::string::npos || space == 0 ? keep / 2 : space;
                    while (keep > 1 && (static_cast<unsigned char>(row[c][keep]) & 0xC0U) == 0x80U) --keep;  // UTF-8
                }
                if (keep < row[c].size()) {
                    rest[c] = row[c].substr(keep);
                    row[c].resize(keep);
                    cut = true;
                }
            }
            rows.push_back(row);
            if (!cut) return rows;
            row = std::move(rest);
        }
    }
    void begin_page() {
        ++page_;
        y_ = kMargin;
    }
    void end_page() {
        const double y = kPageHeight - kMargin - 6;
        rule(y - 5, 0.5);
        show(lay_out(title_, 7.5, PANGO_WEIGHT_NORMAL, kTextWidth - 80), kMargin, y, kQuiet);
        const std::string number =
            pages_expected_ > 0 ? fmt::format("{} of {}", page_, pages_expected_) : fmt::format("{}", page_);
        Layout right = lay_out(number, 7.5, PANGO_WEIGHT_NORMAL, 80);
        pango_layout_set_alignment(right.get(), PANGO_ALIGN_RIGHT);
        show(right, kPageWidth - kMargin - 80, y, kQuiet);
        cairo_show_page(cairo_);
    }

    std::string path_;
    std::FILE* file_;
    std::string title_;
    int pages_expected_;
    cairo_surface_t* surface_ = nullptr;
    cairo_t* cairo_ = nullptr;
    double y_ = kMargin;
    int page_ = 0;
};

}  // namespace

Result<std::unique_ptr<Document>> Document::create(const std::string& path, std::string title, int pages_expected) {
    std::FILE* file = std::fopen((path + ".part").c_str(), "wb");
    if (!file)
        return storage_error(fmt::format("{}: the report cannot be written there ({}); name a file in a folder that exists",
                                         path, std::strerror(errno)));
    return std::unique_ptr<Document>(std::make_unique<PdfDocument>(path, file, std::move(title), pages_expected));
}

}  // namespace eyelet::report
