#include "eyelet/exchange/ipc356.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string_view>
#include <unordered_map>

namespace eyelet {
namespace {

constexpr std::size_t kRecordColumns = 80;
constexpr std::size_t kNetColumns = 14;
constexpr std::size_t kPartColumns = 6;
constexpr std::size_t kPinColumns = 4;
constexpr double kLargestPosition_mm = 999.999;  // sign and six digits of 0.001 mm
constexpr double kLargestFeature_mm = 9.999;     // four digits

bool is_plain(std::string_view text) {
    return std::all_of(text.begin(), text.end(), [](char c) { return c > 0x20 && c < 0x7F; });
}

// Printable ASCII for comments and parameters, cut to the record.
std::string plain_text(std::string_view text, std::size_t longest) {
    std::string out;
    for (const char c : text) {
        if ((static_cast<unsigned char>(c) & 0xC0U) == 0x80U) continue;  // one sign a character, not a byte
        out += c >= 0x20 && c < 0x7F ? c : '_';
    }
    return out.substr(0, longest);
}

// Short names for long ones: unchanged where they fit, otherwise the beginning, a tilde and a number.
class ShortNames {
  public:
    ShortNames(std::size_t columns, std::string what) : columns_(columns), what_(std::move(what)) {}

    // All names must be reserved before the first is looked up, so that no stand-in takes a real name.
    void reserve(const std::string& name) {
        if (fits(name)) taken_.insert(name);
    }
    std::string of(const std::string& name, std::vector<std::string>& comments) {
        if (fits(name)) return name;
        if (const auto known = given_.find(name); known != given_.end()) return known->second;
        std::string candidate;
        do {
            const std::string number = fmt::format("~{}", ++count_);
            std::string start = plain_text(name, columns_ - std::min(columns_, number.size()));
            std::replace(start.begin(), start.end(), ' ', '_');
            candidate = (start + number).substr(0, columns_);
        } while (!taken_.insert(candidate).second && count_ < 1'000'000);
        given_.emplace(name, candidate);
        comments.push_back(fmt::format("C  {} {} is written as {}", what_, plain_text(name, 45), candidate));
        return candidate;
    }

