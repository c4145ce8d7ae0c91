#include "eyelet/report/side_drawing.h"

#include <cairo.h>
#include <pango/pangocairo.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace eyelet::report {

namespace {

// Hues a golden angle apart, so that nets with neighbouring numbers differ plainly.
Colour colour_of(std::size_t net) {
    const double hue = std::fmod(0.03 + 0.61803398875 * static_cast<double>(net), 1.0) * 6;
    const double chroma = 0.78;
    const double x = chroma * (1 - std::abs(std::fmod(hue, 2.0) - 1));
    const double low = 0.16;
    switch (static_cast<int>(hue)) {
        case 0: return {chroma + low, x + low, low};
        case 1: return {x + low, chroma + low, low};
        case 2: return {low, chroma + low, x + low};
        case 3: return {low, x + low, chroma + low};
        case 4: return {x + low, low, chroma + low};
        default: return {chroma + low, low, x + low};
    }
}

void set(cairo_t* cairo, Colour c, double alpha = 1) { cairo_set_source_rgba(cairo, c.r, c.g, c.b, alpha); }

void draw_photograph(cairo_t* cairo, const SidePicture& picture, Size board_mm) {
    // The surface only carries the JPEG bytes into the file; its own pixels are never looked at in PDF and SVG.
    cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_RGB24, picture.width_px, picture.height_px);
    auto* bytes = new std::vector<std::byte>(picture.jpeg);
    cairo_surface_set_mime_data(image, CAIRO_MIME_TYPE_JPEG, reinterpret_cast<const unsigned char*>(bytes->data()), bytes->size(),
                                [](void* p) { delete static_cast<std::vector<std::byte>*>(p); }, bytes);
    cairo_save(cairo);
    cairo_rectangle(cairo, 0, 0, board_mm.width, board_mm.height);
    cairo_clip(cairo);
    cairo_scale(cairo, 1 / picture.px_per_mm, 1 / picture.px_per_mm);
    cairo_set_source_surface(cairo, image, 0, 0);
    cairo_paint(cairo);
    cairo_restore(cairo);
    cairo_surface_destroy(image);
}

enum class Mark { alone, proposed, joined, proven, stale };

Mark mark_of(const Net& net) {
    if (net.joints.size() < 2) return net.standing == NetStanding::proven ? Mark::proven : Mark::alone;
    switch (net.standing) {
        case NetStanding::proposed: return Mark::proposed;
        case NetStanding::joined: return Mark::joined;
        case NetStanding::proven: return Mark::proven;
        case NetStanding::stale: return Mark::stale;
    }
    return Mark::proposed;
}

// A proven joint is a full disc, one joined by readings a ring with a dot, a proposed one an empty ring, a stale
// one a square; a joint that stands alone is a small cross.
void draw_mark(cairo_t* cairo, Point at, double r, Mark mark, Colour colour) {
    const auto outline = [&](double width) {
        cairo_set_line_width(cairo, width + r * 0.22);
        set(cairo, {1, 1, 1}, 0.85);
        cairo_stroke_preserve(cairo);
        cairo_set_line_width(cairo, width);
        set(cairo, colour);
        cairo_stroke(cairo);
    };
    cairo_new_path(cairo);
    switch (mark) {
        case Mark::alone:
            cairo_move_to(cairo, at.x - 0.5 * r, at.y);
            cairo_line_to(cairo, at.x + 0.5 * r, at.y);
            cairo_move_to(cairo, at.x, at.y - 0.5 * r);
            cairo_line_to(cairo, at.x, at.y + 0.5 * r);
            outline(r * 0.25);
            break;
        case Mark::stale:
            cairo_rectangle(cairo, at.x - 0.8 * r, at.y - 0.8 * r, 1.6 * r, 1.6 * r);
            outline(r * 0.3);
            break;
        case Mark::proven:
            cairo_arc(cairo, at.x, at.y, 0.85 * r, 0, 2 * std::numbers::pi);
            set(cairo, colour);
            cairo_fill_preserve(cairo);
            cairo_set_line_width(cairo, r * 0.18);
            set(cairo, {1, 1, 1}, 0.9);
            cairo_stroke(cairo);
            break;
        case Mark::joined:
            cairo_arc(cairo, at.x, at.y, 0.3 * r, 0, 2 * std::numbers::pi);
            set(cairo, colour);
            cairo_fill(cairo);
            [[fallthrough]];
        case Mark::proposed:
            cairo_arc(cairo, at.x, at.y, 0.8 * r, 0, 2 * std::numbers::pi);
            outline(r * 0.28);
            break;
    }
}

