#include "eyelet/exchange/survey.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <fstream>
#include <map>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <set>
#include <unordered_map>
#include <unordered_set>
#include <utility>

#include "eyelet/exchange/json_text.h"

namespace eyelet {
namespace {

using nlohmann::json;
using OrderedJson = nlohmann::ordered_json;
namespace fs = std::filesystem;

constexpr const char* kBoardSchema = "board-survey/1";
constexpr const char* kAssemblySchema = "board-assembly/1";

std::string spelled(const json& value) {
    return for_message(value.dump(-1, ' ', false, json::error_handler_t::replace), 40);
}

// A value inside the file together with its place, so that every message can say where.
class Node {
  public:
    Node(const json& value, std::string file) : value_(&value), file_(std::move(file)) {}

    [[nodiscard]] Error wrong(const std::string& what) const {
        return bad_input(path_.empty() ? fmt::format("{}: {}", file_, what)
                                       : fmt::format("{}: {}: {}", file_, path_, what));
    }
    [[nodiscard]] const json& value() const { return *value_; }
    [[nodiscard]] bool has(const char* key) const { return value_->is_object() && value_->contains(key); }
    [[nodiscard]] std::size_t size() const { return value_->size(); }
    // A longer name for messages: joints[3] "U1.3".
    void label(const std::string& text) { path_ += fmt::format(" \"{}\"", for_message(text, 60)); }

    [[nodiscard]] Node member(const char* key) const {
        return {(*value_)[key], file_, path_.empty() ? std::string(key) : fmt::format("{}.{}", path_, key)};
    }
    [[nodiscard]] Node element(std::size_t i) const {
        return {(*value_)[i], file_, fmt::format("{}[{}]", path_, i)};
    }

    [[nodiscard]] Status is_object() const {
        if (!value_->is_object()) return wrong(fmt::format("must be an object, not {}", spelled(*value_)));
        return {};
    }
    [[nodiscard]] Result<Node> required(const char* key, const char* kind) const {
        if (!has(key)) return wrong(fmt::format("the member \"{}\" is missing; it should be {}", key, kind));
        return member(key);
    }
    [[nodiscard]] Result<Node> list(const char* key, const char* kind) const {
        EYELET_ASSIGN(Node node, required(key, kind));
        if (!node.value_->is_array())
            return node.wrong(fmt::format("must be {}, not {}", kind, spelled(*node.value_)));
        return node;
    }
    [[nodiscard]] Result<double> as_number(const char* kind) const {
        if (!value_->is_number() || !std::isfinite(value_->get<double>()))
            return wrong(fmt::format("must be {}, not {}", kind, spelled(*value_)));
        return value_->get<double>();
    }
    [[nodiscard]] Result<double> number(const char* key, const char* kind) const {
        EYELET_ASSIGN(const Node node, required(key, kind));
        return node.as_number(kind);
    }
    [[nodiscard]] Result<std::string> as_text(const char* kind) const {
        if (!value_->is_string()) return wrong(fmt::format("must be {}, not {}", kind, spelled(*value_)));
        const auto& text = value_->get_ref<const std::string&>();
        if (text.size() > kMaxNameBytes)
            return wrong(
                fmt::format("is longer than {} bytes: \"{}\"", kMaxNameBytes, for_message(text, 40)));
        if (std::any_of(text.begin(), text.end(),
                        [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7F; }))
            return wrong(fmt::format("\"{}\" holds a control character (a line break, say); leave it out",
                                     for_message(text, 40)));
        return text;
    }
    [[nodiscard]] Result<std::string> text(const char* key, const char* kind) const {
        EYELET_ASSIGN(const Node node, required(key, kind));
        return node.as_text(kind);
    }
    // Missing and null are empty.
    [[nodiscard]] Result<std::string> optional_text(const char* key, const char* kind) const {
        if (!has(key) || (*value_)[key].is_null()) return std::string();
        return member(key).as_text(kind);
    }
    [[nodiscard]] Result<std::pair<double, double>> pair(const char* kind) const {
        const auto is_number = [](const json& v) { return v.is_number() && std::isfinite(v.get<double>()); };
        if (!value_->is_array() || value_->size() != 2 || !is_number((*value_)[0]) ||
            !is_number((*value_)[1]))
            return wrong(fmt::format("must be {}, not {}", kind, spelled(*value_)));
        return std::pair((*value_)[0].get<double>(), (*value_)[1].get<double>());
    }
    [[nodiscard]] Result<Size> positive_size(double largest) const {
        constexpr const char* kind = "two positive numbers of millimetres";
        EYELET_ASSIGN(const auto both, pair(kind));
        if (both.first <= 0 || both.second <= 0)
            return wrong(fmt::format("must be {}, not {}", kind, spelled(*value_)));
        if (both.first > largest || both.second > largest)
            return wrong(
                fmt::format("{} is more than the {} mm that a board may measure", spelled(*value_), largest));
        return Size{both.first, both.second};
    }

