// Fits and measures the judgement of links: see README.md in this folder.
#include <chrono>
#include <cmath>
#include <cstring>
#include <fstream>
#include <iostream>
#include <numeric>
#include <set>
#include <array>

#include <fmt/format.h>

#include "boosting.h"
#include "drawn.h"
#include "eyelet/photo/likeliest_nets.h"
#include "eyelet/photo/net_groups.h"
#include "scoring.h"

using namespace eyelet;
using namespace eyelet::fitting;

namespace {

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

// Joins that greedy joining by `judge` comes to, each with whether most pairs of joints across share a net.
void draw_joins(const Drawn& d, const std::function<double(const JoinFeatures&)>& judge, double least, std::vector<Sample>& samples) {
    NetGroups groups(d.assembly, d.links());
    join_greedily(groups, judge, least, [&](std::size_t a, std::size_t b, const JoinFeatures& features) {
        std::map<int, std::pair<double, double>> nets;
        double all_a = 0;
        double all_b = 0;
        for (const JointIndex j : groups.members(a)) ++nets[d.net[j.raw()]].first, ++all_a;
        for (const JointIndex j : groups.members(b)) ++nets[d.net[j.raw()]].second, ++all_b;
        double same = 0;
        for (const auto& [net, n] : nets) same += n.first * n.second;
        Sample sample;
        sample.features.assign(features.begin(), features.end());
        sample.yes = same > 0.5 * all_a * all_b;
        sample.weight = static_cast<float>(std::log2(1 + all_a * all_b));
        samples.push_back(std::move(sample));
    });
}

double by_best_link(const JoinFeatures& features) { return features[static_cast<std::size_t>(JoinFeature::best)]; }

std::vector<std::vector<JointIndex>> group(const Drawn& d, const std::function<double(const JoinFeatures&)>& judge, double least) {
    NetGroups groups(d.assembly, d.links());
    join_greedily(groups, judge, least);
    return groups.all();
}

void write_table(const std::string& path, const std::string& function, const std::string& what, const std::string& count,
                 const std::string& fitted_on, const FittedTrees& trees) {
    std::ofstream file(path);
    file << "// Written by training/follow (fit_follow --out); do not edit.\n// " << what << ".\n"
         << fmt::format("// {} trees, fitted by gradient boosting on {} of these layouts at all their levels:\n//   {}.\n",
                        trees.roots.size(), count, fitted_on)
         << "// training/follow/README.md holds the figures of layouts left out.\n"
         << "#include <array>\n\n#include \"eyelet/photo/link_model.h\"\n\nnamespace eyelet {\n\nnamespace {\n\n"
         << fmt::format("constexpr std::array<TreeNode, {}> kNodes{{{{\n", trees.nodes.size());
    for (std::size_t i = 0; i < trees.nodes.size(); ++i) {
        const TreeNode& n = trees.nodes[i];
        std::string value = fmt::format("{:.6g}", n.value);
        if (value.find_first_of(".e") == std::string::npos) value += ".0";
        file << (i % 5 == 0 ? "    " : " ") << fmt::format("{{{}, {}, {}, {}F}},", n.feature, n.low, n.high, value)
             << (i % 5 == 4 || i + 1 == trees.nodes.size() ? "\n" : "");
    }
    file << fmt::format("}}}};\nconstexpr std::array<int, {}> kRoots{{{{\n", trees.roots.size());
    for (std::size_t i = 0; i < trees.roots.size(); ++i)
        file << (i % 16 == 0 ? "    " : " ") << trees.roots[i] << ","
             << (i % 16 == 15 || i + 1 == trees.roots.size() ? "\n" : "");
    file << "}};\n" << fmt::format("constexpr double kBaseLogOdds = {:.6g};\n", trees.base_log_odds)
         << "\n}  // namespace\n\nconst TreeModel& " << function
         << "() {\n    static const TreeModel model{kNodes, kRoots, kBaseLogOdds};\n    return model;\n}\n\n}  // namespace eyelet\n";
}

}  // namespace

