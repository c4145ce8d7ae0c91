// The whole ring-out rehearsed on boards with a known truth: gestures per floor, seconds, nets wrong.
// Usage: benchmark_ring_trial BOARDS_FOLDER [--level NAME]... [--miss P]... [--seeds N] [--risk R] [--board NAME]
#include <filesystem>
#include <fstream>
#include <iostream>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "eyelet/ringout/rehearsal.h"

namespace {

using namespace eyelet;
using nlohmann::json;

struct Known {
    std::string name;
    Assembly assembly;
    Truth truth;
};

Known load(const std::filesystem::path& file) {
    Known known;
    const json data = json::parse(std::ifstream(file));
    known.name = file.parent_path().filename().string();
    known.assembly.boards.push_back({BoardName("main"), {data["size"][0], data["size"][1]}, {}});
    std::map<std::string, std::uint32_t> index;
    std::map<std::string, PartIndex> parts;
    for (const json& p : data["parts"]) {
        parts.emplace(p["ref"], PartIndex(known.assembly.parts.size()));
        Part part;
        part.name = PartName(p["ref"]);
        part.board = BoardIndex(0);
        known.assembly.parts.push_back(part);
    }
    for (const json& j : data["joints"]) {
        Joint joint;
        joint.name = JointName(j["id"]);
        joint.board = BoardIndex(0);
        joint.kind = j["kind"] == "via" ? JointKind::via : JointKind::pad;
        joint.hole = joint.copper_centre = {j["x"], j["y"]};
        joint.sides = j["side"] == "both" ? JointSides::both : j["side"] == "top" ? JointSides::component : JointSides::solder;
        joint.plated = j.value("plated", true);
        joint.pad_mm = {j["size"][0], j["size"][1]};
        if (j.contains("ref") && j["ref"].is_string() && parts.contains(j["ref"])) {
            joint.part = parts[j["ref"]];
            known.assembly.parts[joint.part.raw()].joints.emplace_back(known.assembly.joints.size());
        }
        index[j["id"]] = static_cast<std::uint32_t>(known.assembly.joints.size());
        known.assembly.joints.push_back(joint);
    }
    known.truth.assign(index.size(), 0);
    std::uint32_t net = 0;
    for (const json& joints : data["nets"]) {
        for (const json& j : joints) known.truth[index.at(j)] = net;
        ++net;
    }
    return known;
}

// Proposals that were kept in a file: {"links":[[from,to,side,probability,hidden]],"leads":[[joint,side,probability,x,y]]}.
std::optional<Proposals> kept_proposals(const Known& board, const std::filesystem::path& file) {
    if (!std::filesystem::exists(file)) return std::nullopt;
    const json data = json::parse(std::ifstream(file));
    const auto joints = joints_by_name(board.assembly);
    Proposals proposals;
    for (const json& l : data["links"]) {
        Link link;
        link.from = joints.at(JointName(l[0]));
        link.to = joints.at(JointName(l[1]));
        link.side = side_from_key(l[2]);
        link.probability = l[3];
        link.hidden = l[4];
        proposals.links.push_back(link);
    }
    for (const json& l : data["leads"]) {
        Lead lead;
        lead.joint = joints.at(JointName(l[0]));
        lead.side = side_from_key(l[1]).value_or(Side::component);
        lead.probability = l[2];
        if (l.size() > 4) lead.last_seen = Point{l[3], l[4]};
        proposals.leads.push_back(lead);
    }
    return proposals;
}

// Which joins are missing, and what the proposals had said of them.
void tell_wrong(const Known& board, const Proposals& proposals, const RehearsalResult& r) {
    std::map<std::uint32_t, std::set<std::size_t>> nets;
    for (std::size_t i = 0; i < board.truth.size(); ++i)
        if (board.assembly.joints[i].kind == JointKind::pad) nets[board.truth[i]].insert(r.state.joints[i].net);
    for (const auto& [net, parts] : nets) {
        if (parts.size() < 2) continue;
        std::cout << "    missing join of net " << net << ":";
        for (std::size_t k : parts) std::cout << fmt::format(" {} ({})", r.state.nets[k].name, r.state.nets[k].joints.size());
        std::cout << "\n";
        for (std::size_t k = 0; k < proposals.links.size(); ++k) {
            const Link& l = proposals.links[k];
            if (board.truth[l.from.raw()] == net && board.truth[l.to.raw()] == net)
                std::cout << fmt::format("      link {} {} p {:.3f} now {:.5f} {}\n", board.assembly.joint(l.from).name.text(), board.assembly.joint(l.to).name.text(), l.probability, r.state.link_beliefs[k], name_of(r.state.links[k]));
        }
        for (const Lead& l : proposals.leads)
            if (board.truth[l.joint.raw()] == net) std::cout << fmt::format("      lead {} p {:.3f}\n", board.assembly.joint(l.joint).name.text(), l.probability);
    }
}

}  // namespace

