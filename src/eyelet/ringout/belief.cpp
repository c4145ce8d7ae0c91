// The loops over all sites are worth the compiler's vector units, which -O2 leaves unused.
#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif

#include "eyelet/ringout/belief.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <queue>

namespace eyelet::ringing {
namespace {

constexpr double kUnclearFactor = 0.1;   // a reading between the thresholds speaks against copper, weakly
constexpr double kSurelyFound = 0.98;    // never surer than this that a lead found its partner
constexpr double kChainCutoff = 0.001;   // chains of links less likely than this are not followed
constexpr double kDecileEdges[] = {0.02, 0.035, 0.06, 0.1, 0.15, 0.25, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95, 0.98};
constexpr double kCorrectionPrior = 2;    // a: as many joins (and opens) as if seen before
constexpr double kLeastCorrection = 0.1;  // a board may be unlike others, but not by more than this either way
constexpr double kLeadPrior = 5;          // the same for leads, in ends of links
// What is read first lies near and is plain to see, so that little is found there says little about the rest.
constexpr double kLeastLeadCorrection = 0.5;
constexpr double kExplains = 0.1;
constexpr double kListed = 0.01;          // between two joints that readings joined, even this explains the join
constexpr double kPlain = 0.5;
constexpr double kBoardsApart_mm = 1e5;
constexpr double kStrongest = 0.9995;    // no photograph is surer than this

Id root(std::vector<Id>& parent, Id i) {
    while (parent[i] != i) i = parent[i] = parent[parent[i]];
    return i;
}

std::vector<Id> parts_joined(const std::vector<std::vector<Neighbour>>& neighbours, double at_least) {
    std::vector<Id> parent(neighbours.size());
    std::iota(parent.begin(), parent.end(), Id{0});
    for (Id i = 0; i < neighbours.size(); ++i)
        for (const Neighbour& n : neighbours[i])
            if (n.probability >= at_least) {
                const Id a = root(parent, i), b = root(parent, n.joint);
                if (a != b) parent[std::max(a, b)] = std::min(a, b);
            }
    for (Id i = 0; i < parent.size(); ++i) parent[i] = root(parent, i);
    return parent;
}

// The pad that each via most likely belongs to, with that probability.
std::vector<std::pair<Id, double>> homes_of_vias(const std::vector<std::vector<Neighbour>>& neighbours,
                                                 const std::vector<char>& pad) {
    std::vector<std::pair<Id, double>> home(pad.size(), {kNone, 0});
    using Step = std::tuple<double, Id, Id>;  // probability, joint, home
    std::priority_queue<Step> queue;
    for (Id i = 0; i < pad.size(); ++i)
        if (pad[i]) queue.emplace(1.0, i, i);
    while (!queue.empty()) {
        const auto [p, joint, from] = queue.top();
        queue.pop();
        if (home[joint].first != kNone) continue;
        home[joint] = {from, p};
        for (const Neighbour& n : neighbours[joint])
            if (!pad[n.joint] && home[n.joint].first == kNone) queue.emplace(p * n.probability, n.joint, from);
    }
    return home;
}

}  // namespace

Belief::Belief(const Assembly& assembly, const Proposals& proposals, const RingOptions& options)
    : contact_miss_(options.contact_miss), copper_below_ohm_(options.copper_below_ohm),
      open_above_ohm_(options.open_above_ohm), beep_(options.beep), prior_(options.unseen) {
    const std::size_t n = assembly.joints.size();
    pad_.resize(n);
    touchable_.resize(n);
    neighbours_.resize(n);
    sites_of_.resize(n);
    dark_ = proposals.links.empty() && proposals.leads.empty();
    for (std::size_t i = 0; i < n; ++i) pad_[i] = assembly.joints[i].kind == JointKind::pad;

    static_assert(std::size(kDecileEdges) + 1 == kDeciles);
    const auto add_link = [&](JointIndex from, JointIndex to, double probability) {
        if (from == to || probability <= 0) return;
        const double p = std::min(probability, kStrongest);
        neighbours_[from.raw()].push_back({to.raw(), p, decile_of(p)});
        neighbours_[to.raw()].push_back({from.raw(), p, decile_of(p)});
        likeliest_first_.push_back({from.raw(), to.raw(), p});
    };
    std::unordered_map<std::uint64_t, char> linked;
    for (std::size_t i = 0; i < proposals.links.size(); ++i) {
        const Link& link = proposals.links[i];
        add_link(link.from, link.to, link.probability);
        linked[key(link.from.raw(), link.to.raw())] = 1;
    }
    for (const Cable& cable : assembly.cables)
        for (const Cable::Conductor& c : cable.conductors)
            if (!linked.contains(key(c.from.raw(), c.to.raw()))) add_link(c.from, c.to, options.cable_probability);
    std::stable_sort(likeliest_first_.begin(), likeliest_first_.end(),
                     [](const ProposedLink& a, const ProposedLink& b) { return a.probability > b.probability; });
    plain_part_ = parts_joined(neighbours_, kPlain);

    const auto home = homes_of_vias(neighbours_, pad_);
    const auto add_site = [&](Id owner, const Joint& at, Point p, double strength, bool lead) {
        Site site;
        site.owner = owner;
        site.x = static_cast<float>(p.x + kBoardsApart_mm * at.board.raw());
        site.y = static_cast<float>(p.y);
        site.strength = std::min(strength, 0.999);
        site.lead = lead;
        site.kind = static_cast<std::uint8_t>(strength < 0.03 ? 0 : strength < 0.1 ? 1 : strength < 0.3 ? 2 : 3);
        sites_.push_back(site);
    };
    std::vector<char> has_lead(n);
    double led = 0, pads = 0;
    for (const Lead& lead : proposals.leads) {
        const auto [owner, p] = home[lead.joint.raw()];
        if (owner == kNone || lead.probability <= 0) continue;
        const Joint& at = assembly.joint(lead.joint);
        has_lead[owner] = 1;
        add_site(owner, at, lead.last_seen.value_or(at.hole), lead.probability * p, true);
        led += lead.probability * p;
    }
    for (char is_pad : pad_) pads += is_pad;
    const double missed = std::max(prior_.missed_at_least, prior_.lead_omitted * led / std::max(pads, 1.0));
    missed_joined_ = missed * prior_.joined_factor;
    for (Id i = 0; i < n; ++i) {
        if (!pad_[i]) continue;
        if (dark_) {
            add_site(i, assembly.joints[i], assembly.joints[i].hole, prior_.dark, true);
            continue;
        }
        bool joined = has_lead[i];
        for (const Neighbour& link : neighbours_[i]) joined = joined || link.probability >= kExplains;
        add_site(i, assembly.joints[i], assembly.joints[i].hole, missed * (joined ? prior_.joined_factor : prior_.alone_factor), false);
    }
    std::stable_sort(sites_.begin(), sites_.end(), [](const Site& a, const Site& b) { return a.owner < b.owner; });
    for (Id i = 0; i < sites_.size(); ++i) sites_of_[sites_[i].owner].push_back(i);
    listed_.resize(n);
    for (Id i = 0; i < n; ++i) {
        for (const Neighbour& neighbour : neighbours_[i]) listed_[i].push_back(neighbour.joint);
        std::sort(listed_[i].begin(), listed_[i].end());
        listed_[i].erase(std::unique(listed_[i].begin(), listed_[i].end()), listed_[i].end());
    }
    for (const Site& site : sites_) {
        site_x_.push_back(site.x);
        site_y_.push_back(site.y);
        site_strength_.push_back(static_cast<float>(site.strength));
    }
    site_s_.assign(sites_.size(), 0);
    sum_.resize(sites_.size());
    for (Site& site : sites_) {
        std::fill(sum_.begin(), sum_.end(), 0.0F);
        add_site_kernel(site, 1);
        double sum = 0;
        for (std::size_t k = 0; k < sites_.size(); ++k)
            if (sites_[k].owner != site.owner) sum += static_cast<double>(sum_[k] * site_strength_[k]);
        site.norm = std::max(sum, 1e-12);
    }
    clear();
    settle();
}

void Belief::clear() {
    pairs_.clear();
    std::fill(std::begin(correction_), std::end(correction_), 1.0);
    touchable_ = pad_;
    regroup_ = true;
}

void Belief::set_unreachable(Id joint) {
    touchable_[joint] = 0;
    regroup_ = true;
}

double Belief::evidence_factor(Between b) const {
    return std::pow(contact_miss_, b.open) * std::pow(kUnclearFactor, b.unclear);
}

Between Belief::between(Id a, Id b) const {
    const auto& smaller = between_[a].size() <= between_[b].size() ? between_[a] : between_[b];
    const auto found = smaller.find(between_[a].size() <= between_[b].size() ? b : a);
    return found == smaller.end() ? Between{} : found->second;
}

const PairReadings* Belief::pair(Id a, Id b) const {
    const auto found = pairs_.find(key(a, b));
    return found == pairs_.end() ? nullptr : &found->second;
}

void Belief::read(Id a, Id b, const Said& said) {
    PairReadings& pair = pairs_[key(a, b)];
    const bool was_copper = pair.is_copper();
    Between more;
    if (const auto* ohms = std::get_if<Ohms>(&said)) {
        if (ohms->value < copper_below_ohm_) ++pair.joined;
        else if (ohms->value >= open_above_ohm_) ++pair.open, ++more.open;
        else ++pair.unclear, ++more.unclear;
    } else if (std::holds_alternative<Open>(said)) {
        ++pair.open, ++more.open;
    } else if (beep_ == BeepMeans::copper) {
        ++pair.joined, ++pair.beeps;
    } else {
        ++pair.unclear, ++more.unclear;
    }
    const bool is_copper = pair.is_copper();
    if (regroup_) return;
    if (was_copper && !is_copper) {
        regroup_ = true;
        return;
    }
    const Id ga = group_[a], gb = group_[b];
    for (Id g : {ga, gb})
        if (!changed_[g]) changed_[g] = 1, changed_list_.push_back(g);
    if (ga != gb && (more.open || more.unclear)) {
        for (const auto& [x, y] : {std::pair{ga, gb}, std::pair{gb, ga}}) {
            Between& entry = between_[x][y];
            entry.open += more.open;
            entry.unclear += more.unclear;
        }
        edges_known_[ga] = edges_known_[gb] = 0;
    }
    if (!was_copper && is_copper) join(ga, gb);
}

void Belief::forget_edges_around(Id g) {
    edges_known_[g] = 0;
    for (Id m : members_[g])
        for (const Neighbour& n : neighbours_[m]) edges_known_[group_[n.joint]] = 0;
}

void Belief::join(Id a, Id b) {
    if (a == b) return;
    forget_edges_around(a);
    forget_edges_around(b);
    if (b < a) std::swap(a, b);  // a group is called after its first joint, whatever the order of the readings
    for (Id m : members_[b]) group_[m] = a;
    std::vector<Id> merged;
    merged.reserve(members_[a].size() + members_[b].size());
    std::merge(members_[a].begin(), members_[a].end(), members_[b].begin(), members_[b].end(), std::back_inserter(merged));
    members_[a] = std::move(merged);
    members_[b].clear();
    members_[b].shrink_to_fit();
    touchable_members_[a] += touchable_members_[b];
    touchable_members_[b] = 0;
    // What read open against one of them is open against all of the other's joints too.
    for (Id g : {a, b})
        for (const auto& [other, count] : between_[g])
            if (!changed_[other]) changed_[other] = 1, changed_list_.push_back(other);
    for (const auto& [other, count] : between_[b]) {
        between_[other].erase(b);
        if (other == a) continue;
        for (Between* entry : {&between_[a][other], &between_[other][a]}) {
            entry->open += count.open;
            entry->unclear += count.unclear;
        }
    }
    between_[b].clear();
    if (!changed_[a]) changed_[a] = 1, changed_list_.push_back(a);
}

void Belief::regroup() {
    const Id n = joints();
    std::vector<Id> parent(n);
    std::iota(parent.begin(), parent.end(), Id{0});
    for (const auto& [k, pair] : pairs_)
        if (pair.is_copper()) {
            const Id a = root(parent, static_cast<Id>(k >> 32)), b = root(parent, static_cast<Id>(k & 0xffffffffU));
            if (a != b) parent[std::max(a, b)] = std::min(a, b);
        }
    group_.assign(n, 0);
    members_.assign(n, {});
    touchable_members_.assign(n, 0);
    between_.assign(n, {});
    for (Id i = 0; i < n; ++i) {
        group_[i] = root(parent, i);
        members_[group_[i]].push_back(i);
        touchable_members_[group_[i]] += touchable_[i] ? 1 : 0;
    }
    for (const auto& [k, pair] : pairs_) {
        const Id a = group_[k >> 32], b = group_[k & 0xffffffffU];
        if (a == b || (!pair.open && !pair.unclear)) continue;
        for (Between* entry : {&between_[a][b], &between_[b][a]}) {
            entry->open += pair.open;
            entry->unclear += pair.unclear;
        }
    }
    edges_.assign(n, {});
    edges_known_.assign(n, 0);
    changed_.assign(n, 0);
    changed_list_.clear();
    for (Id i = 0; i < n; ++i)
        if (!members_[i].empty()) changed_[i] = 1, changed_list_.push_back(i);
    regroup_ = false;
}

std::uint8_t Belief::decile_of(double p) {
    return static_cast<std::uint8_t>(std::upper_bound(std::begin(kDecileEdges), std::end(kDecileEdges), p) - std::begin(kDecileEdges));
}

void Belief::judge_proposals() {
    double joined[kDeciles] = {}, open[kDeciles] = {}, expected_joined[kDeciles] = {}, expected_open[kDeciles] = {};
    std::vector<Id>& parent = parent_;
    parent.resize(joints());
    std::iota(parent.begin(), parent.end(), Id{0});
    for (const ProposedLink& link : likeliest_first_) {
        const Id a = group_[link.a], b = group_[link.b];
        double now = 1;
        if (!pad_[link.a] || !pad_[link.b]) {
            if (link.probability >= kExplains) parent[root(parent, link.a)] = root(parent, link.b);
            continue;
        }
        if (a == b) {
            const Id x = root(parent, link.a), y = root(parent, link.b);
            if (x == y) continue;
            parent[x] = y;
        } else {
            const Between read = between(a, b);
            if (!read.open && !read.unclear) continue;
            now = weaken(link.probability, evidence_factor(read));
        }
        const std::size_t d = decile_of(link.probability);
        joined[d] += now;
        open[d] += 1 - now;
        expected_joined[d] += link.probability;
        expected_open[d] += 1 - link.probability;
    }
    bool changed = false;
    for (std::size_t d = 0; d < kDeciles; ++d) {
        const double ratio = (kCorrectionPrior + joined[d]) / (kCorrectionPrior + expected_joined[d]) *
                             (kCorrectionPrior + expected_open[d]) / (kCorrectionPrior + open[d]);
        // In steps, so that small changes leave what was worked out before.
        const double stepped = std::exp2(std::round(std::log2(std::clamp(ratio, kLeastCorrection, 1 / kLeastCorrection)) * 8) / 8);
        if (stepped != correction_[d]) correction_[d] = stepped, changed = true;
    }
    if (changed) std::fill(edges_known_.begin(), edges_known_.end(), 0);
}

void Belief::judge_leads() {
    double found[kLeadKinds] = {}, tested[kLeadKinds] = {};
    for (const Site& site : sites_)
        if (site.lead) found[site.kind] += site.found, tested[site.kind] += site.tested;
    for (std::size_t k = 0; k < kLeadKinds; ++k) {
        const double ratio = std::max(kLeastLeadCorrection, (kLeadPrior + found[k]) / (kLeadPrior + tested[k]));
        lead_correction_[k] = dark_ ? 1 : static_cast<float>(std::exp2(std::round(std::log2(ratio) * 8) / 16));
    }
    site_weight_.resize(sites_.size());
    for (std::size_t k = 0; k < sites_.size(); ++k)
        site_weight_[k] = site_s_[k] * (sites_[k].lead ? lead_correction_[sites_[k].kind] : 1.0F);
}

void Belief::settle() {
    if (regroup_) regroup();
    judge_proposals();
    for (Id g : changed_list_) {
        if (!members_[g].empty()) weigh_sites(g);
        changed_[g] = 0;
    }
    changed_list_.clear();
    judge_leads();
}

// sum_[k] += weight K(distance from (x, y) to site k), for all k. Nearly all of the engine's time is spent here.
void Belief::add_kernel(float x, float y, float weight) const {
    const float inverse_scale = static_cast<float>(1 / (prior_.scale_mm * prior_.scale_mm));
    const float* const xs = site_x_.data();
    const float* const ys = site_y_.data();
    float* const sum = sum_.data();
    const std::size_t count = site_x_.size();
    for (std::size_t k = 0; k < count; ++k) {
        const float dx = x - xs[k], dy = y - ys[k];
        sum[k] += weight / (1 + (dx * dx + dy * dy) * inverse_scale);
    }
}

// The same for a site; the joints that proposals already link to its owner are no partners of an unseen link.
void Belief::add_site_kernel(const Site& site, float weight) const {
    add_kernel(site.x, site.y, weight);
    const float inverse_scale = static_cast<float>(1 / (prior_.scale_mm * prior_.scale_mm));
    for (Id listed : listed_[site.owner])
        for (Id k : sites_of_[listed]) {
            const float dx = site.x - site_x_[k], dy = site.y - site_y_[k];
            sum_[k] = std::max(0.0F, sum_[k] - weight / (1 + (dx * dx + dy * dy) * inverse_scale));
        }
}

void Belief::weigh_sites(Id g) {
    const double second = dark_ ? prior_.dark_second : prior_.second_link;
    factor_.assign(joints(), 1.0);
    for (const auto& [other, count] : between_[g]) factor_[other] = evidence_factor(count);
    // Parts of the group that no proposed link joins: each but the first was joined by a link that nobody saw.
    const std::vector<Id>& members = members_[g];
    part_.resize(joints());
    parent_.resize(joints());
    std::vector<Id> vias;
    for (Id m : members) parent_[m] = m;
    for (std::size_t i = 0; i < members.size() + vias.size(); ++i) {
        const Id here = i < members.size() ? members[i] : vias[i - members.size()];
        for (const Neighbour& n : neighbours_[here]) {
            if (n.probability < (pad_[n.joint] && pad_[here] ? kListed : kExplains)) continue;
            if (!pad_[n.joint]) {
                if (std::find(vias.begin(), vias.end(), n.joint) == vias.end()) {
                    vias.push_back(n.joint);
                    parent_[n.joint] = n.joint;
                }
            } else if (group_[n.joint] != g) {
                continue;
            }
            parent_[root(parent_, here)] = root(parent_, n.joint);
        }
    }
    double part_count = 0;
    for (Id m : members) {
        part_[m] = dark_ ? m : root(parent_, m);
        part_count += part_[m] == m || (!pad_[part_[m]] && seen_part_.insert(part_[m]).second) ? 1 : 0;
    }
    seen_part_.clear();
    const double ends_found = 2 * (part_count - 1);
    double all_partners = 0;
    for (Id m : members_[g])
        for (Id index : sites_of_[m]) {
            Site& site = sites_[index];
            std::fill(sum_.begin(), sum_.end(), 0.0F);
            site.outside = site.inside = site.partner = site.tested = 0;
            if (!site.lead && ends_found == 0) continue;
            add_site_kernel(site, 1);
            for (std::size_t k = 0; k < sites_.size(); ++k) {
                const Id owner = sites_[k].owner;
                if (owner == site.owner) continue;
                const double weight = static_cast<double>(sum_[k] * site_strength_[k]);
                const Id h = group_[owner];
                if (h != g) {
                    site.outside += weight * factor_[h];
                    site.tested += weight * (1 - factor_[h]);
                } else if (part_[owner] == part_[site.owner]) {
                    site.inside += weight;
                } else {
                    site.partner += weight;
                    site.tested += weight;
                }
            }
            const double scale = site.strength / site.norm;
            site.outside *= scale;
            site.inside *= scale;
            site.partner *= scale;
            site.tested *= scale;
            all_partners += site.partner;
        }
    for (Id m : members_[g])
        for (Id index : sites_of_[m]) {
            Site& site = sites_[index];
            const double r = site.strength;
            site.found = all_partners > 0 ? std::min(kSurelyFound, ends_found * site.partner / all_partners) : 0;
            if (site.lead) {
                const double open_minded = (1 - site.found) / ((1 - r) + site.outside + site.inside) + site.found * second / r;
                const double sharpened = open_minded > 1 ? open_minded : std::sqrt(open_minded);
                site_s_[index] = static_cast<float>(r * sharpened / std::sqrt(site.norm));
            } else {
                const double strength = alone(g) ? r : std::min(r, missed_joined_);
                site_s_[index] = static_cast<float>(strength / std::sqrt(site.norm));
            }
        }
}

const std::vector<GroupEdge>& Belief::edges(Id g) const {
    if (edges_known_[g]) return edges_[g];
    auto& list = edges_[g];
    list.clear();
    for (Id m : members_[g])
        for (const Neighbour& n : neighbours_[m]) {
            const Id h = group_[n.joint];
            if (h == g) continue;
            const double p = weaken(n.probability, correction_[n.decile]);
            auto found = std::find_if(list.begin(), list.end(), [&](const GroupEdge& e) { return e.group == h; });
            if (found == list.end()) list.push_back({h, p});
            else found->probability = 1 - (1 - found->probability) * (1 - p);
        }
    for (GroupEdge& edge : list) {
        const Between b = between(g, edge.group);
        if (b.open || b.unclear) edge.probability = weaken(edge.probability, evidence_factor(b));
    }
    edges_known_[g] = 1;
    return list;
}

void Belief::row(Id source, Row& out) const {
    const Id n = joints();
    out.probability.assign(n, 0);
    out.by_link.assign(n, 0);
    out.reached.clear();
    // Links that nobody saw.
    std::fill(sum_.begin(), sum_.end(), 0.0F);
    for (Id m : members_[source])
        for (Id index : sites_of_[m]) add_site_kernel(sites_[index], site_weight_[index]);
    for (std::size_t k = 0; k < sites_.size(); ++k)
        out.probability[group_[sites_[k].owner]] += static_cast<double>(sum_[k] * site_weight_[k]);
    factor_.assign(n, 1.0);
    for (const auto& [other, between] : between_[source]) factor_[other] = evidence_factor(between);
    for (Id g = 0; g < n; ++g) {
        if (g == source || out.probability[g] <= 0) {
            out.probability[g] = 0;
            continue;
        }
        const double odds = out.probability[g] * factor_[g];
        out.probability[g] = odds / (1 + odds);
    }
    // The best chain of links, cut where a reading said open: an edge straight from the source has its opens in it
    // already, a longer chain is weakened where it arrives at a group that read open against the source.
    using Step = std::pair<double, Id>;
    std::priority_queue<Step> queue;
    best_.resize(n, 0);
    const auto relax = [&](Id g, double p) {
        if (p <= best_[g]) return;
        if (best_[g] == 0) out.reached.push_back(g);
        best_[g] = p;
        queue.emplace(p, g);
    };
    relax(source, 1.0);
    for (Id g = 0; g < n; ++g)
        if (out.probability[g] > kChainCutoff) relax(g, out.probability[g]);
    while (!queue.empty()) {
        const auto [p, g] = queue.top();
        queue.pop();
        if (p < best_[g] || p < kChainCutoff) continue;
        for (const GroupEdge& edge : edges(g)) {
            if (edge.group == source) continue;
            double q = p * edge.probability;
            if (g != source && factor_[edge.group] < 1) q = weaken(q, factor_[edge.group]);
            relax(edge.group, q);
        }
    }
    for (Id g : out.reached) {
        if (g != source && touchable_members_[g] > 0 && best_[g] > out.probability[g]) {
            out.by_link[g] = best_[g];
            out.probability[g] = best_[g];
        }
        best_[g] = 0;
    }
    for (Id g = 0; g < n; ++g)
        if (touchable_members_[g] == 0) out.probability[g] = 0;
}

}  // namespace eyelet::ringing