  private:
    [[nodiscard]] bool fits(const std::string& name) const {
        return name.size() <= columns_ && is_plain(name);
    }
    std::size_t columns_;
    std::string what_;
    std::set<std::string> taken_;
    std::unordered_map<std::string, std::string> given_;
    int count_ = 0;
};

long thousandths(double mm) {
    return std::lround(mm * 1000);
}

struct Names {
    std::string net;
    std::string part;
    std::string pin;
};

// One test record; each field at its column.
std::string record_of(const Joint& joint, double board_height_mm, const Names& names,
                      std::vector<std::string>& comments) {
    std::string line(74, ' ');
    const auto put = [&line](std::size_t column, const std::string& text) {
        line.replace(column - 1, text.size(), text);
    };
    const bool via = joint.kind == JointKind::via;
    const bool drilled = joint.drill_mm.has_value();
    put(1, !drilled && !via ? "327" : joint.plated || via ? "317" : "367");
    put(4, names.net);
    put(21, names.part);
    if (!via) {
        put(27, "-");
        put(28, names.pin);
    } else {
        put(32, "M");  // a via lies within its net by its nature
    }
    const auto feature = [&](double mm, const char* what) {
        if (mm <= kLargestFeature_mm) return std::max(1L, thousandths(mm));
        comments.push_back(fmt::format("C  {} of {} is {:.3f} mm and written as 9.999", what,
                                       plain_text(joint.name.text(), 40), mm));
        return thousandths(kLargestFeature_mm);
    };
    if (drilled)
        put(33, fmt::format("D{:04}{}",
                            feature(std::min(joint.drill_mm->width, joint.drill_mm->height), "the hole"),
                            joint.plated || via ? 'P' : 'U'));
    put(39, joint.sides == JointSides::both ? "A00" : joint.sides == JointSides::component ? "A01" : "A02");
    const long x = thousandths(joint.hole.x);
    const long y = thousandths(board_height_mm - joint.hole.y);
    put(42,
        fmt::format("X{}{:06}Y{}{:06}", x < 0 ? '-' : '+', std::labs(x), y < 0 ? '-' : '+', std::labs(y)));
    const bool round = joint.shape == PadShape::circle;
    put(58, fmt::format("X{:04}Y{:04}", feature(joint.pad_mm.width, "the pad"),
                        round ? 0 : feature(joint.pad_mm.height, "the pad")));
    const long degrees = ((std::lround(joint.rotation_deg) % 360) + 360) % 360;
    put(68, fmt::format("R{:03}", round ? 0 : degrees));
    put(73, via ? "S3" : "S0");
    return line;
}

}  // namespace

Result<std::string> ipc356(const Assembly& assembly, BoardIndex board_index, const std::vector<Net>& nets) {
    if (board_index.raw() >= assembly.boards.size()) return bad_input("the board is not in the assembly");
    const Board& board = assembly.board(board_index);
    const std::string prefix = assembly.boards.size() > 1 ? board.name.text() + "/" : "";

    ShortNames parts(kPartColumns, "part");
    ShortNames pins(kPinColumns, "pin");
    const auto part_of = [&](const Joint& joint) {
        if (joint.part.valid()) return assembly.part(joint.part).name.text();
        // A joint of no part goes by its own name, without the board's.
        const std::string& name = joint.name.text();
        return name.rfind(prefix, 0) == 0 ? name.substr(prefix.size()) : name;
    };
    std::set<std::string> net_names;
    for (const Net& net : nets) {
        net_names.insert(net.name);
        for (const JointIndex index : net.joints) {
            const Joint& joint = assembly.joint(index);
            if (joint.board != board_index) continue;
            if (std::abs(joint.hole.x) > kLargestPosition_mm ||
                std::abs(board.size_mm.height - joint.hole.y) > kLargestPosition_mm)
                return refused(fmt::format(
                    "joint {}: lies more than {} mm from the board's corner, which IPC-D-356A cannot "
                    "say in thousandths of a millimetre; write the nets as CSV or JSON",
                    joint.name.text(), kLargestPosition_mm));
            parts.reserve(part_of(joint));
            pins.reserve(joint.pin);
        }
    }

    std::vector<std::string> name_records;
    std::vector<std::string> comments;
    std::vector<std::string> records;
    int long_names = 0;
    std::size_t proven = 0;
    std::size_t written = 0;
    for (const Net& net : nets) {
        std::vector<JointIndex> here;
        for (const JointIndex index : net.joints)
            if (assembly.joint(index).board == board_index) here.push_back(index);
        if (here.empty()) continue;
        ++written;
        if (net.standing == NetStanding::proven) ++proven;
        std::string name = "N/C";
        if (net.joints.size() > 1) {
            name = net.name;
            // Names that mean something else in this format count as not fitting.
            if (name.empty() || name.size() > kNetColumns || !is_plain(name) || name == "N/C" ||
                name.rfind("NNAME", 0) == 0) {
                name = fmt::format("NNAME{}", ++long_names);
                const std::string record = fmt::format("P  {} ", name);
                name_records.push_back(record + plain_text(net.name, kRecordColumns - record.size()));
            }
        }
        for (const JointIndex index : here) {
            const Joint& joint = assembly.joint(index);
            Names names{name, "VIA", ""};
            if (joint.kind == JointKind::pad) {
                names.part = parts.of(part_of(joint), comments);
                names.pin = pins.of(joint.pin, comments);
            }
            records.push_back(record_of(joint, board.size_mm.height, names, comments));
        }
    }

    std::string out;
    const auto line = [&out](const std::string& text) { out += text.substr(0, kRecordColumns) + "\n"; };
    line("C  Nets from photographs and meter readings, written by Eyelet.");
    line(fmt::format("C  Nets: {} with a joint on this board, {} of them proven.", written, proven));
    line("C  Origin: lower left corner of the board, seen from the component side.");
    line(fmt::format("P  JOB   {}", plain_text(assembly.name, 60)));
    line("P  CODE  00");
    line("P  UNITS CUST 1");
    line(fmt::format("P  TITLE {}", plain_text(board.name.text(), 60)));
    line("P  NUM   1");
    line("P  REV   1");
    line("P  VER   IPC-D-356A");
    line("P  IMAGE PRIMARY");
    for (const std::string& record : name_records) line(record);
    for (const std::string& comment : comments) line(comment);
    for (const std::string& record : records) line(record);
    line("999");
    return out;
}

}  // namespace eyelet
