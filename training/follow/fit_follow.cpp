// Fits and measures the judgement of links: see README.md in this folder.
#include <chrono>
#include <cmath>
#include <cstring>
#include <fstream>
#include <iostream>
#include <numeric>
#include <set>

#include <fmt/format.h>

#include "boosting.h"
#include "cases.h"
#include "eyelet/photo/likeliest_nets.h"
#include "eyelet/photo/side_examination.h"
#include "scoring.h"

using namespace eyelet;
using namespace eyelet::fitting;

namespace {

struct Drawn {  // one case with its candidates
    const Case* one = nullptr;
    struct Item {
        Sample sample;
        Link link;
        double least_pass = 0;
    };
    std::vector<Item> items;
};

std::vector<int> directions() {
    std::vector<int> d(kLinkFeatureCount, 0);
    const auto up = [&](LinkFeature f) { d[static_cast<std::size_t>(f)] = 1; };
    const auto down = [&](LinkFeature f) { d[static_cast<std::size_t>(f)] = -1; };
    up(LinkFeature::least_pass);
    down(LinkFeature::doubt);
    down(LinkFeature::contacts);
    up(LinkFeature::least_seen);
    up(LinkFeature::second_least_seen);
    up(LinkFeature::least_narrow);
    up(LinkFeature::mean_log_odds);
    down(LinkFeature::gap_px);
    down(LinkFeature::longest_gap_px);
    down(LinkFeature::deficit);
    down(LinkFeature::bend_at_hidden);
    down(LinkFeature::width_change_at_hidden);
    down(LinkFeature::longest_hidden_mm);
    up(LinkFeature::ring_best_low);
    down(LinkFeature::behind_best);
    return d;
}

}  // namespace

