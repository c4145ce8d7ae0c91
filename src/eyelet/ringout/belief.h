// What ring-out believes: which joints readings have tied together, what was read open between those groups, and
// how likely any two groups still share a net. Internal to the engine; the words are those of ring_out.h.
//
// Everything here is a function of the readings as a multiset: groups are found by union, counts are added up
// per pair of joints, and sums run in the order of joints, so an engine that replays a journal (in any order)
// holds bit for bit the same belief.
//
// The proposals. Their probabilities are calibrated over many boards, but not on this one. What readings have shown of
// links of like probability corrects the rest: with J joined and O open where E_J and E_O were expected, their odds are
// multiplied by ((a + J) / (a + E_J)) / ((a + O) / (a + E_O)), the ratio of two Gamma-Poisson means, a = 2. A link whose
// ends likelier links join already counts in neither: most weak proposals that are true are of that sort, and they say
// nothing of how often a weak link joins what nothing else does.
//
// The unseen links. A *site* is a place from which copper may leave to somewhere unseen: one for each lead, and
// one (weak) for each pad, for what was missed in plain sight. Site i has strength r_i, the probability that it has
// such a link. Given that it has, the other end is site k with probability K(d_ik) r_k / U_i, U_i the sum over k,
// K(d) = 1 / (1 + (d / d0)^2): the links of real two-layer boards (seven were measured) have a length that is
// nearly uniform in the logarithm of the neighbour's rank, which in the plane is a density falling as d^-2.
// A group that falls into c parts when only proposed links count has 2 (c - 1) ends of unseen links among its sites; they
// are shared out by r_i sum K r_k / U_i over the sites of other parts, and give f_i, the probability that lead i has found
// its partner. With D_i = (1 - r_i) + r_i sum_k K r_k L_k / U_i over the rest, L_k = contact_miss for each open between
// i's and k's groups, the intensity of unseen links between two sites of different groups is K s_i s_k L_k with
// s_i = r_i sqrt(q_i / U_i), q_i = (1 - f_i) / D_i + f_i second_link / r_i: the geometric mean of what the two ends say;
// where q_i > 1 (others were ruled out) its root is left out, because the other end may carry no lead to say it. Leads are
// corrected by experience as links are: s_i times the square root of (a + found) / (a + tested) for its kind.
#pragma once

#include <algorithm>
#include <cstdint>
#include <set>
#include <unordered_map>
#include <vector>

#include "eyelet/ringout/ring_out.h"

namespace eyelet::ringing {

using Id = std::uint32_t;
constexpr Id kNone = 0xffffffffU;

struct PairReadings {
    std::uint16_t joined = 0;
    std::uint16_t open = 0;
    std::uint16_t unclear = 0;  // between the thresholds, or a beep that is not taken as copper
    std::uint16_t beeps = 0;    // of `joined`
    // A joined reading may be a needle that slipped onto its neighbour; two opens outvote it.
    [[nodiscard]] bool is_copper() const { return joined > 0 && open < 2 * joined; }
};

struct Between {  // two groups
    std::uint32_t open = 0;
    std::uint32_t unclear = 0;
};

struct Neighbour {
    Id joint = 0;
    double probability = 0;  // as proposed
    std::uint8_t decile = 0;
};

struct GroupEdge {
    Id group = 0;
    double probability = 0;
};

struct Site {
    Id owner = 0;        // a pad
    float x = 0;         // boards are set far apart
    float y = 0;
    double strength = 0; // r
    bool lead = false;
    std::uint8_t kind = 0;  // by strength: what readings show of unseen links corrects each kind by itself
    double norm = 0;     // U
    // Of its unseen links, as many were to be expected: outside its group (opens taken into account), inside where
    // proposed links join already, inside where nothing else does, and in all that was read.
    double outside = 0, inside = 0, partner = 0, tested = 0;
    double found = 0;    // probability that it has found its partner
};

class Belief {
  public:
    Belief(const Assembly& assembly, const Proposals& proposals, const RingOptions& options);

    void read(Id a, Id b, const Said& said);  // recorded; call settle() before asking anything
    void set_unreachable(Id joint);
    void clear();                              // forget all readings and what could not be reached
    void settle();