int main(int argc, char** argv) {
    std::filesystem::path folder = argc > 1 ? argv[1] : ".";
    std::vector<std::string> levels, only;
    std::vector<double> misses;
    std::filesystem::path kept;
    int seeds = 1;
    RingOptions options;
    for (int i = 2; i + 1 < argc; i += 2) {
        const std::string key = argv[i], value = argv[i + 1];
        if (key == "--level") levels.push_back(value);
        if (key == "--miss") misses.push_back(std::stod(value));
        if (key == "--seeds") seeds = std::stoi(value);
        if (key == "--risk") options.risk = std::stod(value);
        if (key == "--omitted") options.unseen.lead_omitted = std::stod(value);
        if (key == "--least") options.unseen.missed_at_least = std::stod(value);
        if (key == "--alone") options.unseen.alone_factor = std::stod(value);
        if (key == "--joined") options.unseen.joined_factor = std::stod(value);
        if (key == "--second") options.unseen.second_link = std::stod(value);
        if (key == "--scale") options.unseen.scale_mm = std::stod(value);
        if (key == "--contact") options.contact_miss = std::stod(value);
        if (key == "--proposals") kept = value;
        if (key == "--board") only.push_back(value);
    }
    if (levels.empty()) levels = {"bare", "populated", "poor"};
    if (misses.empty()) misses = {0.0, 0.01};
    std::vector<Known> boards;
    for (const auto& entry : std::filesystem::directory_iterator(folder))
        if (std::filesystem::exists(entry.path() / "board.json"))
            if (only.empty() || std::find(only.begin(), only.end(), entry.path().filename().string()) != only.end())
                boards.push_back(load(entry.path() / "board.json"));
    std::sort(boards.begin(), boards.end(), [](const Known& a, const Known& b) { return a.name < b.name; });
    std::map<std::string, std::pair<double, int>> mean;
    for (const std::string& level : levels)
        for (const Known& board : boards)
            for (double miss : misses)
                for (int seed = 1; seed <= seeds; ++seed) {
                    std::mt19937_64 random(static_cast<std::uint64_t>(seed));
                    Proposals proposals;
                    if (level == "truth") proposals = rehearsed_proposals(board.assembly, board.truth, {1, 0, 0, 1}, random);
                    if (level == "bare") proposals = rehearsed_proposals(board.assembly, board.truth, RehearsedSight::bare(), random);
                    if (level == "populated") proposals = rehearsed_proposals(board.assembly, board.truth, RehearsedSight::populated(), random);
                    if (level == "poor") proposals = rehearsed_proposals(board.assembly, board.truth, RehearsedSight::poor(), random);
                    if (!kept.empty()) {
                        auto loaded = kept_proposals(board, kept / (board.name + "." + level + ".json"));
                        if (!loaded) continue;
                        proposals = std::move(*loaded);
                    }
                    const RehearsalResult r = rehearse(board.assembly, proposals, board.truth, options, miss, static_cast<std::uint64_t>(seed) * 7919);
                    const double ratio = static_cast<double>(r.gestures) / static_cast<double>(r.floor);
                    mean[level].first += ratio;
                    ++mean[level].second;
                    std::cout << fmt::format("{:9} {:24} miss {:.3f} seed {:2}  floor {:4} gestures {:5} ratio {:6.3f}  wrong {:2}  {:6.0f} s  left {:.4f} contradictions {:3} next median {:.2f} ms max {:.2f} ms\n",
                                             level, board.name, miss, seed, r.floor, r.gestures, ratio, r.nets_wrong, r.state.counts.seconds,
                                             r.state.expected_mistakes, r.state.contradictions.size(), r.median_s * 1e3, r.slowest_s * 1e3)
                              << std::flush;
                    if (r.nets_wrong) tell_wrong(board, proposals, r);
                    const char* names[] = {"proposal", "again", "hidden", "search", "contradiction", "apart"};
                    for (int k = 0; k < 6; ++k)
                        if (r.asked[k]) std::cout << fmt::format("    {:13} asked {:5} expected joins {:7.2f} found {:4}\n", names[k], r.asked[k], r.expected[k], r.joined[k]);
                }
    for (const auto& [level, sum] : mean) std::cout << fmt::format("mean {:10} {:.3f}\n", level, sum.first / sum.second);
}