int main(int argc, char** argv) {
    std::string boards = "../shared/boards";
    std::string real;
    std::string evidence = "masks";
    std::string only;
    std::string fit_on = "thru-hole-psu-a,thru-hole-psu-b,thru-hole-synth-a";
    std::string out;
    bool by_pass = false;
    bool fit_all = false;
    double join = 0.5;
    double bridge = 0.5;
    BoostingOptions boosting;
    for (int i = 1; i < argc; ++i) {
        const std::string a = argv[i];
        const auto next = [&] { return std::string(argv[++i]); };
        if (a == "--boards") boards = next();
        else if (a == "--real") real = next();
        else if (a == "--evidence") evidence = next();
        else if (a == "--only") only = next();
        else if (a == "--fit-on") fit_on = next();
        else if (a == "--out") out = next();
        else if (a == "--by-pass") by_pass = true;
        else if (a == "--fit-all") fit_all = true;
        else if (a == "--trees") boosting.trees = std::stoi(next());
        else if (a == "--depth") boosting.depth = std::stoi(next());
        else if (a == "--join") join = std::stod(next());
        else if (a == "--bridge") bridge = std::stod(next());
        else { std::cerr << "unknown option " << a << "\n"; return 2; }
    }
    const EvidenceFrom from = evidence == "masks" ? EvidenceFrom::masks
                              : evidence == "degraded" ? EvidenceFrom::degraded_masks : EvidenceFrom::folder;
    std::vector<Case> cases = load_cases(boards, from, evidence);
    if (!real.empty())
        for (Case& one : load_cases(real, from, evidence)) cases.push_back(std::move(one));
    if (!only.empty())
        std::erase_if(cases, [&](const Case& one) { return one.name().find(only) == std::string::npos; });
    if (from == EvidenceFrom::masks) std::erase_if(cases, [](const Case& one) { return one.level != "bare" && one.level != "damaged" && one.level != "real"; });

    std::vector<Drawn> drawn;
    double seconds = 0;
    for (const Case& one : cases) {
        Drawn d;
        d.one = &one;
        const auto start = std::chrono::steady_clock::now();
        for (const SideEvidence& side : one.sides) {
            const SideExamination examination = examine_side(one.assembly, side, {});
            for (const DescribedCandidate& c : examination.candidates) {
                Drawn::Item item;
                item.sample.features.assign(c.features.begin(), c.features.end());
                item.link.from = examination.joints[c.candidate.a];
                item.link.to = examination.joints[c.candidate.b];
                item.link.side = side.side;
                item.least_pass = c.candidate.least_pass;
                item.sample.yes = one.net[item.link.from.raw()] == one.net[item.link.to.raw()];
                d.items.push_back(std::move(item));
            }
            if (!only.empty())
                fmt::print("{} side {}: {} regions, {} pads, {} contacts, {} crossings, {} candidates\n", one.name(), key_of(side.side),
                           examination.regions.regions, examination.regions.pads, examination.regions.contacts.size(),
                           examination.regions.crossings.size(), examination.candidates.size());
        }
        seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
        drawn.push_back(std::move(d));
    }
    fmt::print("{} cases, {:.2f} s each\n", cases.size(), seconds / cases.size());

    const auto may_fit = [&](const Case& one) {
        return one.level != "real" && (fit_all || fit_on.find(one.layout) != std::string::npos || one.layout.starts_with("made"));
    };
    std::set<std::string> layouts;
    for (const Case& one : cases) layouts.insert(one.layout);
    boosting.direction = directions();
    const auto fit_without = [&](const std::string& layout) {
        std::vector<const Sample*> samples;
        for (const Drawn& d : drawn)
            if (d.one->layout != layout && may_fit(*d.one))
                for (const auto& item : d.items) samples.push_back(&item.sample);
        return fit_trees(samples, boosting);
    };
    if (by_pass) {
        for (Drawn& d : drawn)
            for (auto& item : d.items) item.link.probability = item.least_pass >= 0 ? 0.99 : 0.02;
    } else {
        FittedTrees whole = fit_without("");
        std::vector<std::pair<double, int>> gains;
        for (std::size_t f = 0; f < kLinkFeatureCount; ++f) gains.emplace_back(whole.gain[f], static_cast<int>(f));
        std::sort(gains.rbegin(), gains.rend());
        fmt::print("gain: ");
        for (int i = 0; i < 20; ++i) fmt::print("{}:{:.0f} ", gains[i].second, gains[i].first);
        fmt::print("\n");
        for (const std::string& layout : layouts) {
            bool fitted_on = false;
            for (const Case& one : cases) fitted_on |= one.layout == layout && may_fit(one);
            const FittedTrees trees = fitted_on ? fit_without(layout) : whole;
            for (Drawn& d : drawn)
                if (d.one->layout == layout)
                    for (auto& item : d.items) item.link.probability = trees.view().probability(item.sample.features);
        }
        if (!out.empty()) {
            std::ofstream file(out);
            file << "// Written by training/follow (fit_follow --out); do not edit.\n"
                 << "// Boosted trees over LinkFeatures: the probability that the two joints are in the same net.\n"
                 << fmt::format("// Fitted on {} candidates of: {}.\n", [&] { int n = 0; for (auto& d : drawn) if (may_fit(*d.one)) n += d.items.size(); return n; }(), fit_on)
                 << "#include \"eyelet/photo/link_model.h\"\n\n#include <array>\n\nnamespace eyelet {\n\nnamespace {\n\n"
                 << fmt::format("constexpr std::array<TreeNode, {}> kNodes{{{{\n", whole.nodes.size());
            for (std::size_t i = 0; i < whole.nodes.size(); ++i) {
                const TreeNode& n = whole.nodes[i];
                file << (i % 5 == 0 ? "    " : " ")
                     << fmt::format("{{{}, {}, {}, {:.6g}F}},", n.feature, n.low, n.high, n.value).replace(0, 0, "")
                     << (i % 5 == 4 || i + 1 == whole.nodes.size() ? "\n" : "");
            }
            file << fmt::format("}}}};\nconstexpr std::array<int, {}> kRoots{{{{\n    ", whole.roots.size());
            for (std::size_t i = 0; i < whole.roots.size(); ++i)
                file << whole.roots[i] << "," << (i % 16 == 15 ? "\n    " : " ");
            file << "\n}};\n" << fmt::format("constexpr double kBase = {:.6g};\n", whole.base_log_odds)
                 << "\n}  // namespace\n\nconst TreeModel& link_model() {\n    static const TreeModel model{kNodes, kRoots, kBase};\n"
                 << "    return model;\n}\n\n}  // namespace eyelet\n";
        }
    }

    fmt::print("{:<28}{:<10}{:>6}{:>6}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}\n", "board", "level", "links", "sure", "true", "area", "covers", "all", "prec", "rec", "F1", "best");
    std::map<std::string, std::vector<double>> f1_of;
    std::map<std::string, std::pair<int, int>> sure_of;
    std::map<std::string, Reliability> reliability;
    for (Drawn& d : drawn) {
        std::vector<Link> links;
        for (const auto& item : d.items)
            if (item.link.probability >= 0.01) {
                links.push_back(item.link);
            }
        const std::string held = may_fit(*d.one) ? "" : "*";
        for (const auto& item : d.items)
            if (item.link.probability >= 0.01) {
                reliability[d.one->level].add(item.link.probability, item.sample.yes);
                if (!held.empty()) reliability[d.one->level + "*"].add(item.link.probability, item.sample.yes);
            }
        const LinkScore ls = score_links(*d.one, links);
        const PairScore ps = score_nets(*d.one, likeliest_nets(d.one->assembly, links, {join, bridge, 4}));
        std::vector<Link> best = links;
        for (Link& link : best) link.probability = d.one->net[link.from.raw()] == d.one->net[link.to.raw()] ? 1 : 0;
        if (!only.empty()) {  // joins that no link gives
            for (std::size_t side = 0; side < 2; ++side) {
                std::map<int, std::map<std::size_t, std::vector<std::size_t>>> groups;
                std::vector<std::size_t> parent(d.one->net.size());
                std::iota(parent.begin(), parent.end(), std::size_t{0});
                const auto root = [&](std::size_t j) { while (parent[j] != j) j = parent[j]; return j; };
                for (const Link& link : links)
                    if ((*link.side == Side::component) == (side == 0) && d.one->net[link.from.raw()] == d.one->net[link.to.raw()]) parent[root(link.from.raw())] = root(link.to.raw());
                for (std::size_t j = 0; j < parent.size(); ++j)
                    if (d.one->area[side][j] > 0) groups[d.one->area[side][j]][root(j)].push_back(j);
                for (auto& [area, parts] : groups)
                    if (parts.size() > 1) {
                        fmt::print("side {} area {}:", side, area);
                        for (auto& [r, members] : parts) fmt::print(" [{} of {} at {:.1f},{:.1f}]", d.one->assembly.joints[members[0]].name.text(), members.size(), d.one->assembly.joints[members[0]].hole.x, d.one->assembly.joints[members[0]].hole.y);
                        fmt::print("\n");
                    }
            }
        }
        const PairScore bs = score_nets(*d.one, likeliest_nets(d.one->assembly, best));
        fmt::print("{:<28}{:<10}{:>6}{:>6}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{}\n", d.one->layout, d.one->level, ls.links, ls.sure,
                   ls.sure ? double(ls.sure_true) / ls.sure : 1.0, ls.sure ? double(ls.sure_same_area) / ls.sure : 1.0, ls.sure_covers, ls.all_cover,
                   ps.precision, ps.recall, ps.f1, bs.f1, held);
        f1_of[d.one->level].push_back(ps.f1);
        sure_of[d.one->level].first += ls.sure_true;
        sure_of[d.one->level].second += ls.sure;
        if (!held.empty()) {
            f1_of[d.one->level + "*"].push_back(ps.f1);
            sure_of[d.one->level + "*"].first += ls.sure_true;
            sure_of[d.one->level + "*"].second += ls.sure;
        }
    }
    for (const auto& [level, list] : f1_of)
        fmt::print("{:<12} mean F1 {:.3f}   sure {}/{} = {:.4f}\n", level, std::accumulate(list.begin(), list.end(), 0.0) / list.size(),
                   sure_of[level].first, sure_of[level].second, double(sure_of[level].first) / std::max(1, sure_of[level].second));
    for (const auto& [level, table] : reliability) {
        table.print(level);
        fmt::print("  worst tenth of 50 or more: {:.3f}\n", table.worst(50));
    }
}