  private:
    Node(const json& value, std::string file, std::string path)
        : value_(&value), file_(std::move(file)), path_(std::move(path)) {}
    const json* value_;
    std::string file_;
    std::string path_;
};

std::optional<JointSides> joint_sides_from_key(const std::string& key) {
    if (key == "both") return JointSides::both;
    if (key == "top") return JointSides::component;
    if (key == "bottom") return JointSides::solder;
    return std::nullopt;
}

struct ShapeKey {
    const char* key;
    PadShape shape;
};
constexpr ShapeKey kShapes[] = {
    {"circle", PadShape::circle},       {"oval", PadShape::oval},
    {"rect", PadShape::rectangle},      {"roundrect", PadShape::rounded_rectangle},
    {"trapezoid", PadShape::trapezoid}, {"custom", PadShape::custom}};

std::optional<PadShape> shape_from_key(const std::string& key) {
    for (const ShapeKey& known : kShapes)
        if (key == known.key) return known.shape;
    return std::nullopt;
}

const char* key_of_shape(PadShape shape) {
    for (const ShapeKey& known : kShapes)
        if (shape == known.shape) return known.key;
    return "custom";
}

const char* key_of_sides(JointSides sides) {
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

// How far outside its board a point may lie: card edges, tabs and connectors stand out a little, a wrong unit
// or a swapped sign stands out a lot.
double slack_mm(Size board) {
    return std::max(10.0, 0.1 * std::max(board.width, board.height));
}

double distance_outside(Point p, const Box& box) {
    return std::max({box.low.x - p.x, p.x - box.high.x, box.low.y - p.y, p.y - box.high.y, 0.0});
}

// A name in a file that must stay inside the file's own folder.
Status check_relative_file(const Node& node, const std::string& file) {
    const fs::path path(file);
    if (file.empty()) return node.wrong("is empty; it should name a file beside the survey");
    if (path.is_absolute() || file.front() == '\\' || (file.size() > 1 && file[1] == ':'))
        return node.wrong(fmt::format("\"{}\" is an absolute path; the file must lie beside the survey",
                                      for_message(file)));
    for (const fs::path& step : path)
        if (step == "..")
            return node.wrong(fmt::format(
                "\"{}\" leaves the survey's folder; the file must lie beside the survey", for_message(file)));
    if (file.find('\\') != std::string::npos)
        return node.wrong(
            fmt::format("\"{}\" holds a backslash; the file must lie beside the survey, and folders below it "
                        "are parted by /",
                        for_message(file)));
    return {};
}

// Reads one board into an assembly that may hold others already.
class BoardReader {
  public:
    BoardReader(Survey& survey, BoardName name, std::string prefix)
        : survey_(survey),
          board_(survey.assembly.boards.size()),
          name_(std::move(name)),
          prefix_(std::move(prefix)) {}

    Status read(const Node& root) {
        EYELET_TRY(read_head(root));
        EYELET_TRY(read_joints(root));
        EYELET_TRY(read_parts(root));
        EYELET_TRY(attach_by_reference());
        return read_photos(root);
    }
    [[nodiscard]] const std::string& slug() const { return slug_; }

  private:
    Status read_head(const Node& root) {
        EYELET_TRY(root.is_object());
        EYELET_ASSIGN(const Node schema, root.required("schema", "\"board-survey/1\""));
        if (schema.value() != kBoardSchema)
            return schema.wrong(fmt::format("{} is not a survey this program reads; it should be \"{}\"",
                                            spelled(schema.value()), kBoardSchema));
        EYELET_ASSIGN(slug_, root.text("slug", "the name of the board"));
        EYELET_ASSIGN(const Node units, root.required("units", "\"mm\""));
        if (units.value() != "mm")
            return units.wrong(
                fmt::format("{} is not known; lengths must be in \"mm\"", spelled(units.value())));
        Board board;
        board.name = name_.empty() ? BoardName(slug_) : name_;
        EYELET_ASSIGN(const Node size, root.required("size", "two positive numbers of millimetres"));
        EYELET_ASSIGN(board.size_mm, size.positive_size(kMaxBoardSide_mm));
        EYELET_ASSIGN(const Node outline, root.list("outline", "a list of three points [x, y] or more"));
        if (outline.size() < 3)
            return outline.wrong(
                fmt::format("holds {} points; an outline needs three or more", outline.size()));
        extent_ = {{0, 0}, {board.size_mm.width, board.size_mm.height}};
        for (std::size_t i = 0; i < outline.size(); ++i) {
            EYELET_ASSIGN(const auto xy, outline.element(i).pair("a point [x, y] in millimetres"));
            const Point p{xy.first, xy.second};
            if (distance_outside(p, extent_) > slack_mm(board.size_mm))
                return outline.element(i).wrong(
                    fmt::format("[{:g}, {:g}] lies far outside the board's size of {:g} x {:g} mm", p.x, p.y,
                                board.size_mm.width, board.size_mm.height));
            board.outline.push_back(p);
        }
        survey_.assembly.boards.push_back(std::move(board));
        return {};
    }

    Status read_joints(const Node& root) {
        EYELET_ASSIGN(const Node joints, root.list("joints", "a list of joints"));
        if (joints.size() == 0) return joints.wrong("is empty; a board without joints cannot be worked on");
        if (survey_.assembly.joints.size() + joints.size() > kMaxSurveyJoints)
            return joints.wrong(
                fmt::format("holds {} joints; no more than {} are read", joints.size(), kMaxSurveyJoints));
        for (std::size_t i = 0; i < joints.size(); ++i) {
            Node node = joints.element(i);
            EYELET_TRY(read_joint(node));
        }
        return {};
    }

    Status read_joint(Node& node) {
        EYELET_TRY(node.is_object());
        EYELET_ASSIGN(const std::string id, node.text("id", "the joint's own name"));
        if (id.empty()) return node.member("id").wrong("is empty; each joint needs a name of its own");
        node.label(id);
        Joint joint;
        joint.name = JointName(prefix_ + id);
        joint.board = board_;
        EYELET_ASSIGN(const std::string kind, node.text("kind", "\"pad\" or \"via\""));
        if (kind != "pad" && kind != "via")
            return node.member("kind").wrong(
                fmt::format("\"{}\" is not known; it should be \"pad\" or \"via\"", for_message(kind)));
        joint.kind = kind == "via" ? JointKind::via : JointKind::pad;
        EYELET_ASSIGN(const std::string reference, node.optional_text("ref", "a part's reference as text"));
        EYELET_ASSIGN(joint.pin, node.optional_text("pin", "a pin's name as text"));
        EYELET_ASSIGN(joint.hole.x, node.number("x", "a number of millimetres"));
        EYELET_ASSIGN(joint.hole.y, node.number("y", "a number of millimetres"));
        joint.copper_centre = joint.hole;
        if (node.has("cx")) {
            EYELET_ASSIGN(joint.copper_centre.x, node.number("cx", "a number of millimetres"));
        }
        if (node.has("cy")) {
            EYELET_ASSIGN(joint.copper_centre.y, node.number("cy", "a number of millimetres"));
        }
        for (const Point p : {joint.hole, joint.copper_centre})
            if (distance_outside(p, extent_) > slack_mm(extent_.size()))
                return node.wrong(
                    fmt::format("lies at ({:g}, {:g}) mm, far outside the board of {:g} x {:g} mm", p.x, p.y,
                                extent_.high.x, extent_.high.y));
        EYELET_ASSIGN(const std::string side, node.text("side", "\"top\", \"bottom\" or \"both\""));
        const auto sides = joint_sides_from_key(side);
        if (!sides)
            return node.member("side").wrong(fmt::format(
                "\"{}\" is not a side; it should be \"top\", \"bottom\" or \"both\"", for_message(side)));
        joint.sides = *sides;
        EYELET_ASSIGN(const std::string shape, node.text("shape", "the shape of the pad"));
        const auto pad_shape = shape_from_key(shape);
        if (!pad_shape)
            return node.member("shape").wrong(fmt::format(
                "\"{}\" is not a shape; it should be circle, oval, rect, roundrect, trapezoid or custom",
                for_message(shape)));
        joint.shape = *pad_shape;
        EYELET_ASSIGN(const Node size, node.required("size", "two positive numbers of millimetres"));
        EYELET_ASSIGN(joint.pad_mm, size.positive_size(kMaxBoardSide_mm));
        if (node.has("rot")) {
            EYELET_ASSIGN(joint.rotation_deg, node.number("rot", "a number of degrees"));
        }
        if (node.has("drill") && !node.member("drill").value().is_null()) {
            EYELET_ASSIGN(joint.drill_mm, node.member("drill").positive_size(kMaxBoardSide_mm));
        }
        // Where the file does not say, a drilled joint with copper on both sides is taken as plated.
        joint.plated = joint.kind == JointKind::via || (joint.drill_mm && joint.sides == JointSides::both);
        if (node.has("plated")) {
            const Node plated = node.member("plated");
            if (!plated.value().is_boolean())
                return plated.wrong(fmt::format("must be true or false, not {}", spelled(plated.value())));
            joint.plated = plated.value().get<bool>();
        }
        const JointIndex index(survey_.assembly.joints.size());
        if (!by_id_.emplace(id, index).second)
            return node.wrong("this joint id is used twice; each joint needs one of its own");
        reference_of_.emplace_back(index, reference);
        survey_.assembly.joints.push_back(std::move(joint));
        return {};
    }

    Status read_parts(const Node& root) {
        EYELET_ASSIGN(const Node parts, root.list("parts", "a list of parts, empty if there are none"));
        std::unordered_set<std::string> taken;
        for (std::size_t i = 0; i < parts.size(); ++i)  // plain references first: "R1#2" may itself be one
            if (parts.element(i).has("ref") && parts.element(i).member("ref").value().is_string())
                taken.insert(parts.element(i).member("ref").value().get<std::string>());
        std::unordered_map<std::string, int> met;
        for (std::size_t i = 0; i < parts.size(); ++i) {
            Node node = parts.element(i);
            EYELET_TRY(node.is_object());
            EYELET_ASSIGN(const std::string reference, node.text("ref", "the part's reference"));
            if (reference.empty()) return node.member("ref").wrong("is empty; each part needs a reference");
            node.label(reference);
            Part part;
            std::string name = reference;
            if (int& count = met[reference]; ++count > 1) {
                do name = fmt::format("{}#{}", reference, count);
                while (!taken.insert(name).second && ++count > 0);
            }
            part.name = PartName(name);
            part.board = board_;
            EYELET_ASSIGN(part.value, node.optional_text("value", "a marking or value as text"));
            EYELET_ASSIGN(part.kind, node.optional_text("kind", "what the part is, as text"));
            EYELET_ASSIGN(const std::string side, node.text("side", "\"top\" or \"bottom\""));
            const auto part_side = side_from_key(side);
            if (!part_side)
                return node.member("side").wrong(fmt::format(
                    "\"{}\" is not a side; it should be \"top\" or \"bottom\"", for_message(side)));
            part.side = *part_side;
            EYELET_ASSIGN(const Node body, node.list("bbox", "a box [x0, y0, x1, y1] in millimetres"));
            EYELET_TRY(read_box(body, part.body));
            EYELET_ASSIGN(const Node joints, node.list("joints", "a list of joint ids"));
            const PartIndex index(survey_.assembly.parts.size());
            for (std::size_t k = 0; k < joints.size(); ++k) {
                EYELET_ASSIGN(const std::string id, joints.element(k).as_text("a joint id"));
                const auto found = by_id_.find(id);
                if (found == by_id_.end())
                    return joints.element(k).wrong(fmt::format(
                        "joint \"{}\" is not in this survey; name one of its joints", for_message(id)));
                Joint& joint = survey_.assembly.joints[found->second.raw()];
                if (joint.part.valid())
                    return joints.element(k).wrong(fmt::format(
                        "joint \"{}\" belongs to part \"{}\" already; a joint belongs to one part",
                        for_message(id),
                        joint.part == index ? for_message(name)
                                            : for_message(survey_.assembly.part(joint.part).name.text())));
                joint.part = index;
                part.joints.push_back(found->second);
            }
            parts_by_reference_[reference].push_back(index);
            survey_.assembly.parts.push_back(std::move(part));
        }
        return {};
    }

    Status read_box(const Node& node, Box& box) {
        constexpr const char* kind = "a box [x0, y0, x1, y1] in millimetres with x0 < x1 and y0 < y1";
        if (node.size() != 4)
            return node.wrong(fmt::format("must be {}, not {}", kind, spelled(node.value())));
        double corner[4] = {};
        for (std::size_t i = 0; i < 4; ++i) {
            EYELET_ASSIGN(corner[i], node.element(i).as_number("a number of millimetres"));
            if (std::abs(corner[i]) > 2 * kMaxBoardSide_mm)
                return node.element(i).wrong(fmt::format("{:g} mm lies far outside any board", corner[i]));
        }
        if (!(corner[0] < corner[2] && corner[1] < corner[3]))
            return node.wrong(fmt::format("must be {}, not {}", kind, spelled(node.value())));
        box = {{corner[0], corner[1]}, {corner[2], corner[3]}};
        return {};
    }

    // A joint that no part lists, but that names the only part of that reference, belongs to it.
    Status attach_by_reference() {
        for (const auto& [index, reference] : reference_of_) {
            Joint& joint = survey_.assembly.joints[index.raw()];
            if (joint.part.valid() || reference.empty()) continue;
            const auto found = parts_by_reference_.find(reference);
            if (found == parts_by_reference_.end() || found->second.size() != 1) continue;
            joint.part = found->second.front();
            survey_.assembly.parts[joint.part.raw()].joints.push_back(index);
        }
        return {};
    }

    Status read_photos(const Node& root) {
        EYELET_ASSIGN(const Node photos,
                      root.list("photos", "a list of photographs, empty if there are none"));
        if (survey_.photos.size() + photos.size() > kMaxSurveyPhotos)
            return photos.wrong(fmt::format("holds {} photographs; no more than {} are read", photos.size(),
                                            kMaxSurveyPhotos));
        std::unordered_set<std::string> files;
        for (std::size_t i = 0; i < photos.size(); ++i) {
            Node node = photos.element(i);
            EYELET_TRY(node.is_object());
            SurveyPhoto photo;
            photo.board = board_;
            EYELET_ASSIGN(photo.file, node.text("file", "the name of a photograph beside the survey"));
            EYELET_TRY(check_relative_file(node.member("file"), photo.file));
            node.label(photo.file);
            if (!files.insert(photo.file).second)
                return node.wrong("this photograph is listed twice; list it once");
            EYELET_ASSIGN(const std::string side, node.text("side", "\"top\" or \"bottom\""));
            const auto photo_side = side_from_key(side);
            if (!photo_side)
                return node.member("side").wrong(fmt::format(
                    "\"{}\" is not a side; it should be \"top\" or \"bottom\"", for_message(side)));
            photo.side = *photo_side;
            EYELET_ASSIGN(photo.level, node.optional_text("level", "a word"));
            EYELET_ASSIGN(photo.width_px, read_pixels(node, "width"));
            EYELET_ASSIGN(photo.height_px, read_pixels(node, "height"));
            if (static_cast<double>(photo.width_px) * photo.height_px > kMaxPhotoPixels)
                return node.wrong(
                    fmt::format("{} x {} pixels is more than the {:g} megapixels that a photograph may have",
                                photo.width_px, photo.height_px, kMaxPhotoPixels / 1e6));
            if (node.has("tie_points") && !node.member("tie_points").value().is_null()) {
                EYELET_TRY(read_tie_points(node, photo));
            }
            survey_.photos.push_back(std::move(photo));
        }
        return {};
    }

    [[nodiscard]] Result<int> read_pixels(const Node& node, const char* key) const {
        EYELET_ASSIGN(const double pixels, node.number(key, "a whole number of pixels"));
        if (pixels < 1 || pixels != std::floor(pixels))
            return node.member(key).wrong(fmt::format("must be a whole number of pixels above 0, not {}",
                                                      spelled(node.member(key).value())));
        if (pixels > kMaxPhotoSide_px)
            return node.member(key).wrong(
                fmt::format("{:g} pixels is more than the {} that a photograph may have on a side", pixels,
                            kMaxPhotoSide_px));
        return static_cast<int>(pixels);
    }

    Status read_tie_points(const Node& node, SurveyPhoto& photo) {
        EYELET_ASSIGN(const Node ties, node.list("tie_points", "a list of tie points"));
        if (ties.size() > 0 && ties.size() < 4)
            return ties.wrong(fmt::format(
                "holds {}; to place a photograph four or more are needed (none at all is allowed)",
                ties.size()));
        std::unordered_set<JointIndex> tied;
        for (std::size_t i = 0; i < ties.size(); ++i) {
            Node tie = ties.element(i);
            EYELET_TRY(tie.is_object());
            EYELET_ASSIGN(const std::string id, tie.text("joint", "a joint id"));
            const auto found = by_id_.find(id);
            if (found == by_id_.end())
                return tie.member("joint").wrong(fmt::format(
                    "joint \"{}\" is not in this survey; name one of its joints", for_message(id)));
            tie.label(id);
            if (!tied.insert(found->second).second)
                return tie.wrong("this joint is tied twice in one photograph; tie it once");
            EYELET_ASSIGN(const Node pixel, tie.required("pixel", "a pixel [u, v]"));
            EYELET_ASSIGN(const auto uv, pixel.pair("a pixel [u, v]"));
            if (uv.first < -0.5 || uv.second < -0.5 || uv.first > photo.width_px - 0.5 ||
                uv.second > photo.height_px - 0.5)
                return pixel.wrong(fmt::format("[{:g}, {:g}] lies outside the picture of {} x {} pixels",
                                               uv.first, uv.second, photo.width_px, photo.height_px));
            photo.tie_points.push_back({found->second, {uv.first, uv.second}});
        }
        return {};
    }

    Survey& survey_;
    BoardIndex board_;
    BoardName name_;
    std::string prefix_;
    std::string slug_;
    Box extent_;
    std::unordered_map<std::string, JointIndex> by_id_;
    std::vector<std::pair<JointIndex, std::string>> reference_of_;
    std::unordered_map<std::string, std::vector<PartIndex>> parts_by_reference_;
};

struct BoardEntry {
    std::string name;
    std::string survey;
};

struct AssemblyHead {
    std::string name, unit, complaint;
    std::vector<BoardEntry> boards;
};

Result<AssemblyHead> read_assembly_head(const Node& root) {
    EYELET_TRY(root.is_object());
    EYELET_ASSIGN(const Node schema, root.required("schema", "\"board-assembly/1\""));
    if (schema.value() != kAssemblySchema)
        return schema.wrong(fmt::format("{} is not an assembly this program reads; it should be \"{}\"",
                                        spelled(schema.value()), kAssemblySchema));
    AssemblyHead head;
    EYELET_ASSIGN(head.name, root.text("name", "the assembly's name"));
    if (head.name.empty()) return root.member("name").wrong("is empty; it should be the assembly's name");
    EYELET_ASSIGN(head.unit, root.optional_text("unit", "a serial number as text"));
    if (root.has("complaint") && !root.member("complaint").value().is_null()) {
        const json& complaint =
            root.member("complaint").value();  // free text: lines and length as the person likes
        if (!complaint.is_string()) return root.member("complaint").wrong("must be text");
        head.complaint = complaint.get<std::string>();
        if (head.complaint.size() > 10'000)
            return root.member("complaint").wrong("is longer than 10000 bytes");
    }
    EYELET_ASSIGN(const Node boards, root.list("boards", "a list of boards, each with name and survey"));
    if (boards.size() == 0) return boards.wrong("is empty; an assembly has one board or more");
    if (boards.size() > kMaxSurveyBoards)
        return boards.wrong(
            fmt::format("holds {} boards; no more than {} are read", boards.size(), kMaxSurveyBoards));
    std::set<std::string> names;
    for (std::size_t i = 0; i < boards.size(); ++i) {
        const Node node = boards.element(i);
        EYELET_TRY(node.is_object());
        BoardEntry entry;
        EYELET_ASSIGN(entry.name, node.text("name", "the board's name"));
        if (entry.name.empty() || entry.name.find('/') != std::string::npos)
            return node.member("name").wrong(fmt::format(
                "\"{}\" cannot name a board; it must not be empty or hold a slash", for_message(entry.name)));
        if (!names.insert(entry.name).second)
            return node.member("name").wrong(fmt::format(
                "board \"{}\" is listed twice; board names must differ", for_message(entry.name)));
        EYELET_ASSIGN(entry.survey, node.text("survey", "the board's survey file"));
        EYELET_TRY(check_relative_file(node.member("survey"), entry.survey));
        head.boards.push_back(std::move(entry));
    }
    return head;
}

Status read_cables(const Node& root, Survey& survey) {
    if (!root.has("cables")) return {};
    EYELET_ASSIGN(const Node cables, root.list("cables", "a list of cables"));
    const auto joints = joints_by_name(survey.assembly);
    std::set<std::string> names;
    for (std::size_t i = 0; i < cables.size(); ++i) {
        Node node = cables.element(i);
        EYELET_TRY(node.is_object());
        Cable cable;
        EYELET_ASSIGN(cable.name, node.text("name", "the cable's name"));
        node.label(cable.name);
        if (!names.insert(cable.name).second)
            return node.wrong("this cable is listed twice; cable names must differ");
        EYELET_ASSIGN(const Node conductors, node.list("conductors", "a list of pairs of joints"));
        for (std::size_t k = 0; k < conductors.size(); ++k) {
            const Node pair = conductors.element(k);
            if (!pair.value().is_array() || pair.size() != 2)
                return pair.wrong(
                    fmt::format("must be two joints such as [\"main/J1.1\", \"drive/J1.1\"], not {}",
                                spelled(pair.value())));
            JointIndex ends[2];
            for (std::size_t end = 0; end < 2; ++end) {
                EYELET_ASSIGN(const std::string name, pair.element(end).as_text("a joint's name"));
                const auto found = joints.find(JointName(name));
                if (found == joints.end())
                    return pair.element(end).wrong(fmt::format(
                        "joint \"{}\" is not in this assembly; {}", for_message(name),
                        survey.assembly.boards.size() > 1 ? "write BOARD/JOINT" : "name one of its joints"));
                ends[end] = found->second;
            }
            if (ends[0] == ends[1])
                return pair.wrong("joins a joint to itself; a conductor joins two joints");
            cable.conductors.push_back({ends[0], ends[1]});
        }
        survey.assembly.cables.push_back(std::move(cable));
    }
    return {};
}

Result<std::string> read_text_file(const fs::path& path) {
    const std::string shown = for_message(path.string(), 400);
    std::error_code error;
    const fs::file_status status = fs::status(path, error);
    if (status.type() == fs::file_type::not_found)
        return not_found(fmt::format(
            "{}: there is no such file or folder; name a survey.json or a folder that holds one", shown));
    if (error) return bad_input(fmt::format("{}: cannot be read: {}", shown, error.message()));
    if (!fs::is_regular_file(status))
        return bad_input(fmt::format("{}: is not a file; name a survey.json", shown));
    const auto size = fs::file_size(path, error);
    if (!error && size > kMaxSurveyBytes)
        return bad_input(
            fmt::format("{}: {} bytes; a survey may have no more than {}", shown, size, kMaxSurveyBytes));
    std::ifstream in(path, std::ios::binary);
    if (!in) return bad_input(fmt::format("{}: cannot be opened: {}", shown, std::strerror(errno)));
    std::string text(kMaxSurveyBytes + 1, '\0');  // also for files that do not know their size
    in.read(text.data(), static_cast<std::streamsize>(text.size()));
    if (in.bad()) return bad_input(fmt::format("{}: cannot be read: {}", shown, std::strerror(errno)));
    text.resize(static_cast<std::size_t>(in.gcount()));
    if (text.size() > kMaxSurveyBytes)
        return bad_input(
            fmt::format("{}: more than the {} bytes that a survey may have", shown, kMaxSurveyBytes));
    return text;
}

// The photograph is there, is a file, can be opened and has some size. Decoding is for others.
Status check_photo_file(const SurveyPhoto& photo, const std::string& where, std::size_t number) {
    const auto wrong = [&](const std::string& what) {
        return bad_input(
            fmt::format("{}: photos[{}] \"{}\": {}", where, number, for_message(photo.file), what));
    };
    std::error_code error;
    const fs::file_status status = fs::status(photo.path, error);
    if (status.type() == fs::file_type::not_found)
        return wrong("there is no such file; the photograph must lie beside the survey");
    if (error) return wrong("cannot be read: " + error.message());
    if (!fs::is_regular_file(status)) return wrong("is not a file; it should be a photograph");
    const auto size = fs::file_size(photo.path, error);
    if (error) return wrong("cannot be read: " + error.message());
    if (size == 0) return wrong("the file is empty; it should be a photograph");
    if (size > kMaxPhotoBytes)
        return wrong(fmt::format("{} bytes; a photograph may have no more than {}", size, kMaxPhotoBytes));
    if (!std::ifstream(photo.path, std::ios::binary))
        return wrong(fmt::format("cannot be opened: {}", std::strerror(errno)));
    return {};
}

Status check_photo_files(Survey& survey, std::size_t first, const fs::path& folder,
                         const std::string& where) {
    for (std::size_t i = first; i < survey.photos.size(); ++i) {
        survey.photos[i].path = folder / survey.photos[i].file;
        EYELET_TRY(check_photo_file(survey.photos[i], where, i - first));
    }
    return {};
}

Status read_board(Survey& survey, const json& document, const std::string& where, const BoardName& name,
                  const std::string& prefix, std::string* slug = nullptr) {
    BoardReader reader(survey, name, prefix);
    EYELET_TRY(reader.read(Node(document, where)));
    if (slug) *slug = reader.slug();
    return {};
}

Result<Survey> finish(Survey survey, const std::string& where) {
    // Everything was checked with its place in the file; this holds the promise even if a check is forgotten.
    if (const Status status = check(survey.assembly); !status.ok())
        return bad_input(fmt::format("{}: {}", where, status.error().message));
    return survey;
}

Result<Survey> single_board(const json& document, const std::string& where) {
    Survey survey;
    EYELET_TRY(read_board(survey, document, where, {}, "", &survey.assembly.name));
    if (survey.assembly.name.empty())
        return bad_input(fmt::format("{}: slug: is empty; it should be the name of the board", where));
    return survey;
}

// `board_done` is called after each board with the place of its first photograph.
using BoardDone = std::function<Status(Survey&, std::size_t first_photo, const std::string& file)>;

Result<Survey> several_boards(const json& document, const std::string& where, const SurveyLoader& load,
                              const BoardDone& board_done) {
    const Node root(document, where);
    EYELET_ASSIGN(const AssemblyHead head, read_assembly_head(root));
    Survey survey;
    survey.assembly.name = head.name;
    survey.unit = head.unit;
    survey.complaint = head.complaint;
    for (const BoardEntry& board : head.boards) {
        EYELET_ASSIGN(const std::string text, load(board.survey));
        EYELET_ASSIGN(const json board_document, parse_json_text(text, board.survey));
        const std::size_t first_photo = survey.photos.size();
        EYELET_TRY(read_board(survey, board_document, board.survey, BoardName(board.name),
                              head.boards.size() > 1 ? board.name + "/" : ""));
        EYELET_TRY(board_done(survey, first_photo, board.survey));
    }
    EYELET_TRY(read_cables(root, survey));
    return survey;
}

bool is_assembly(const json& document) {
    if (!document.is_object() || !document.contains("schema") || !document["schema"].is_string())
        return false;
    return document["schema"].get_ref<const std::string&>().rfind("board-assembly/", 0) == 0;
}

OrderedJson json_of(Size size) {
    return {size.width, size.height};
}
OrderedJson json_of(Point point) {
    return {point.x, point.y};
}

// A joint's id in its own board's file.
std::string local_id(const Survey& survey, JointIndex index) {
    const Joint& joint = survey.assembly.joint(index);
    const std::string& name = joint.name.text();
    if (survey.assembly.boards.size() < 2) return name;
    const std::string prefix = survey.assembly.board(joint.board).name.text() + "/";
    return name.rfind(prefix, 0) == 0 ? name.substr(prefix.size()) : name;
}

Status write_text_file(const fs::path& path, const std::string& text) {
    // "x": a file that is there already is not touched (C11 7.21.5.3).
    std::unique_ptr<std::FILE, int (*)(std::FILE*)> out(std::fopen(path.c_str(), "wbx"), &std::fclose);
    if (!out)
        return errno == EEXIST
                   ? refused(fmt::format("{}: is there already; name a new folder", path.string()))
                   : storage_error(
                         fmt::format("{}: cannot be written: {}", path.string(), std::strerror(errno)));
    const bool written = std::fwrite(text.data(), 1, text.size(), out.get()) == text.size();
    const bool closed = std::fclose(out.release()) == 0;
    if (!written || !closed)
        return storage_error(fmt::format("{}: cannot be written: {}", path.string(), std::strerror(errno)));
    return {};
}

}  // namespace

Result<Survey> parse_survey(std::string_view text, const std::string& where) {
    if (text.size() > kMaxSurveyBytes)
        return bad_input(fmt::format("{}: {} bytes; a survey may have no more than {}", where, text.size(),
                                     kMaxSurveyBytes));
    EYELET_ASSIGN(const json document, parse_json_text(text, where));
    EYELET_ASSIGN(Survey survey, single_board(document, where));
    return finish(std::move(survey), where);
}

Result<Survey> parse_assembly(std::string_view text, const std::string& where, const SurveyLoader& load) {
    if (text.size() > kMaxSurveyBytes)
        return bad_input(fmt::format("{}: {} bytes; an assembly may have no more than {}", where, text.size(),
                                     kMaxSurveyBytes));
    EYELET_ASSIGN(const json document, parse_json_text(text, where));
    EYELET_ASSIGN(Survey survey,
                  several_boards(document, where, load,
                                 [](Survey&, std::size_t, const std::string&) { return Status(); }));
    return finish(std::move(survey), where);
}

Result<Survey> read_survey(const fs::path& given) {
    std::error_code error;
    fs::path path = given;
    if (fs::is_directory(path, error)) {
        if (fs::exists(path / "survey.json", error))
            path /= "survey.json";
        else if (fs::exists(path / "assembly.json", error))
            path /= "assembly.json";
        else
            return not_found(
                fmt::format("{}: the folder holds no survey.json and no assembly.json; name a survey file",
                            for_message(given.string(), 400)));
    }
    const std::string where = for_message(path.string(), 400);
    const fs::path folder = path.parent_path();
    EYELET_ASSIGN(const std::string text, read_text_file(path));
    EYELET_ASSIGN(const json document, parse_json_text(text, where));
    if (is_assembly(document)) {
        const auto load = [&](const std::string& file) { return read_text_file(folder / file); };
        const auto board_done = [&](Survey& survey, std::size_t first_photo, const std::string& file) {
            return check_photo_files(survey, first_photo, (folder / file).parent_path(), file);
        };
        EYELET_ASSIGN(Survey survey, several_boards(document, where, load, board_done));
        return finish(std::move(survey), where);
    }
    EYELET_ASSIGN(Survey survey, single_board(document, where));
    EYELET_TRY(check_photo_files(survey, 0, folder, where));
    return finish(std::move(survey), where);
}

std::string survey_json(const Survey& survey, BoardIndex board_index) {
    const Assembly& assembly = survey.assembly;
    const Board& board = assembly.board(board_index);
    OrderedJson out;
    out["schema"] = kBoardSchema;
    out["slug"] = assembly.boards.size() > 1 ? board.name.text() : assembly.name;
    out["units"] = "mm";
    out["size"] = json_of(board.size_mm);
    out["outline"] = OrderedJson::array();
    for (const Point p : board.outline) out["outline"].push_back(json_of(p));
    out["joints"] = OrderedJson::array();
    for (std::size_t i = 0; i < assembly.joints.size(); ++i) {
        const Joint& joint = assembly.joints[i];
        if (joint.board != board_index) continue;
        OrderedJson item;
        item["id"] = local_id(survey, JointIndex(i));
        item["kind"] = joint.kind == JointKind::via ? "via" : "pad";
        item["ref"] = joint.part.valid() ? assembly.part(joint.part).name.text() : "";
        item["pin"] = joint.pin;
        item["x"] = joint.hole.x;
        item["y"] = joint.hole.y;
        item["cx"] = joint.copper_centre.x;
        item["cy"] = joint.copper_centre.y;
        item["side"] = key_of_sides(joint.sides);
        item["plated"] = joint.plated;
        item["shape"] = key_of_shape(joint.shape);
        item["size"] = json_of(joint.pad_mm);
        item["rot"] = joint.rotation_deg;
        item["drill"] = joint.drill_mm ? json_of(*joint.drill_mm) : OrderedJson();
        out["joints"].push_back(std::move(item));
    }
    out["parts"] = OrderedJson::array();
    for (const Part& part : assembly.parts) {
        if (part.board != board_index) continue;
        OrderedJson item;
        item["ref"] = part.name.text();
        item["value"] = part.value;
        item["kind"] = part.kind;
        item["side"] = key_of(part.side);
        item["bbox"] = {part.body.low.x, part.body.low.y, part.body.high.x, part.body.high.y};
        item["joints"] = OrderedJson::array();
        for (const JointIndex joint : part.joints) item["joints"].push_back(local_id(survey, joint));
        out["parts"].push_back(std::move(item));
    }
    out["photos"] = OrderedJson::array();
    for (const SurveyPhoto& photo : survey.photos) {
        if (photo.board != board_index) continue;
        OrderedJson item;
        item["file"] = photo.file;
        item["side"] = key_of(photo.side);
        if (!photo.level.empty()) item["level"] = photo.level;
        item["width"] = photo.width_px;
        item["height"] = photo.height_px;
        item["tie_points"] = OrderedJson::array();
        for (const SurveyTiePoint& tie : photo.tie_points)
            item["tie_points"].push_back(
                {{"joint", local_id(survey, tie.joint)}, {"pixel", json_of(tie.pixel)}});
        out["photos"].push_back(std::move(item));
    }
    return out.dump(1) + "\n";
}

std::string assembly_json(const Survey& survey) {
    const Assembly& assembly = survey.assembly;
    OrderedJson out;
    out["schema"] = kAssemblySchema;
    out["name"] = assembly.name;
    if (!survey.complaint.empty()) out["complaint"] = survey.complaint;
    if (!survey.unit.empty()) out["unit"] = survey.unit;
    out["boards"] = OrderedJson::array();
    for (const Board& board : assembly.boards)
        out["boards"].push_back(
            {{"name", board.name.text()}, {"survey", board.name.text() + "/survey.json"}});
    out["cables"] = OrderedJson::array();
    for (const Cable& cable : assembly.cables) {
        OrderedJson conductors = OrderedJson::array();
        for (const Cable::Conductor& conductor : cable.conductors)
            conductors.push_back(
                {assembly.joint(conductor.from).name.text(), assembly.joint(conductor.to).name.text()});
        out["cables"].push_back({{"name", cable.name}, {"conductors", std::move(conductors)}});
    }
    return out.dump(1) + "\n";
}

Status write_survey(const Survey& survey, const fs::path& folder) {
    const bool several = survey.assembly.boards.size() > 1 || !survey.assembly.cables.empty() ||
                         !survey.unit.empty() || !survey.complaint.empty();
    const auto make_folder = [](const fs::path& path) -> Status {
        std::error_code error;
        fs::create_directories(path, error);
        if (error)
            return storage_error(
                fmt::format("{}: the folder cannot be made: {}", path.string(), error.message()));
        return {};
    };
    EYELET_TRY(make_folder(folder));
    if (!several) return write_text_file(folder / "survey.json", survey_json(survey, BoardIndex(0)));
    for (std::size_t i = 0; i < survey.assembly.boards.size(); ++i) {
        const fs::path place = folder / survey.assembly.boards[i].name.text();
        EYELET_TRY(make_folder(place));
        EYELET_TRY(write_text_file(place / "survey.json", survey_json(survey, BoardIndex(i))));
    }
    return write_text_file(folder / "assembly.json", assembly_json(survey));
}

}  // namespace eyelet