int main(int argc, char** argv) {
    setvbuf(stdout, nullptr, _IOLBF, 0);
    std::string boards = "../shared/boards";
    std::string real;
    std::string evidence = "masks";
    std::string only;
    std::string fit_on = "thru-hole-psu-a,thru-hole-psu-b,thru-hole-synth-a";
    std::string out;
    std::string keep_in;
    std::string cache;
    std::string made_boards;
    bool draw_only = false;
    float made_weight = 1;
    double first_least = 0.15;
    double second_least = 0.15;
    std::string show;
    double most_of_case = 800;
    int made = 0;
    unsigned first_made = 70000;
    std::string load_from;
    bool by_pass = false;
    bool fit_all = false;
    double join = 0.15;
    BoostingOptions boosting;
    for (int i = 1; i < argc; ++i) {
        const std::string a = argv[i];
        const auto next = [&] { return std::string(argv[++i]); };
        if (a == "--boards") boards = next();
        else if (a == "--real") real = next();
        else if (a == "--evidence") evidence = next();
        else if (a == "--only") only = next();
        else if (a == "--fit-on") fit_on = next();
        else if (a == "--made") made = std::stoi(next());
        else if (a == "--keep") keep_in = next();
        else if (a == "--cache") cache = next();
        else if (a == "--made-boards") made_boards = next();
        else if (a == "--draw-only") draw_only = true;
        else if (a == "--kept") load_from = next();
        else if (a == "--out") out = next();
        else if (a == "--by-pass") by_pass = true;
        else if (a == "--fit-all") fit_all = true;
        else if (a == "--show") show = next();
        else if (a == "--join-least") { first_least = std::stod(next()); second_least = std::stod(next()); }
        else if (a == "--case-weight") most_of_case = std::stod(next());
        else if (a == "--rate") boosting.rate = std::stod(next());
        else if (a == "--ridge") boosting.ridge = std::stod(next());
        else if (a == "--made-weight") made_weight = std::stof(next());
        else if (a == "--least") boosting.least_weight = std::stod(next());
        else if (a == "--trees") boosting.trees = std::stoi(next());
        else if (a == "--depth") boosting.depth = std::stoi(next());
        else if (a == "--join") join = std::stod(next());
        else { std::cerr << "unknown option " << a << "\n"; return 2; }
    }
    const EvidenceFrom from = evidence == "masks" ? EvidenceFrom::masks
                              : evidence == "degraded" ? EvidenceFrom::degraded_masks : EvidenceFrom::folder;
    std::vector<Drawn> drawn;
    if (!load_from.empty()) {
        drawn = kept(load_from);
        if (!only.empty()) std::erase_if(drawn, [&](const Drawn& d) { return d.name().find(only) == std::string::npos; });
    } else {
        const auto start = std::chrono::steady_clock::now();
        for (const std::string& folder : {boards, real, made_boards}) {
            if (folder.empty()) continue;
            const auto file_of = [&](const std::string& layout, const std::string& level) {
                return cache.empty() ? std::string() : fmt::format("{}/{}_{}.kept", cache, layout, level);
            };
            std::vector<std::pair<std::string, std::string>> names;
            for (const auto& entry : std::filesystem::directory_iterator(folder))
                for (const char* level : {"bare", "populated", "poor", "damaged", "real"})
                    if (std::filesystem::exists(entry.path() / fmt::format("survey_{}.json", level)))
                        names.emplace_back(entry.path().filename().string(), level);
            std::sort(names.begin(), names.end());
            for (const auto& [layout, level] : names) {
                if (!only.empty() && (layout + " " + level).find(only) == std::string::npos) continue;
                if (from == EvidenceFrom::masks && (level == "poor" || level == "populated")) continue;
                const std::string file = file_of(layout, level);
                if (!file.empty() && std::filesystem::exists(file)) {
                    drawn.push_back(std::move(kept(file).front()));
                    continue;
                }
                const auto this_one = [&](const std::string& l, const std::string& v) { return l == layout && v == level; };
                const std::vector<Case> cases = load_cases(folder, from, evidence, this_one);
                if (cases.empty()) continue;
                const std::vector<Case> masks = load_cases(folder, EvidenceFrom::masks, {}, this_one);
                drawn.push_back(draw(cases.front(), direct_pairs(masks.front(), Side::component), direct_pairs(masks.front(), Side::solder)));
                fmt::print("{}: {} candidates\n", drawn.back().name(), drawn.back().items.size());
                if (!file.empty()) keep({drawn.back()}, file);
            }
        }
        fmt::print("{} cases in {:.1f} s\n", drawn.size(), std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
        for (int i = 0; i < made; ++i) {
            const std::string file = cache.empty() ? "" : fmt::format("{}/degraded-{}.kept", cache, first_made + static_cast<unsigned>(i));
            if (!file.empty() && std::filesystem::exists(file)) {
                drawn.push_back(std::move(kept(file).front()));
                continue;
            }
            const Case one = std::move(made_cases(1, first_made + static_cast<unsigned>(i)).front());
            if (one.assembly.boards[0].size_mm.width * one.assembly.boards[0].size_mm.height > 12000) continue;
            drawn.push_back(draw(one, direct_pairs(one, Side::component), direct_pairs(one, Side::solder)));
            if (!file.empty()) keep({drawn.back()}, file);
        }
        if (!keep_in.empty()) keep(drawn, keep_in);
    }
    if (draw_only) return 0;
    // What is left out together: a layout, or one in four of the invented ones.
    const auto fold_of = [](const std::string& layout) {
        return layout.starts_with("made-") ? fmt::format("made-fold-{}", std::stoul(layout.substr(5)) / 3 % 4) : layout;
    };
    const auto may_fit = [&](const auto& one) {
        return one.level != "real" && (fit_all || fit_on.find(one.layout) != std::string::npos || one.layout.starts_with("made"));
    };
    std::set<std::string> layouts;
    for (const Drawn& d : drawn) layouts.insert(fold_of(d.layout));
    // Of the many candidates that are plainly none, one in four stands for all.
    for (Drawn& d : drawn)
        for (std::size_t i = 0; i < d.items.size(); ++i) {
            Sample& sample = d.items[i].sample;
            if (!sample.yes && sample.features[static_cast<std::size_t>(LinkFeature::doubt)] > 2.5F) sample.weight = i % 4 == 0 ? 4.0F : 0.0F;
        }
    // Invented boards are many and alike; what the pixel model misses on boards that people laid out counts for more.
    for (Drawn& d : drawn)
        if (d.layout.starts_with("made-"))
            for (auto& item : d.items) item.sample.weight *= made_weight;
    // Doubtful sides have many times the candidates of clean ones; no case is to outweigh the others by that.
    for (Drawn& d : drawn) {
        double total = 0;
        for (const auto& item : d.items) total += item.sample.weight;
        const float factor = static_cast<float>(std::min(1.0, most_of_case / std::max(1.0, total)));
        for (auto& item : d.items) item.sample.weight *= factor;
    }
    boosting.direction = directions();
    const auto fit_without = [&](const std::string& layout) {
        std::vector<const Sample*> samples;
        for (const Drawn& d : drawn)
            if (fold_of(d.layout) != layout && may_fit(d))
                for (const auto& item : d.items)
                    if (item.sample.weight > 0) samples.push_back(&item.sample);
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
            for (const Drawn& d : drawn) fitted_on |= fold_of(d.layout) == layout && may_fit(d);
            const FittedTrees trees = fitted_on ? fit_without(layout) : whole;
            for (Drawn& d : drawn)
                if (fold_of(d.layout) == layout)
                    for (auto& item : d.items) item.link.probability = trees.view().probability(item.sample.features);
        }
        if (!out.empty()) {
            int n = 0;
            for (const Drawn& d : drawn)
                if (may_fit(d)) n += static_cast<int>(d.items.size());
            write_table(out + "/link_model_table.cpp", "link_model",
                        "Boosted trees over LinkFeatures: the probability that the two joints are in the same net",
                        fmt::format("{} candidates", n), fit_on, whole);
        }
        for (const Drawn& d : drawn)
            if (d.name() == show)
                for (const auto& item : d.items) {
                    const auto f = [&](LinkFeature k) { return item.sample.features[static_cast<std::size_t>(k)]; };
                    fmt::print("show {} {:.3f} {} {} {} pass {:.2f} contacts {} length {:.1f} rise {:.1f} cross {:.1f} median {:.1f} field {:.2f} doubt {:.2f} width {:.2f} better {} behind {:.1f} vias {}\n", item.sample.yes ? "true" : "false",
                               item.link.probability, d.assembly.joint(item.link.from).name.text(), d.assembly.joint(item.link.to).name.text(),
                               key_of(*item.link.side), f(LinkFeature::least_pass), f(LinkFeature::contacts), f(LinkFeature::length_mm),
                               f(LinkFeature::ring_rise_low), f(LinkFeature::ring_cross_rise_low), f(LinkFeature::ring_median_low), f(LinkFeature::ring_field_low),
                               f(LinkFeature::doubt_at_least), f(LinkFeature::width_mm), f(LinkFeature::others_better), f(LinkFeature::behind_best), f(LinkFeature::vias));
                }
        // Joining of groups, on the links as judged without the layout in question.
        BoostingOptions for_joins;
        for_joins.trees = 80;
        for_joins.depth = 4;
        for_joins.least_weight = 40;
        for_joins.feature_share = 0.8;
        for_joins.direction.assign(kJoinFeatureCount, 0);
        for (const JoinFeature f : {JoinFeature::best, JoinFeature::second, JoinFeature::third, JoinFeature::likely}) for_joins.direction[static_cast<std::size_t>(f)] = 1;
        for (const JoinFeature f : {JoinFeature::shorted, JoinFeature::shorted_share}) for_joins.direction[static_cast<std::size_t>(f)] = -1;
        std::vector<std::vector<Sample>> joins(drawn.size());
        const auto fit_joins = [&](const std::string& layout) {
            std::vector<const Sample*> samples;
            for (std::size_t i = 0; i < drawn.size(); ++i)
                if (fold_of(drawn[i].layout) != layout && may_fit(drawn[i]))
                    for (const Sample& sample : joins[i]) samples.push_back(&sample);
            return fit_trees(samples, for_joins);
        };
        for (std::size_t i = 0; i < drawn.size(); ++i)
            if (may_fit(drawn[i])) draw_joins(drawn[i], by_best_link, first_least, joins[i]);
        {
            const FittedTrees first = fit_joins("");
            const auto judge = [&](const JoinFeatures& features) { return first.view().probability(features); };
            for (std::size_t i = 0; i < drawn.size(); ++i)
                if (may_fit(drawn[i])) draw_joins(drawn[i], judge, second_least, joins[i]);
        }
        const FittedTrees whole_joins = fit_joins("");
        std::map<std::string, std::map<double, std::vector<double>>> f1_at;
        fmt::print("gain of joins: ");
        for (std::size_t f = 0; f < kJoinFeatureCount; ++f) fmt::print("{}:{:.0f} ", f, whole_joins.gain[f]);
        fmt::print("\n");
        for (const std::string& layout : layouts) {
            bool fitted_on = false;
            for (const Drawn& d : drawn) fitted_on |= fold_of(d.layout) == layout && may_fit(d);
            const FittedTrees trees = fitted_on ? fit_joins(layout) : whole_joins;
            const auto judge = [&](const JoinFeatures& features) { return trees.view().probability(features); };
            for (Drawn& d : drawn)
                if (fold_of(d.layout) == layout) {
                    d.nets = group(d, judge, join);
                    if (d.name() == show) {
                        NetGroups g(d.assembly, d.links());
                        join_greedily(g, judge, join);
                        std::map<int, std::vector<std::size_t>> by_net;
                        for (std::size_t j = 0; j < d.net.size(); ++j)
                            if (g.root(j) == j) by_net[d.net[j]].push_back(j);
                        for (auto& [net, roots] : by_net) {
                            if (roots.size() < 3) continue;
                            fmt::print("show net {}:", net);
                            for (std::size_t r : roots) fmt::print(" {}({})", d.assembly.joints[r].name.text(), g.members(r).size());
                            fmt::print("\n");
                            for (std::size_t x : roots)
                                for (std::size_t y : roots)
                                    if (x < y && (g.members(x).size() > 3 || g.members(y).size() > 3)) {
                                        const JoinFeatures f = g.features(x, y);
                                        if (f[0] > 0.1) { fmt::print("show   {}-{} judged {:.2f}:", d.assembly.joints[x].name.text(), d.assembly.joints[y].name.text(), judge(f)); for (float v : f) fmt::print(" {:.2f}", v); fmt::print("\n"); }
                                    }
                        }
                        for (const double t : {0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8}) fmt::print("show plain {:.1f}: F1 {:.3f}\n", t, score_nets(d, group(d, by_best_link, t)).f1);
                    }
                    for (const double t : {0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6})
                        for (const std::string& key : {d.layout.starts_with("made-") ? std::string() : may_fit(d) ? d.level : d.level + "*"})
                            if (!key.empty()) f1_at[key][t].push_back(score_nets(d, group(d, judge, t)).f1);
                }
        }
        if (!out.empty()) {
            std::size_t n = 0;
            for (const auto& list : joins) n += list.size();
            write_table(out + "/join_model_table.cpp", "join_model",
                        "Boosted trees over JoinFeatures: the probability that most pairs of joints across two groups share a net",
                        fmt::format("{} joinings", n), fit_on, whole_joins);
        }
        for (const auto& [level, at] : f1_at) {
            fmt::print("mean F1 {:<12} joined at", level);
            for (const auto& [t, list] : at) fmt::print("  {:.2f}: {:.3f}", t, std::accumulate(list.begin(), list.end(), 0.0) / list.size());
            fmt::print("\n");
        }
        // Leads, on the links as judged without the layout in question.
        for (Drawn& d : drawn) d.settle_leads();
        BoostingOptions for_leads = boosting;
        for_leads.direction.clear();
        for_leads.depth = 4;
        for_leads.trees = 100;
        const auto fit_leads = [&](const std::string& layout) {
            std::vector<const Sample*> samples;
            for (const Drawn& d : drawn)
                if (fold_of(d.layout) != layout && may_fit(d))
                    for (const auto& lead : d.leads) samples.push_back(&lead.sample);
            return fit_trees(samples, for_leads);
        };
        const FittedTrees whole_leads = fit_leads("");
        for (const std::string& layout : layouts) {
            bool fitted_on = false;
            for (const Drawn& d : drawn) fitted_on |= fold_of(d.layout) == layout && may_fit(d);
            const FittedTrees trees = fitted_on ? fit_leads(layout) : whole_leads;
            for (Drawn& d : drawn)
                if (fold_of(d.layout) == layout)
                    for (auto& lead : d.leads) lead.probability = trees.view().probability(lead.sample.features);
        }
        if (!out.empty()) {
            int n = 0;
            for (const Drawn& d : drawn)
                if (may_fit(d)) n += static_cast<int>(d.leads.size());
            write_table(out + "/lead_model_table.cpp", "lead_model",
                        "Boosted trees over LeadFeatures: the probability that the joint has a link that is in no list",
                        fmt::format("{} joints' sides", n), fit_on, whole_leads);
        }
        fmt::print("\nleads: joints' sides, of them truly with a missing link; share of those flagged and share flagged in vain at\n");
        fmt::print("{:<28}{:<10}{:>6}{:>6} {:>14}{:>14}{:>14}{:>14}{:>14}\n", "board", "level", "all", "miss", "0.005", "0.01", "0.02", "0.05", "0.1");
        std::map<std::string, std::array<int, 12>> sums;
        const std::array<double, 5> marks{0.005, 0.01, 0.02, 0.05, 0.1};
        const auto line = [&](const std::string& name, const std::string& level, const std::array<int, 12>& n) {
            fmt::print("{:<28}{:<10}{:>6}{:>6} ", name, level, n[0], n[1]);
            for (int k = 0; k < 5; ++k)
                fmt::print("{:>7.3f}{:>7.3f}", n[1] ? double(n[2 + 2 * k]) / n[1] : 1.0, double(n[3 + 2 * k]) / std::max(1, n[0] - n[1]));
            fmt::print("\n");
        };
        for (const Drawn& d : drawn) {
            std::array<int, 12> n{};
            for (const auto& lead : d.leads) {
                ++n[0];
                n[1] += lead.sample.yes;
                for (int k = 0; k < 5; ++k)
                    if (lead.probability >= marks[k]) ++n[lead.sample.yes ? 2 + 2 * k : 3 + 2 * k];
            }
            line(d.layout, d.level, n);
            for (const std::string& key : {d.level, may_fit(d) ? std::string() : d.level + "*"})
                if (!key.empty())
                    for (int k = 0; k < 12; ++k) sums[key][k] += n[k];
        }
        for (const auto& [level, n] : sums) line("sum", level, n);
        fmt::print("\n");
    }

    fmt::print("{:<28}{:<10}{:>6}{:>6}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}{:>7}\n", "board", "level", "links", "sure", "true", "area", "covers", "all", "prec", "rec", "F1", "at .7", "best");
    std::map<std::string, std::vector<double>> f1_of;
    std::map<std::string, std::pair<int, int>> sure_of;
    std::map<std::string, Reliability> reliability;
    for (Drawn& d : drawn) {
        std::vector<Link> links;
        for (const auto& item : d.items)
            if (item.link.probability >= 0.01) {
                links.push_back(item.link);
            }
        const std::string held = may_fit(d) ? "" : "*";
        for (const auto& item : d.items)
            if (item.link.probability >= 0.01) {
                reliability[d.level].add(item.link.probability, item.sample.yes);
                if (!held.empty()) reliability[d.level + "*"].add(item.link.probability, item.sample.yes);
            }
        const LinkScore ls = score_links(d, links);
        const PairScore ps = score_nets(d, by_pass ? group(d, by_best_link, 0.5) : d.nets);
        std::vector<Link> best = links;
        for (Link& link : best) link.probability = d.net[link.from.raw()] == d.net[link.to.raw()] ? 1 : 0;
        if (!only.empty()) {  // joins that no link gives
            for (std::size_t side = 0; side < 2; ++side) {
                std::map<int, std::map<std::size_t, std::vector<std::size_t>>> groups;
                std::vector<std::size_t> parent(d.net.size());
                std::iota(parent.begin(), parent.end(), std::size_t{0});
                const auto root = [&](std::size_t j) { while (parent[j] != j) j = parent[j]; return j; };
                for (const Link& link : links)
                    if ((*link.side == Side::component) == (side == 0) && d.net[link.from.raw()] == d.net[link.to.raw()]) parent[root(link.from.raw())] = root(link.to.raw());
                for (std::size_t j = 0; j < parent.size(); ++j)
                    if (d.area[side][j] > 0) groups[d.area[side][j]][root(j)].push_back(j);
                for (auto& [area, parts] : groups)
                    if (parts.size() > 1) {
                        fmt::print("side {} area {}:", side, area);
                        for (auto& [r, members] : parts) fmt::print(" [{} of {} at {:.1f},{:.1f}]", d.assembly.joints[members[0]].name.text(), members.size(), d.assembly.joints[members[0]].hole.x, d.assembly.joints[members[0]].hole.y);
                        fmt::print("\n");
                    }
            }
        }
        const PairScore plain = score_nets(d, group(d, by_best_link, 0.7));
        const PairScore bs = score_nets(d, [&] { NetGroups g(d.assembly, best); join_greedily(g, by_best_link, 0.5); return g.all(); }());
        fmt::print("{:<28}{:<10}{:>6}{:>6}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{:>7.3f}{}\n", d.layout, d.level, ls.links, ls.sure,
                   ls.sure ? double(ls.sure_true) / ls.sure : 1.0, ls.sure ? double(ls.sure_same_area) / ls.sure : 1.0, ls.sure_covers, ls.all_cover,
                   ps.precision, ps.recall, ps.f1, plain.f1, bs.f1, held);
        f1_of[d.level].push_back(ps.f1);
        sure_of[d.level].first += ls.sure_true;
        sure_of[d.level].second += ls.sure;
        if (!held.empty()) {
            f1_of[d.level + "*"].push_back(ps.f1);
            sure_of[d.level + "*"].first += ls.sure_true;
            sure_of[d.level + "*"].second += ls.sure;
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
