#include "eyelet/exchange/nets_out.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string_view>

namespace eyelet {
namespace {

using OrderedJson = nlohmann::ordered_json;

// Digits beyond what was ever known only make files long.
double rounded(double value, double step) {
    return std::round(value / step) * step;
}
double tidy(double value, int decimals) {
    return std::stod(fmt::format("{:.{}f}", value, decimals));
}

const std::string& name_of(const Assembly& assembly, JointIndex joint) {
    return assembly.joint(joint).name.text();
}

// Names come from files that were checked, but text from elsewhere must not break a writer.
std::string dump(const OrderedJson& json) {
    return json.dump(1, ' ', false, OrderedJson::error_handler_t::replace) + "\n";
}

std::string csv_field(std::string_view text) {
    if (text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string(text);
    std::string out = "\"";
    for (const char c : text) {
        if (c == '"') out += '"';
        out += c;
    }
    return out + "\"";
}

const char* key_of(JointSides sides) {
    switch (sides) {
        case JointSides::component:
            return "top";
        case JointSides::solder:
            return "bottom";
        case JointSides::both:
            break;
    }
    return "both";
}

// Characters, as a terminal counts most of them.
std::size_t width_of(std::string_view text) {
    return static_cast<std::size_t>(std::count_if(
        text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U; }));
}
std::string padded(const std::string& text, std::size_t width) {
    const std::size_t own = width_of(text);
    return own < width ? text + std::string(width - own, ' ') : text;
}

}  // namespace

std::string links_json(const Assembly& assembly, const std::vector<Link>& links) {
    OrderedJson list = OrderedJson::array();
    for (const Link& link : links) {
        OrderedJson item;
        item["from"] = name_of(assembly, link.from);
        item["to"] = name_of(assembly, link.to);
        item["side"] = link.side ? OrderedJson(key_of(*link.side)) : OrderedJson();
        item["probability"] = tidy(link.probability, 4);
        item["standing"] = name_of(link.standing);
        item["width_mm"] = link.width_mm > 0 ? OrderedJson(tidy(link.width_mm, 3)) : OrderedJson();
        item["hidden"] = tidy(link.hidden, 3);
        if (!link.why.empty()) item["why"] = link.why;
        list.push_back(std::move(item));
    }
    OrderedJson out;
    out["links"] = std::move(list);
    return dump(out);
}

std::string links_table(const Assembly& assembly, const std::vector<Link>& links) {
    std::size_t from_width = 4;
    std::size_t to_width = 2;
    for (const Link& link : links) {
        from_width = std::max(from_width, width_of(name_of(assembly, link.from)));
        to_width = std::max(to_width, width_of(name_of(assembly, link.to)));
    }
    std::string out = fmt::format("{}  {}  side            probability  standing  width mm  hidden\n",
                                  padded("from", from_width), padded("to", to_width));
    for (const Link& link : links)
        out += fmt::format(
            "{}  {}  {:<14}  {:>11.2f}  {:<8}  {:>8}  {:>5.0f} %\n",
            padded(name_of(assembly, link.from), from_width), padded(name_of(assembly, link.to), to_width),
            link.side ? name_of(*link.side) : "cable", link.probability, name_of(link.standing),
            link.width_mm > 0 ? fmt::format("{:.2f}", link.width_mm) : "-", rounded(link.hidden * 100, 1));
    return out;
}

std::string nets_json(const Assembly& assembly, const std::vector<Net>& nets) {
    OrderedJson list = OrderedJson::array();
    for (const Net& net : nets) {
        OrderedJson item;
        item["name"] = net.name;
        item["standing"] = name_of(net.standing);
        item["joints"] = OrderedJson::array();
        for (const JointIndex joint : net.joints) item["joints"].push_back(name_of(assembly, joint));
        list.push_back(std::move(item));
    }
    OrderedJson out;
    out["nets"] = std::move(list);
    return dump(out);
}

std::string nets_csv(const Assembly& assembly, const std::vector<Net>& nets) {
    std::string out = "net,standing,joint,board,part,pin,x_mm,y_mm,side\r\n";
    for (const Net& net : nets)
        for (const JointIndex index : net.joints) {
            const Joint& joint = assembly.joint(index);
            out += fmt::format("{},{},{},{},{},{},{:.3f},{:.3f},{}\r\n", csv_field(net.name),
                               name_of(net.standing), csv_field(joint.name.text()),
                               csv_field(assembly.board(joint.board).name.text()),
                               csv_field(joint.part.valid() ? assembly.part(joint.part).name.text() : ""),
                               csv_field(joint.pin), joint.hole.x, joint.hole.y, key_of(joint.sides));
        }
    return out;
}

std::string nets_table(const Assembly& assembly, const std::vector<Net>& nets) {
    constexpr std::size_t kLine = 100;  // fits most terminals and a printed page
    std::size_t name_width = 3;
    for (const Net& net : nets) name_width = std::max(name_width, width_of(net.name));
    name_width = std::min<std::size_t>(name_width, 30);
    std::string out = fmt::format("{}  standing  joints\n", padded("net", name_width));
    for (const Net& net : nets) {
        std::string line = fmt::format("{}  {:<8}  {:>4}:", padded(net.name, name_width),
                                       name_of(net.standing), net.joints.size());
        const std::string indent(name_width + 17, ' ');
        for (const JointIndex joint : net.joints) {
            const std::string& name = name_of(assembly, joint);
            if (width_of(line) + 1 + width_of(name) > kLine && line != indent) {
                out += line + "\n";
                line = indent;
            }
            line += " " + name;
        }
        out += line + "\n";
    }
    return out;
}

}  // namespace eyelet