    [[nodiscard]] Id joints() const { return static_cast<Id>(touchable_.size()); }
    [[nodiscard]] bool is_pad(Id joint) const { return pad_[joint]; }
    [[nodiscard]] bool is_touchable(Id joint) const { return touchable_[joint]; }
    [[nodiscard]] Id group(Id joint) const { return group_[joint]; }
    [[nodiscard]] const std::vector<Id>& members(Id group) const { return members_[group]; }  // in joint order
    [[nodiscard]] bool has_touchable(Id group) const { return touchable_members_[group] > 0; }
    [[nodiscard]] Between between(Id group_a, Id group_b) const;
    [[nodiscard]] const std::unordered_map<std::uint64_t, PairReadings>& pairs() const { return pairs_; }
    [[nodiscard]] const PairReadings* pair(Id a, Id b) const;
    [[nodiscard]] const std::vector<Neighbour>& neighbours(Id joint) const { return neighbours_[joint]; }
    [[nodiscard]] bool alone(Id group) const { return members_[group].size() == 1; }
    [[nodiscard]] bool dark() const { return dark_; }
    // Plain copper is proposed between them (chain of links of a half or more).
    // A proposed probability as experience with this board's readings corrects it.
    [[nodiscard]] double corrected(double probability) const {
        return weaken(probability, correction_[decile_of(probability)]);
    }
    [[nodiscard]] bool plainly_joined(Id a, Id b) const { return plain_part_[a] == plain_part_[b]; }
    [[nodiscard]] double evidence_factor(Between between) const;
    // All joints of an odds p/(1-p) weakened by a factor. Many links between two nets round to p = 1, many opens to
    // a factor of 0; the least doubt keeps 0/0 away.
    [[nodiscard]] static double weaken(double probability, double factor) {
        constexpr double kLeastDoubt = 1e-15;
        const double odds = probability * factor;
        return odds / (std::max(1 - probability, kLeastDoubt) + odds);
    }

    // Probability that each group shares a net with `source`, into `row` (one value a group id, 0 for its own,
    // for vias and for groups that no probe reaches). Groups that proposals lead to are marked in `by_link`.
    struct Row {
        std::vector<double> probability;
        std::vector<double> by_link;  // the same where a chain of proposed links says it, else 0
        std::vector<Id> reached;      // groups, vias included, that chains of links reach
    };
    void row(Id source, Row& out) const;
    // Direct proposed links out of a group, opens taken into account.
    [[nodiscard]] const std::vector<GroupEdge>& edges(Id group) const;

  private:
    [[nodiscard]] static std::uint64_t key(Id a, Id b) {
        return a < b ? (std::uint64_t{a} << 32) | b : (std::uint64_t{b} << 32) | a;
    }
    [[nodiscard]] static std::uint8_t decile_of(double probability);
    void join(Id a, Id b);
    void regroup();
    void weigh_sites(Id group);
    void add_kernel(float x, float y, float weight) const;
    void add_site_kernel(const Site& site, float weight) const;
    void judge_proposals();
    void judge_leads();
    void forget_edges_around(Id group);

    double contact_miss_;
    double copper_below_ohm_;
    double open_above_ohm_;
    BeepMeans beep_;
    UnseenPrior prior_;
    bool dark_ = false;
    double missed_joined_ = 0;

    std::vector<char> pad_;
    std::vector<char> touchable_;
    std::vector<std::vector<Neighbour>> neighbours_;
    struct ProposedLink {
        Id a = 0, b = 0;
        double probability = 0;
    };
    std::vector<ProposedLink> likeliest_first_;
    static constexpr std::size_t kDeciles = 14;
    double correction_[kDeciles] = {};
    static constexpr std::size_t kLeadKinds = 4;
    float lead_correction_[kLeadKinds] = {};
    std::vector<float> site_weight_;  // s with that correction
    std::vector<Id> plain_part_;      // by links of 0.5 or more
    std::vector<std::vector<Id>> listed_;  // joints that a proposal links to each joint
    std::vector<Site> sites_;          // in the order of their owners
    // The same as plain arrays, for the loops that take all the time.
    std::vector<float> site_x_, site_y_, site_s_, site_strength_;
    std::vector<std::vector<Id>> sites_of_;  // by joint

    std::unordered_map<std::uint64_t, PairReadings> pairs_;
    std::vector<Id> group_;
    std::vector<std::vector<Id>> members_;
    std::vector<Id> touchable_members_;
    std::vector<std::unordered_map<Id, Between>> between_;  // by group
    bool regroup_ = true;
    std::vector<char> changed_;  // groups whose sites must be weighed again
    std::vector<Id> changed_list_;

    mutable std::vector<std::vector<GroupEdge>> edges_;
    mutable std::vector<char> edges_known_;
    // scratch
    std::vector<Id> parent_;
    std::vector<Id> part_;
    std::set<Id> seen_part_;
    mutable std::vector<float> sum_;
    mutable std::vector<double> best_;
    mutable std::vector<double> factor_;
};

}  // namespace eyelet::ringing