void label(cairo_t* cairo, Point at, double height, const std::string& text, bool mirrored) {
    PangoLayout* layout = pango_cairo_create_layout(cairo);
    PangoFontDescription* font = pango_font_description_from_string("DejaVu Sans Bold");
    pango_font_description_set_absolute_size(font, 100 * PANGO_SCALE);  // large, so that hinting does not bite
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_text(layout, text.c_str(), static_cast<int>(text.size()));
    PangoRectangle extents;
    pango_layout_get_pixel_extents(layout, nullptr, &extents);
    const double scale = height / 100;
    cairo_save(cairo);
    cairo_translate(cairo, at.x, at.y);
    cairo_scale(cairo, mirrored ? -scale : scale, scale);
    cairo_translate(cairo, -0.5 * extents.width, -0.5 * extents.height);
    cairo_move_to(cairo, 0, 0);
    pango_cairo_layout_path(cairo, layout);
    cairo_set_line_width(cairo, 22);
    cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
    set(cairo, {1, 1, 1}, 0.85);
    cairo_stroke_preserve(cairo);
    set(cairo, kInk);
    cairo_fill(cairo);
    cairo_restore(cairo);
    g_object_unref(layout);
}

void set_line(cairo_t* cairo, Standing standing, double width) {
    cairo_set_line_cap(cairo, CAIRO_LINE_CAP_ROUND);
    cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_width(cairo, width);
    const double dash[] = {4 * width, 3 * width};
    const double dot[] = {0.01 * width, 2.2 * width};
    switch (standing) {
        case Standing::proven: cairo_set_dash(cairo, nullptr, 0, 0); break;
        case Standing::proposed: cairo_set_dash(cairo, dash, 2, 0); break;
        case Standing::stale:
        case Standing::refuted: cairo_set_dash(cairo, dot, 2, 0); break;
    }
}

}  // namespace

