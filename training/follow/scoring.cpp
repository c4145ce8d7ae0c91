#include "scoring.h"

#include <cmath>
#include <numeric>
#include <set>

#include <fmt/format.h>

namespace eyelet::fitting {

PairScore score_nets(const Drawn& one, const std::vector<std::vector<JointIndex>>& nets) {
    std::map<int, double> truth;
    double given = 0;
    double both = 0;
    for (std::size_t j = 0; j < one.assembly.joints.size(); ++j)
        if (one.assembly.joints[j].kind == JointKind::pad) ++truth[one.net[j]];
    for (const auto& net : nets) {
        std::map<int, double> parts;
        double size = 0;
        for (const JointIndex j : net)
            if (one.assembly.joint(j).kind == JointKind::pad) {
                ++parts[one.net[j.raw()]];
                ++size;
            }
        given += size * (size - 1) / 2;
        for (const auto& [t, n] : parts) both += n * (n - 1) / 2;
    }
    double real = 0;
    for (const auto& [t, n] : truth) real += n * (n - 1) / 2;
    PairScore score;
    score.precision = given > 0 ? both / given : 1;
    score.recall = real > 0 ? both / real : 1;
    score.f1 = given + real > 0 ? 2 * both / (given + real) : 1;
    return score;
}

LinkScore score_links(const Drawn& one, const std::vector<Link>& links) {
    LinkScore score;
    std::vector<int> sure(one.net.size());
    std::iota(sure.begin(), sure.end(), 0);
    std::vector<int> all = sure;
    const auto root = [](std::vector<int>& parent, int j) {
        while (parent[j] != j) j = parent[j] = parent[parent[j]];
        return j;
    };
    for (const Link& link : links) {
        const int a = link.from.raw();
        const int b = link.to.raw();
        const bool yes = one.net[a] == one.net[b];
        ++score.links;
        const std::vector<int>& area = one.area[*link.side == Side::component ? 0 : 1];
        if (link.probability > 0.9) {
            ++score.sure;
            score.sure_true += yes;
            score.sure_same_area += area[a] == area[b];
        }
        if (!yes) continue;
        all[root(all, a)] = root(all, b);
        if (link.probability > 0.9) sure[root(sure, a)] = root(sure, b);
    }
    std::set<int> nets(one.net.begin(), one.net.end());
    std::set<int> sure_groups;
    std::set<int> all_groups;
    for (std::size_t j = 0; j < one.net.size(); ++j) {
        sure_groups.insert(root(sure, static_cast<int>(j)));
        all_groups.insert(root(all, static_cast<int>(j)));
    }
    const double joins = static_cast<double>(one.net.size() - nets.size());
    score.sure_covers = (one.net.size() - sure_groups.size()) / joins;
    score.all_cover = (one.net.size() - all_groups.size()) / joins;
    return score;
}

void Reliability::add(double probability, bool yes) {
    Tenth& tenth = tenths[std::min(9, static_cast<int>(probability * 10))];
    ++tenth.links;
    tenth.sum += probability;
    tenth.yes += yes;
}

void Reliability::print(const std::string& title) const {
    fmt::print("{}:\n  said ", title);
    for (const Tenth& t : tenths) fmt::print("{:>7.3f}", t.links ? t.sum / t.links : 0);
    fmt::print("\n  true ");
    for (const Tenth& t : tenths) fmt::print("{:>7.3f}", t.links ? double(t.yes) / t.links : 0);
    fmt::print("\n  n    ");
    for (const Tenth& t : tenths) fmt::print("{:>7}", t.links);
    fmt::print("\n");
}

double Reliability::worst(int least_links) const {
    double worst = 0;
    for (const Tenth& t : tenths)
        if (t.links >= least_links) worst = std::max(worst, std::abs(t.sum - t.yes) / t.links);
    return worst;
}

}  // namespace eyelet::fitting