double draw_side(cairo_t* cairo, Size area, const JobReport& report, BoardIndex board, Side side) {
    const Assembly& assembly = report.assembly;
    const Size size = assembly.board(board).size_mm;
    const double scale = std::min(area.width / size.width, area.height / size.height);
    const bool mirrored = side == Side::solder;
    cairo_save(cairo);
    cairo_translate(cairo, 0.5 * (area.width - scale * size.width), 0.5 * (area.height - scale * size.height));
    cairo_scale(cairo, scale, scale);
    if (mirrored) {  // seen from behind
        cairo_translate(cairo, size.width, 0);
        cairo_scale(cairo, -1, 1);
    }

    const auto picture = std::find_if(report.pictures.begin(), report.pictures.end(), [&](const SidePicture& p) {
        return p.board == board && p.side == side;
    });
    if (picture != report.pictures.end()) {
        draw_photograph(cairo, *picture, size);
        cairo_rectangle(cairo, 0, 0, size.width, size.height);
        set(cairo, {1, 1, 1}, 0.28);
        cairo_fill(cairo);
    }
    cairo_rectangle(cairo, 0, 0, size.width, size.height);
    cairo_set_line_width(cairo, 0.2);
    set(cairo, kQuiet);
    cairo_stroke(cairo);

    std::vector<std::size_t> net_of(assembly.joints.size(), report.nets.size());
    for (std::size_t n = 0; n < report.nets.size(); ++n)
        for (JointIndex joint : report.nets[n].joints) net_of[joint.raw()] = n;

    for (const Link& link : report.links) {
        if (link.side != side || assembly.joint(link.from).board != board) continue;
        if (link.standing == Standing::refuted || (link.standing == Standing::proposed && link.probability < 0.5)) continue;
        const std::size_t net = std::min(net_of[link.from.raw()], net_of[link.to.raw()]);
        cairo_new_path(cairo);
        if (link.path.empty()) {
            cairo_move_to(cairo, assembly.joint(link.from).hole.x, assembly.joint(link.from).hole.y);
            cairo_line_to(cairo, assembly.joint(link.to).hole.x, assembly.joint(link.to).hole.y);
        }
        for (Point p : link.path) cairo_line_to(cairo, p.x, p.y);
        set_line(cairo, link.standing, std::clamp(0.5 * link.width_mm, 0.18, 0.45));
        set(cairo, net < report.nets.size() ? colour_of(net) : kQuiet, 0.9);
        cairo_stroke(cairo);
    }
    cairo_set_dash(cairo, nullptr, 0, 0);

    for (std::size_t n = 0; n < report.nets.size(); ++n)
        for (JointIndex index : report.nets[n].joints) {
            const Joint& joint = assembly.joint(index);
            if (joint.board != board || !joint.on(side)) continue;
            const double r = std::clamp(0.5 * std::min(joint.pad_mm.width, joint.pad_mm.height), 0.25, 0.9);
            const Mark mark = mark_of(report.nets[n]);
            draw_mark(cairo, joint.copper_centre, r, mark, report.nets[n].joints.size() < 2 ? kInk : colour_of(n));
        }
    for (const Part& part : assembly.parts) {
        if (part.board != board || part.side != side) continue;
        const Point centre = 0.5 * (part.body.low + part.body.high);
        if (!Box{{0, 0}, {size.width, size.height}}.contains(centre)) continue;
        label(cairo, centre, std::clamp(6.5 / scale, 0.7, 2.2), part.name.text(), mirrored);
    }
    cairo_restore(cairo);
    return scale;
}

void draw_legend(cairo_t* cairo, Size area) {
    const std::pair<Mark, const char*> marks[] = {{Mark::proven, "net proven"},
                                                  {Mark::joined, "joined by readings"},
                                                  {Mark::proposed, "proposed"},
                                                  {Mark::stale, "stale after work"},
                                                  {Mark::alone, "joins nothing known"}};
    const std::pair<Standing, const char*> lines[] = {{Standing::proven, "link proven"},
                                                      {Standing::proposed, "link proposed"},
                                                      {Standing::stale, "link stale"}};
    const double step = area.width / 8;
    double x = 0;
    const auto caption = [&](const char* text) {
        PangoLayout* layout = pango_cairo_create_layout(cairo);
        PangoFontDescription* font = pango_font_description_from_string("DejaVu Sans");
        pango_font_description_set_absolute_size(font, 6.5 * PANGO_SCALE);
        pango_layout_set_font_description(layout, font);
        pango_font_description_free(font);
        pango_layout_set_width(layout, static_cast<int>((step - 20) * PANGO_SCALE));
        pango_layout_set_text(layout, text, -1);
        set(cairo, kInk);
        cairo_move_to(cairo, x + 17, area.height / 2 - 4.5);
        pango_cairo_show_layout(cairo, layout);
        g_object_unref(layout);
    };
    for (const auto& [mark, text] : marks) {
        draw_mark(cairo, {x + 7, area.height / 2}, 4.5, mark, mark == Mark::alone ? kInk : kAccent);
        caption(text);
        x += step;
    }
    for (const auto& [standing, text] : lines) {
        set_line(cairo, standing, 1.4);
        set(cairo, kAccent);
        cairo_move_to(cairo, x, area.height / 2);
        cairo_line_to(cairo, x + 14, area.height / 2);
        cairo_stroke(cairo);
        cairo_set_dash(cairo, nullptr, 0, 0);
        caption(text);
        x += step;
    }
}

}  // namespace eyelet::report
