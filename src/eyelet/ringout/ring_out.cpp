#include "eyelet/ringout/ring_out.h"

#include <algorithm>
#include <cmath>
#include <deque>
#include <map>
#include <numeric>
#include <set>

#include <fmt/format.h>

#include "eyelet/ringout/belief.h"

namespace eyelet {

using ringing::Belief;
using ringing::Between;
using ringing::Id;
using ringing::kNone;
using ringing::PairReadings;

namespace {

// Score = expected joins over (1 + this x seconds): from the trial, near the best over boards.
constexpr double kCostPerSecond = 0.1;
constexpr double kSlip = 1e-3;           // a joined reading taken on a neighbour by a needle that slipped
constexpr double kAskAgainAbove = 0.02;  // contradiction: how likely the chain is wrong before it is worth a touch
constexpr double kContradictionWorth = 0.3;
constexpr double kApartWorth = 0.01;     // a pair to prove apart, beside expected joins
constexpr std::size_t kManyGroups = 300;
constexpr std::size_t kFewGroups = 120;
constexpr double kPlainEnough = 0.5;     // expected joins of a gesture that is surely worth making
constexpr int kMostRepeats = 4;
constexpr double kNegligible = 1e-12;
constexpr double kNeighbouring_mm = 5.08;
constexpr double kLikely = 0.5;
constexpr double kRefuted = 0.05;

// "R2" before "R10": digits compare as numbers.
bool natural_less(const std::string& a, const std::string& b) {
    const auto digit = [](char c) { return c >= '0' && c <= '9'; };
    std::size_t i = 0, k = 0;
    while (i < a.size() && k < b.size()) {
        if (digit(a[i]) && digit(b[k])) {
            std::size_t ie = i, ke = k;
            while (ie < a.size() && digit(a[ie])) ++ie;
            while (ke < b.size() && digit(b[ke])) ++ke;
            while (i < ie - 1 && a[i] == '0') ++i;
            while (k < ke - 1 && b[k] == '0') ++k;
            if (ie - i != ke - k) return ie - i < ke - k;
            for (; i < ie; ++i, ++k)
                if (a[i] != b[k]) return a[i] < b[k];
        } else {
            if (a[i] != b[k]) return a[i] < b[k];
            ++i, ++k;
        }
    }
    if (a.size() - i != b.size() - k) return a.size() - i < b.size() - k;
    return a < b;
}

std::string net_name(const Assembly& assembly, const std::vector<Id>& pads) {
    const auto part_size = [&](Id j) {
        const PartIndex part = assembly.joints[j].part;
        return part.valid() ? assembly.part(part).joints.size() : 0;
    };
    Id best = pads.front();
    for (Id j : pads) {
        const std::size_t size = part_size(j), best_size = part_size(best);
        if (size != best_size ? size > best_size
                              : natural_less(assembly.joints[j].name.text(), assembly.joints[best].name.text()))
            best = j;
    }
    return assembly.joints[best].name.text();
}

void put_in_order(std::vector<Net>& nets) {
    std::sort(nets.begin(), nets.end(), [](const Net& a, const Net& b) {
        return a.joints.size() != b.joints.size() ? a.joints.size() > b.joints.size() : natural_less(a.name, b.name);
    });
}

Id root(std::vector<Id>& parent, Id i) {
    while (parent[i] != i) i = parent[i] = parent[parent[i]];
    return i;
}

std::vector<JointIndex> in_name_order(const Assembly& assembly, const std::vector<Id>& pads) {
    std::vector<JointIndex> joints;
    for (Id j : pads) joints.emplace_back(j);
    std::sort(joints.begin(), joints.end(), [&](JointIndex a, JointIndex b) {
        return natural_less(assembly.joint(a).name.text(), assembly.joint(b).name.text());
    });
    return joints;
}

}  // namespace

const char* name_of(JointStanding standing) {
    switch (standing) {
        case JointStanding::proposed: return "proposed";
        case JointStanding::tied: return "tied";
        case JointStanding::proven: return "proven";
        case JointStanding::presumed: return "presumed";
        case JointStanding::unreachable: return "unreachable";
    }
    return "";
}

Status RingOptions::validate() const {
    const auto positive = [](double v) { return std::isfinite(v) && v > 0; };
    const auto not_negative = [](double v) { return std::isfinite(v) && v >= 0; };
    if (!positive(copper_below_ohm)) return bad_input("copper_below_ohm: must be a positive number of ohms");
    if (!positive(open_above_ohm) || open_above_ohm <= copper_below_ohm)
        return bad_input("open_above_ohm: must be a number of ohms above copper_below_ohm");
    if (!positive(risk) || risk >= 1e6) return bad_input("risk: must be a positive number of expected mistakes");
    if (!(contact_miss >= 1e-4 && contact_miss <= 0.2)) return bad_input("contact_miss: must lie from 0.0001 to 0.2");
    if (apart_mm && !positive(*apart_mm)) return bad_input("apart_mm: must be a positive number of millimetres");
    if (!(cable_probability >= 0 && cable_probability <= 1)) return bad_input("cable_probability: must lie from 0 to 1");
    if (!positive(sweep_gap_mm)) return bad_input("sweep_gap_mm: must be a positive number of millimetres");
    for (const auto& [name, value] : {std::pair{"place_held_s", costs.place_held_s}, {"place_moving_s", costs.place_moving_s},
                                      {"sweep_joint_s", costs.sweep_joint_s}, {"travel_s_per_mm", costs.travel_s_per_mm},
                                      {"flip_s", costs.flip_s}})
        if (!not_negative(value)) return bad_input(fmt::format("{}: must be a number of seconds, not negative", name));
    return {};
}

std::vector<Net> nets_from_links(const Assembly& assembly, const std::vector<Link>& links, double at_least) {
    const std::size_t n = assembly.joints.size();
    std::vector<Id> parent(n);
    std::iota(parent.begin(), parent.end(), Id{0});
    for (const Link& link : links)
        if (link.probability >= at_least) parent[root(parent, link.from.raw())] = root(parent, link.to.raw());
    std::map<Id, std::vector<Id>> pads;
    for (Id i = 0; i < n; ++i)
        if (assembly.joints[i].kind == JointKind::pad) pads[root(parent, i)].push_back(i);
    std::vector<Net> nets;
    for (const auto& [key, its] : pads)
        nets.push_back({net_name(assembly, its), NetStanding::proposed, in_name_order(assembly, its)});
    put_in_order(nets);
    return nets;
}

class RingOut::Engine {
  public:
    Engine(const Assembly& assembly, const Proposals& proposals, const RingOptions& options)
        : assembly_(assembly), links_(proposals.links), options_(options), belief_(assembly, proposals, options) {
        for (const Row& row : find_rows(assembly, options.sweep_gap_mm)) {
            RowOf r;
            r.side = row.side;
            for (JointIndex j : row.joints) r.joints.push_back(j.raw());
            for (std::size_t i = 1; i < r.joints.size(); ++i)
                r.gap_mm.push_back(distance(assembly.joints[r.joints[i - 1]].hole, assembly.joints[r.joints[i]].hole));
            rows_.push_back(std::move(r));
        }
        for (const Lead& lead : proposals.leads)
            if (lead.probability > 0.1) lead_of_.emplace(lead.joint.raw(), lead.side);
        find_near();
    }

    std::optional<Gesture> next() {
        if (!chosen_) {
            belief_.settle();
            pending_ = choose();
            chosen_ = true;
        }
        return pending_;
    }

    Result<Answered> answer(const Answer& given, const EntryName& entry) {
        const std::optional<Gesture> asked = next();
        if (!asked) return refused("nothing was asked: the ring-out is at its end");
        Answered yielded;
        if (const auto* skip = std::get_if<SkipAnswer>(&given)) {
            if (skip->joint.valid()) {
                bool named = skip->joint == asked->hold;
                for (JointIndex j : asked->along) named = named || j == skip->joint;
                if (!named) return bad_input("the joint that cannot be reached must be one of the gesture's");
            }
            yielded.skip = Skip{entry, asked->hold, asked->along, skip->joint, skip->reason, false};
            record(*yielded.skip);
            return yielded;
        }
        std::vector<Said> said;
        if (const auto* touch = std::get_if<TouchAnswer>(&given)) {
            if (asked->kind != Gesture::Kind::touch)
                return bad_input("a sweep was asked: the answer must say what each joint of it read");
            said = {touch->said};
        } else {
            if (asked->kind != Gesture::Kind::sweep) return bad_input("a touch was asked: the answer must be one reading");
            said = std::get<SweepAnswer>(given).said;
            if (said.size() != asked->along.size())
                return bad_input(fmt::format("the sweep has {} joints, the answer {} readings", asked->along.size(), said.size()));
        }
        for (const Said& s : said) EYELET_TRY(check(s));
        for (std::size_t i = 0; i < said.size(); ++i)
            yielded.readings.push_back({entry, asked->hold, asked->along[i], said[i], false});
        record(yielded.readings);
        return yielded;
    }

    static Status check(const Said& said) {
        if (const auto* ohms = std::get_if<Ohms>(&said); ohms && !(std::isfinite(ohms->value) && ohms->value > -1.0))
            return bad_input("ohms must be a finite number, not below zero by more than the leads' 1 ohm");
        return {};
    }
    Status check(const Reading& reading) const {
        for (JointIndex j : {reading.from, reading.to}) {
            if (j.raw() >= assembly_.joints.size()) return bad_input("a reading names a joint that is not in the assembly");
            if (!assembly_.joint(j).can_be_touched())
                return bad_input(fmt::format("{} is a via: no reading is taken on it", name(j.raw())));
        }
        if (reading.from == reading.to) return bad_input(fmt::format("a reading from {} to itself says nothing", name(reading.to.raw())));
        return check(reading.said);
    }
    Status check(const Skip& skip) const {
        std::vector<JointIndex> all = skip.along;
        all.push_back(skip.hold);
        if (skip.joint.valid()) all.push_back(skip.joint);
        for (JointIndex j : all)
            if (j.raw() >= assembly_.joints.size()) return bad_input("a skip names a joint that is not in the assembly");
        if (skip.along.empty()) return bad_input("a skip must say where the moving probe was to go");
        return {};
    }

    // Readings of one gesture.
    void record(const std::vector<Reading>& readings) {
        Action action;
        action.first = readings_.size();
        action.count = readings.size();
        readings_.insert(readings_.end(), readings.begin(), readings.end());
        actions_.push_back(action);
        perform(actions_.back());
    }
    void record(const Skip& skip) {
        Action action;
        action.skip = skips_.size();
        skips_.push_back(skip);
        actions_.push_back(action);
        perform(actions_.back());
    }
    void restore(std::vector<Reading> readings, std::vector<Skip> skips) {
        for (std::size_t i = 0; i < readings.size();) {
            // The readings of one journal entry with one held probe were one gesture.
            std::size_t end = i + 1;
            while (end < readings.size() && !readings[i].entry.empty() && readings[end].entry == readings[i].entry &&
                   readings[end].from == readings[i].from)
                ++end;
            Action action;
            action.first = i;
            action.count = end - i;
            actions_.push_back(action);
            i = end;
        }
        readings_ = std::move(readings);
        for (std::size_t i = 0; i < skips.size(); ++i) {
            Action action;
            action.skip = i;
            actions_.push_back(action);
        }
        skips_ = std::move(skips);
        replay();
    }

    Result<Answered> undo() {
        while (!actions_.empty() && is_withdrawn(actions_.back())) actions_.pop_back();
        if (actions_.empty()) return refused("nothing to undo: no gesture was answered");
        const Action action = actions_.back();
        Answered taken_back;
        if (action.skip != kNoSkip) {
            skips_[action.skip].withdrawn = true;
            taken_back.skip = skips_[action.skip];
        } else {
            for (std::size_t i = action.first; i < action.first + action.count; ++i) {
                readings_[i].withdrawn = true;
                taken_back.readings.push_back(readings_[i]);
            }
        }
        actions_.pop_back();
        replay();
        return taken_back;
    }

    Status withdraw(const EntryName& entry) {
        bool found = false;
        for (Reading& r : readings_)
            if (r.entry == entry && !r.withdrawn) r.withdrawn = found = true;
        for (Skip& s : skips_)
            if (s.entry == entry && !s.withdrawn) s.withdrawn = found = true;
        if (!found) return not_found(fmt::format("no reading or skip rests on entry \"{}\"", entry.text()));
        replay();
        return {};
    }

    double expected_mistakes() {
        belief_.settle();
        double sum = 0;
        for_each_group([&](Id g) {
            fill_row(g);
            for (double p : row_.probability) sum += p;
        });
        return sum / 2;
    }

    RingState state();

    ApartStanding apart(JointIndex a, JointIndex b) {
        belief_.settle();
        const Between between = belief_.between(belief_.group(a.raw()), belief_.group(b.raw()));
        return between.open ? ApartStanding::proven : ApartStanding::presumed;
    }

    const std::vector<Reading>& readings() const { return readings_; }
    const std::vector<Skip>& skips() const { return skips_; }

  private:
    static constexpr std::size_t kNoSkip = static_cast<std::size_t>(-1);
    struct Action {
        std::size_t first = 0;
        std::size_t count = 0;
        std::size_t skip = kNoSkip;
    };
    struct RowOf {
        Side side = Side::component;
        std::vector<Id> joints;
        std::vector<double> gap_mm;  // from each to the next
        std::vector<Id> first;       // the group of each, where it is the first of its group in the row
    };
    struct Candidate {
        double score = 0;
        double value = 0;       // expected joins
        Gesture::Purpose purpose = Gesture::Purpose::proposal;
        Id source = kNone;      // group that is held
        Id hold = kNone;
        std::vector<Id> along;
    };
    struct Chain {  // readings that say joined against one that says open
        Id a = 0, b = 0;
        std::vector<Id> steps;  // a, ..., b
        double wrong = 0;       // odds that a step of it is wrong
    };

    const std::string& name(Id joint) const { return assembly_.joints[joint].name.text(); }

    bool says_copper(const Said& said) const {
        const auto* ohms = std::get_if<Ohms>(&said);
        return ohms ? ohms->value < options_.copper_below_ohm
                    : std::holds_alternative<Beep>(said) && options_.beep == BeepMeans::copper;
    }
    bool says_open(const Said& said) const {
        const auto* ohms = std::get_if<Ohms>(&said);
        return ohms ? ohms->value >= options_.open_above_ohm : std::holds_alternative<Open>(said);
    }
    bool is_withdrawn(const Action& action) const {
        if (action.skip != kNoSkip) return skips_[action.skip].withdrawn;
        for (std::size_t i = action.first; i < action.first + action.count; ++i)
            if (!readings_[i].withdrawn) return false;
        return true;
    }

    void perform(const Action& action) {
        chosen_ = false;
        if (action.skip != kNoSkip) {
            const Skip& skip = skips_[action.skip];
            if (skip.withdrawn) return;
            if (skip.joint.valid()) {
                mark_unreachable(skip.joint.raw(), skip.reason);
            } else if (skip.along.size() == 1) {
                const Id a = skip.hold.raw(), b = skip.along.front().raw();
                barred_.insert({std::min(a, b), std::max(a, b)});
                barred_why_[{std::min(a, b), std::max(a, b)}] = skip.reason;
                // In vain from two different places: it is this joint that cannot be reached.
                for (Id j : {a, b}) {
                    std::set<Id> partners;
                    for (const auto& [x, y] : barred_)
                        if (x == j || y == j) partners.insert(x == j ? y : x);
                    const Id other = j == a ? b : a;
                    if (partners.size() >= 2 && belief_.is_touchable(other)) mark_unreachable(j, skip.reason);
                }
            } else {
                for (std::size_t i = 1; i < skip.along.size(); ++i)
                    blocked_.insert({std::min(skip.along[i - 1].raw(), skip.along[i].raw()), std::max(skip.along[i - 1].raw(), skip.along[i].raw())});
            }
            return;
        }
        Gesture gesture;
        gesture.kind = Gesture::Kind::touch;
        for (std::size_t i = action.first; i < action.first + action.count; ++i) {
            const Reading& r = readings_[i];
            if (r.withdrawn) continue;
            gesture.hold = r.from;
            gesture.along.push_back(r.to);
            belief_.read(r.from.raw(), r.to.raw(), r.said);
        }
        if (gesture.along.empty()) return;
        if (gesture.along.size() > 1) gesture.kind = Gesture::Kind::sweep;
        place(gesture);
        seconds_ += seconds_for(assembly_, options_.costs, probes_, gesture);
        ++(gesture.kind == Gesture::Kind::sweep ? sweeps_ : touches_);
        probes_.held = gesture.hold;
        probes_.moving = gesture.along.back();
        probes_.held_side = gesture.hold_side;
        probes_.moving_side = gesture.along_side;
    }

    void mark_unreachable(Id joint, const std::string& reason) {
        belief_.set_unreachable(joint);
        unreachable_why_[joint] = reason;
    }

    void replay() {
        chosen_ = false;
        pending_.reset();
        belief_.clear();
        barred_.clear();
        barred_why_.clear();
        blocked_.clear();
        unreachable_why_.clear();
        seconds_ = 0;
        touches_ = sweeps_ = 0;
        probes_ = {};
        for (const Action& action : actions_) perform(action);
    }

    // On which side each probe goes: where the moving one is now if all joints lie on that side.
    void place(Gesture& gesture) const {
        const auto all_on = [&](Side side) {
            return std::all_of(gesture.along.begin(), gesture.along.end(),
                               [&](JointIndex j) { return assembly_.joint(j).on(side); });
        };
        Side side = probes_.moving_side.value_or(Side::component);
        if (!all_on(side)) side = other(side);
        gesture.along_side = side;
        gesture.hold_side = assembly_.joint(gesture.hold).on(side) ? side : other(side);
    }

    template <class F>
    void for_each_group(F&& f) {
        for (Id i = 0; i < belief_.joints(); ++i) {
            const Id g = belief_.group(i);
            if (belief_.members(g).front() == i && belief_.has_touchable(g)) f(g);
        }
    }

    bool is_barred(Id a, Id b) const { return barred_.contains({std::min(a, b), std::max(a, b)}); }

    // Probabilities out of a group, with the pairs left out that cannot be asked.
    void fill_row(Id g) {
        belief_.row(g, row_);
        for (const auto& [a, b] : barred_) {
            const Id ga = belief_.group(a), gb = belief_.group(b);
            if (ga == gb || (ga != g && gb != g)) continue;
            const Id h = ga == g ? gb : ga;
            if (row_.probability[h] > 0 && !ask_between(g, h)) row_.probability[h] = 0;
        }
    }

    // Two joints, one of each group, that may be asked: best a pair that was not read before.
    std::optional<std::pair<Id, Id>> ask_between(Id g, Id h, Id hold = kNone) const {
        std::optional<std::pair<Id, Id>> best;
        unsigned least = ~0U;
        const auto look = [&](Id a) {
            if (!belief_.is_touchable(a)) return;
            for (Id b : belief_.members(h)) {
                if (!belief_.is_touchable(b) || is_barred(a, b)) continue;
                const PairReadings* read = belief_.pair(a, b);
                const unsigned times = read ? 4U * (read->open + read->unclear) : 0U;
                unsigned awkward = times + 1;
                for (const auto& n : belief_.neighbours(b))
                    if (n.probability >= 0.3 && belief_.group(n.joint) == g) awkward = times;
                if (awkward < least) least = awkward, best = {a, b};
                if (least == 0) return;
            }
        };
        if (hold != kNone) {
            look(hold);
            if (best) return best;
        }
        for (Id a : belief_.members(g)) {
            look(a);
            if (least == 0) break;
        }
        return best;
    }

    Id hold_of(Id g) const {
        if (probes_.held.valid() && belief_.group(probes_.held.raw()) == g && belief_.is_touchable(probes_.held.raw()))
            return probes_.held.raw();
        Id best = kNone;
        for (Id m : belief_.members(g))
            if (belief_.is_touchable(m) && (best == kNone || answered_[m] > answered_[best])) best = m;
        return best;
    }

    void count_answers() {
        answered_.assign(belief_.joints(), 0);
        for (const auto& [key, pair] : belief_.pairs())
            if (pair.is_copper()) ++answered_[key >> 32], ++answered_[key & 0xffffffffU];
    }

    std::optional<Gesture> choose();
    void consider_touches(Id g, Candidate& best);
    void consider_sweeps(Id g, Candidate& best);
    void consider_contradictions(Candidate& best);
    void offer(Candidate candidate, Candidate& best);
    double cost_of(const Gesture& gesture) const {
        return 1 + kCostPerSecond * seconds_for(assembly_, options_.costs, probes_, gesture);
    }
    Gesture gesture_of(const Candidate& candidate) const {
        Gesture gesture;
        gesture.kind = candidate.along.size() > 1 ? Gesture::Kind::sweep : Gesture::Kind::touch;
        gesture.purpose = candidate.purpose;
        gesture.hold = JointIndex(candidate.hold);
        for (Id j : candidate.along) gesture.along.emplace_back(j);
        gesture.expected_joins = candidate.value;
        place(gesture);
        gesture.seconds = seconds_for(assembly_, options_.costs, probes_, gesture);
        return gesture;
    }
    void explain(Gesture& gesture);
    std::vector<Chain> contradictions() const;
    void find_near();

    Assembly assembly_;
    std::vector<Link> links_;
    RingOptions options_;
    Belief belief_;
    std::vector<RowOf> rows_;
    std::map<Id, Side> lead_of_;
    std::vector<std::vector<Id>> near_;         // pads nearer than apart_mm
    std::vector<std::pair<Id, Id>> neighbours_; // pads that lie beside each other

    std::vector<Reading> readings_;
    std::vector<Skip> skips_;
    std::vector<Action> actions_;
    std::set<std::pair<Id, Id>> barred_;   // touches that cannot be made
    std::map<std::pair<Id, Id>, std::string> barred_why_;
    std::set<std::pair<Id, Id>> blocked_;  // neighbours in a row that no needle can be drawn across
    std::map<Id, std::string> unreachable_why_;
    double seconds_ = 0;
    std::size_t touches_ = 0;
    std::size_t sweeps_ = 0;
    Probes probes_;
    bool chosen_ = false;
    std::optional<Gesture> pending_;

    // scratch
    Belief::Row row_;
    std::vector<std::uint32_t> answered_;
    std::vector<double> apart_worth_;
    std::vector<std::uint32_t> seen_;
    std::uint32_t seen_mark_ = 0;
    std::vector<double> weight_;
    std::vector<double> worth_;
};

void RingOut::Engine::find_near() {
    const std::size_t n = assembly_.joints.size();
    near_.assign(n, {});
    const double reach = std::max(kNeighbouring_mm, options_.apart_mm.value_or(0));
    std::map<std::tuple<Id, long, long>, std::vector<Id>> grid;
    const double cell = reach + 5;
    const auto at = [&](double v) { return static_cast<long>(std::floor(v / cell)); };
    for (Id i = 0; i < n; ++i)
        if (assembly_.joints[i].can_be_touched())
            grid[{assembly_.joints[i].board.raw(), at(assembly_.joints[i].hole.x), at(assembly_.joints[i].hole.y)}].push_back(i);
    for (Id i = 0; i < n; ++i) {
        const Joint& a = assembly_.joints[i];
        if (!a.can_be_touched()) continue;
        for (long dx = -1; dx <= 1; ++dx)
            for (long dy = -1; dy <= 1; ++dy) {
                const auto found = grid.find({a.board.raw(), at(a.hole.x) + dx, at(a.hole.y) + dy});
                if (found == grid.end()) continue;
                for (Id k : found->second) {
                    if (k == i) continue;
                    const Joint& b = assembly_.joints[k];
                    const double centres = distance(a.hole, b.hole);
                    if (k > i && centres <= kNeighbouring_mm + 1e-6) neighbours_.emplace_back(i, k);
                    const double gap = centres - (a.pad_mm.width + a.pad_mm.height + b.pad_mm.width + b.pad_mm.height) / 4;
                    if (options_.apart_mm && gap < *options_.apart_mm) near_[i].push_back(k);
                }
            }
        std::sort(near_[i].begin(), near_[i].end());
    }
    std::sort(neighbours_.begin(), neighbours_.end());
}

void RingOut::Engine::offer(Candidate candidate, Candidate& best) {
    if (candidate.score > best.score * (1 + 1e-12) + 1e-300) best = std::move(candidate);
}

void RingOut::Engine::consider_touches(Id g, Candidate& best) {
    const Id hold = hold_of(g);
    const double least_s = options_.costs.place_moving_s + (probes_.held.valid() && probes_.held.raw() == hold ? 0 : options_.costs.place_held_s);
    const double least_cost = 1 + kCostPerSecond * least_s;
    for (Id h = 0; h < belief_.joints(); ++h) {
        const double p = row_.probability[h] + apart_worth_[h];
        if (p <= best.score * least_cost || p < kNegligible) continue;
        const auto pair = ask_between(g, h, hold);
        if (!pair) continue;
        Candidate c;
        c.source = g;
        c.hold = pair->first;
        c.along = {pair->second};
        c.value = row_.probability[h];
        const Between between = belief_.between(g, h);
        c.purpose = between.open              ? Gesture::Purpose::again
                    : row_.by_link[h] > 0     ? Gesture::Purpose::proposal
                    : apart_worth_[h] > row_.probability[h] ? Gesture::Purpose::apart
                                              : Gesture::Purpose::hidden;
        c.score = p / cost_of(gesture_of(c));
        if (c.score == best.score && !best.along.empty() && best.source == g && c.along < best.along) best = c;
        else offer(std::move(c), best);
    }
}

void RingOut::Engine::consider_sweeps(Id g, Candidate& best) {
    const Id hold = hold_of(g);
    const double least_s = options_.costs.place_moving_s + (probes_.held.valid() && probes_.held.raw() == hold ? 0 : options_.costs.place_held_s);
    const double base = 1 + kCostPerSecond * least_s;
    worth_.resize(belief_.joints());
    for (std::size_t h = 0; h < worth_.size(); ++h) worth_[h] = row_.probability[h] + apart_worth_[h];
    for (const RowOf& row : rows_) {
        const std::size_t n = row.joints.size();
        weight_.resize(n);
        double total = 0;
        for (std::size_t i = 0; i < n; ++i) total += weight_[i] = row.first[i] == kNone ? 0 : worth_[row.first[i]];
        if (total <= best.score * base || total < kNegligible) continue;
        // The stretch with the greatest ratio of worth to cost (Dinkelbach: for a ratio wanted, a maximum
        // subarray of worth - ratio x cost; repeated with the ratio found until it grows no more).
        double wanted = best.score;
        std::size_t first = 0, last = 0;
        double found_value = -1;
        for (int round = 0; round < 20; ++round) {
            double sum = 0, best_sum = 0;
            std::size_t start = 0, best_first = 0, best_last = 0;
            bool empty = true;
            std::size_t before = n;  // the last joint of the current stretch
            for (std::size_t i = 0; i < n; ++i) {
                const Id j = row.joints[i];
                if (!belief_.is_touchable(j)) {
                    before = n;
                    sum = 0;
                    continue;
                }
                if (j == hold) {  // the needle passes it by, if the step is not too wide
                    if (before == n || i + 1 == n || row.gap_mm[i - 1] + row.gap_mm[i] > options_.sweep_gap_mm + 1e-6) {
                        before = n;
                        sum = 0;
                    }
                    continue;
                }
                const double gap = before == n ? 0 : distance(assembly_.joints[row.joints[before]].hole, assembly_.joints[j].hole);
                const bool broken = before != n && blocked_.contains({std::min(row.joints[before], j), std::max(row.joints[before], j)});
                const double step = kCostPerSecond * (options_.costs.sweep_joint_s + options_.costs.travel_s_per_mm * gap);
                if (before == n || broken || sum - wanted * step <= 0) {
                    sum = 0;
                    start = i;
                } else {
                    sum -= wanted * step;
                }
                sum += weight_[i];
                before = i;
                if (sum > best_sum) best_sum = sum, best_first = start, best_last = i, empty = false;
            }
            if (empty || best_sum <= wanted * base * (1 + 1e-12)) break;
            double value = 0, cost = base;
            std::size_t previous = n;
            for (std::size_t i = best_first; i <= best_last; ++i) {
                if (row.joints[i] == hold) continue;
                value += weight_[i];
                if (previous != n)
                    cost += kCostPerSecond * (options_.costs.sweep_joint_s + options_.costs.travel_s_per_mm * distance(
                                assembly_.joints[row.joints[previous]].hole, assembly_.joints[row.joints[i]].hole));
                previous = i;
            }
            first = best_first;
            last = best_last;
            found_value = value;
            const double ratio = value / cost;
            if (ratio <= wanted * (1 + 1e-9)) break;
            wanted = ratio;
        }
        if (found_value <= 0) continue;
        Candidate c;
        c.source = g;
        c.hold = hold;
        double by_link = 0, joins = 0, apart = 0;
        ++seen_mark_;
        for (std::size_t i = first; i <= last; ++i) {
            const Id j = row.joints[i];
            if (j == hold) continue;
            c.along.push_back(j);
            const Id h = belief_.group(j);
            if (seen_[h] == seen_mark_) continue;
            seen_[h] = seen_mark_;
            joins += row_.probability[h];
            apart += apart_worth_[h];
            by_link += row_.by_link[h] > 0 ? row_.probability[h] : 0;
        }
        if (c.along.size() < 2) continue;
        c.value = joins;
        c.purpose = by_link > 0.5 * joins ? Gesture::Purpose::proposal
                    : apart > joins       ? Gesture::Purpose::apart
                    : joins > 0.05        ? Gesture::Purpose::hidden
                                          : Gesture::Purpose::search;
        if (probes_.moving.valid()) {
            const Point p = assembly_.joint(probes_.moving).hole;
            if (distance(p, assembly_.joints[c.along.back()].hole) < distance(p, assembly_.joints[c.along.front()].hole))
                std::reverse(c.along.begin(), c.along.end());
        }
        c.score = (joins + apart) / cost_of(gesture_of(c));
        offer(std::move(c), best);
    }
}

std::vector<RingOut::Engine::Chain> RingOut::Engine::contradictions() const {
    std::vector<std::pair<Id, Id>> opens;
    for (const auto& [key, pair] : belief_.pairs()) {
        const Id a = static_cast<Id>(key >> 32), b = static_cast<Id>(key & 0xffffffffU);
        if (!pair.open || belief_.group(a) != belief_.group(b)) continue;
        if (pair.is_copper()) continue;  // opens outvoted on the very same joints: a contact that missed
        opens.emplace_back(a, b);
    }
    if (opens.empty()) return {};
    std::sort(opens.begin(), opens.end());
    std::map<Id, std::vector<Id>> tied;
    std::set<Id> groups;
    for (const auto& [a, b] : opens) groups.insert(belief_.group(a));
    for (const auto& [key, pair] : belief_.pairs()) {
        const Id a = static_cast<Id>(key >> 32), b = static_cast<Id>(key & 0xffffffffU);
        if (!pair.is_copper() || !groups.contains(belief_.group(a))) continue;
        tied[a].push_back(b);
        tied[b].push_back(a);
    }
    for (auto& [joint, partners] : tied) std::sort(partners.begin(), partners.end());
    std::vector<Chain> chains;
    for (const auto& [a, b] : opens) {
        std::map<Id, Id> from{{a, a}};
        std::deque<Id> queue{a};
        while (!queue.empty() && !from.contains(b)) {
            const Id here = queue.front();
            queue.pop_front();
            for (Id next : tied[here])
                if (from.emplace(next, here).second) queue.push_back(next);
        }
        if (!from.contains(b)) continue;
        Chain chain;
        chain.a = a;
        chain.b = b;
        for (Id step = b; step != a; step = from[step]) chain.steps.push_back(step);
        chain.steps.push_back(a);
        std::reverse(chain.steps.begin(), chain.steps.end());
        for (std::size_t i = 1; i < chain.steps.size(); ++i) {
            const Id x = chain.steps[i - 1], y = chain.steps[i];
            const PairReadings& pair = *belief_.pair(x, y);
            const double believed = belief_.plainly_joined(x, y) ? 0.9 : 0.05;
            chain.wrong += (1 - believed) / believed * std::pow(kSlip, pair.joined) / std::pow(options_.contact_miss, pair.open);
        }
        chains.push_back(std::move(chain));
    }
    return chains;
}

void RingOut::Engine::consider_contradictions(Candidate& best) {
    for (const Chain& chain : contradictions()) {
        const PairReadings& open = *belief_.pair(chain.a, chain.b);
        const double wrong = chain.wrong / (chain.wrong + std::pow(options_.contact_miss, open.open));
        if (wrong < kAskAgainAbove) continue;
        Candidate c;
        c.purpose = Gesture::Purpose::contradiction;
        if (open.open + open.joined < 2) {
            c.hold = chain.a;
            c.along = {chain.b};
        } else {
            const Id middle = chain.steps[chain.steps.size() / 2];
            const auto weaker = [&](Id x, Id y) {
                const PairReadings* p = belief_.pair(x, y);
                return p ? p->joined + p->open : 0;
            };
            if (chain.steps.size() > 3) c.hold = chain.a, c.along = {middle};
            else if (weaker(chain.a, middle) <= weaker(middle, chain.b)) c.hold = chain.a, c.along = {middle};
            else c.hold = chain.b, c.along = {middle};
            if (weaker(c.hold, c.along.front()) >= kMostRepeats) continue;
        }
        if (probes_.held.valid() && probes_.held.raw() == c.along.front()) std::swap(c.hold, c.along.front());
        if (!belief_.is_touchable(c.hold) || !belief_.is_touchable(c.along.front()) || is_barred(c.hold, c.along.front())) continue;
        c.score = kContradictionWorth * wrong / cost_of(gesture_of(c));
        offer(std::move(c), best);
    }
}

std::optional<Gesture> RingOut::Engine::choose() {
    count_answers();
    seen_.assign(belief_.joints(), 0);
    seen_mark_ = 0;
    for (RowOf& row : rows_) {
        ++seen_mark_;
        row.first.assign(row.joints.size(), kNone);
        for (std::size_t i = 0; i < row.joints.size(); ++i) {
            const Id h = belief_.group(row.joints[i]);
            if (seen_[h] == seen_mark_ || !belief_.is_touchable(row.joints[i])) continue;
            seen_[h] = seen_mark_;
            row.first[i] = h;
        }
    }
    apart_worth_.assign(belief_.joints(), 0);
    Candidate best;
    consider_contradictions(best);
    const bool must = !best.along.empty();
    double mistakes = 0;
    bool apart_left = false;
    const auto look_at = [&](Id g) {
        fill_row(g);
        for (double p : row_.probability) mistakes += p / 2;
        if (options_.apart_mm) {
            std::fill(apart_worth_.begin(), apart_worth_.end(), 0.0);
            for (Id m : belief_.members(g))
                for (Id k : near_[m]) {
                    const Id h = belief_.group(k);
                    if (h == g || apart_worth_[h] > 0 || !belief_.has_touchable(h) || belief_.between(g, h).open) continue;
                    if (!barred_.empty() && !ask_between(g, h)) continue;
                    if (belief_.between(g, h).unclear >= 3) continue;
                    apart_worth_[h] = kApartWorth;
                    apart_left = true;
                }
        }
        consider_touches(g, best);
        consider_sweeps(g, best);
    };
    std::vector<Id> groups;
    for_each_group([&](Id g) { groups.push_back(g); });
    // On a large board that still has plain copper to confirm, only the nets with the most of it are looked at: the
    // others could hardly do better, and the end is not near.
    bool all = true;
    if (groups.size() > kManyGroups) {
        std::vector<std::pair<double, Id>> promise;
        for (Id g : groups) {
            double sum = 0;
            for (const auto& edge : belief_.edges(g)) sum += edge.probability;
            const bool held = probes_.held.valid() && belief_.group(probes_.held.raw()) == g;
            promise.emplace_back(held ? -1e9 : -sum, g);
        }
        std::sort(promise.begin(), promise.end());
        for (std::size_t k = 0; k < kFewGroups; ++k) look_at(promise[k].second);
        if (best.value >= kPlainEnough) all = false;
    }
    if (all) {
        mistakes = 0;
        for (Id g : groups) look_at(g);
    }
    if (best.along.empty()) return std::nullopt;
    if (all && !must && !apart_left && mistakes <= options_.risk) return std::nullopt;
    Gesture gesture = gesture_of(best);
    explain(gesture);
    return gesture;
}

void RingOut::Engine::explain(Gesture& gesture) {
    const Id hold = gesture.hold.raw();
    const Id g = belief_.group(hold);
    const std::string& from = name(hold);
    const auto leads_from = [&](Id group) -> Id {
        for (Id m : belief_.members(group))
            if (lead_of_.contains(m)) return m;
        return kNone;
    };
    const std::string row = gesture.kind == Gesture::Kind::sweep
                                ? fmt::format("the row {} to {}", name(gesture.along.front().raw()), name(gesture.along.back().raw()))
                                : name(gesture.to().raw());
    switch (gesture.purpose) {
        case Gesture::Purpose::contradiction:
            gesture.why = fmt::format("Readings on the net of {} cannot all be true; this one tells which is wrong.", from);
            return;
        case Gesture::Purpose::again:
            gesture.why = fmt::format("{} to {} read open where copper is likely; the needle may have missed.", from, row);
            return;
        case Gesture::Purpose::apart:
            gesture.why = fmt::format("{} lies close to {}; this proves them apart.", row, from);
            return;
        case Gesture::Purpose::proposal: {
            Id a = kNone, b = kNone;
            double best = 0;
            for (JointIndex j : gesture.along)
                for (const auto& n : belief_.neighbours(j.raw()))
                    if (belief_.group(n.joint) == g && belief_.group(j.raw()) != g && n.probability > best)
                        best = n.probability, a = n.joint, b = j.raw();
            if (a == kNone)
                gesture.why = fmt::format("A chain of likely copper runs from {} to {}.", from, row);
            else if (a == hold)
                gesture.why = fmt::format("Copper {} from {} to {}.", best >= 0.8 ? "is plain to see" : best >= 0.4 ? "seems to run" : "may run",
                                          name(a), name(b));
            else
                gesture.why = fmt::format("Copper {} from {}, already tied to {}, to {}.",
                                          best >= 0.8 ? "is plain to see" : best >= 0.4 ? "seems to run" : "may run", name(a), from, name(b));
            return;
        }
        case Gesture::Purpose::hidden: {
            const Id lead = leads_from(g);
            if (lead != kNone) {
                gesture.why = fmt::format("{} has copper that runs out of sight.", name(lead));
                return;
            }
            for (JointIndex j : gesture.along)
                if (const Id there = leads_from(belief_.group(j.raw())); there != kNone) {
                    gesture.why = fmt::format("{} has copper that runs out of sight.", name(there));
                    return;
                }
            [[fallthrough]];
        }
        case Gesture::Purpose::search:
            gesture.why = belief_.dark() ? fmt::format("No photograph shows where the copper of {} goes; {} may belong to it.", from, row)
                                         : fmt::format("A link from {} to {} could have been missed.", from, row);
            return;
    }
}

RingState RingOut::Engine::state() {
    belief_.settle();
    const Id n = belief_.joints();
    RingState state;
    state.joints.resize(n);
    std::vector<double> doubt(n, 0);
    for_each_group([&](Id g) {
        fill_row(g);
        for (double p : row_.probability) doubt[g] += p;
        state.expected_mistakes += doubt[g] / 2;
    });
    const auto is_settled = [&](Id g) { return doubt[g] <= 2 * options_.risk; };

    // Links now.
    state.links.resize(links_.size());
    state.link_beliefs.resize(links_.size());
    state.proposals_confirmed = true;
    std::vector<Id> vias(n);  // vias that links tie together, and the groups of the pads that they reach
    std::iota(vias.begin(), vias.end(), Id{0});
    for (const Link& link : links_)
        if (link.probability >= 0.3 && !belief_.is_pad(link.from.raw()) && !belief_.is_pad(link.to.raw()))
            vias[root(vias, link.from.raw())] = root(vias, link.to.raw());
    std::map<Id, std::map<Id, std::set<Id>>> reached;  // via -> group -> pads
    for (const Link& link : links_) {
        const Id a = link.from.raw(), b = link.to.raw();
        if (link.probability < 0.3 || belief_.is_pad(a) == belief_.is_pad(b)) continue;
        const Id via = root(vias, belief_.is_pad(a) ? b : a), pad = belief_.is_pad(a) ? a : b;
        reached[via][belief_.group(pad)].insert(pad);
    }
    for (std::size_t i = 0; i < links_.size(); ++i) {
        const Link& link = links_[i];
        const Id a = link.from.raw(), b = link.to.raw();
        const Id ga = belief_.group(a), gb = belief_.group(b);
        double p = link.probability;
        Standing standing = Standing::proposed;
        if (belief_.is_pad(a) && belief_.is_pad(b)) {
            if (ga == gb) {
                p = 1;
                standing = Standing::proven;
            } else {
                const Between between = belief_.between(ga, gb);
                p = Belief::weaken(belief_.corrected(p), belief_.evidence_factor(between));
                if (between.open && p < kRefuted) standing = Standing::refuted;
                const bool askable = belief_.has_touchable(ga) && belief_.has_touchable(gb) &&
                                     (barred_.empty() || ask_between(ga, gb).has_value());
                if (link.probability >= kLikely && p >= kRefuted && askable) state.proposals_confirmed = false;
            }
        } else {
            const auto found = reached.find(root(vias, belief_.is_pad(a) ? b : a));
            if (found != reached.end() && link.probability >= 0.3) {
                const auto& groups = found->second;
                if (groups.size() == 1 && groups.begin()->second.size() > 1) {
                    standing = Standing::proven;
                    p = 1;
                } else if (groups.size() > 1 && link.probability >= kLikely) {
                    bool open = true;
                    for (auto x = groups.begin(); x != groups.end(); ++x)
                        for (auto y = std::next(x); y != groups.end(); ++y)
                            open = open && belief_.between(x->first, y->first).open > 0;
                    if (!open) state.proposals_confirmed = false;
                }
            }
        }
        state.links[i] = standing;
        state.link_beliefs[i] = p;
        ++state.counts.links_proposed;
        if (standing == Standing::proven) ++state.counts.links_proven;
        if (standing == Standing::refuted) ++state.counts.links_refuted;
    }

    // Nets: groups, and what only photographs join (standing: proposed). A likely link joins nothing across an open.
    std::vector<Id> parent(n);
    for (Id i = 0; i < n; ++i) parent[i] = belief_.members(belief_.group(i)).front();
    std::vector<std::vector<Id>> groups_in(n);
    for (Id i = 0; i < n; ++i)
        if (parent[i] == i) groups_in[i] = {belief_.group(i)};
    std::vector<char> rests_on_photograph(n, 0);
    std::vector<std::size_t> order(links_.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    std::stable_sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) { return state.link_beliefs[x] > state.link_beliefs[y]; });
    const auto propose = [&](Id from, Id to, double probability) {
        if (probability < kLikely) return;
        const Id a = root(parent, from), b = root(parent, to);
        if (a == b) return;
        for (Id x : groups_in[a])
            for (Id y : groups_in[b])
                if (belief_.between(x, y).open) return;
        const Id low = std::min(a, b), high = std::max(a, b);
        parent[high] = low;
        groups_in[low].insert(groups_in[low].end(), groups_in[high].begin(), groups_in[high].end());
        groups_in[high].clear();
    };
    for (std::size_t i : order) propose(links_[i].from.raw(), links_[i].to.raw(), state.link_beliefs[i]);
    for (const Cable& cable : assembly_.cables)
        for (const Cable::Conductor& c : cable.conductors)
            propose(c.from.raw(), c.to.raw(), Belief::weaken(options_.cable_probability, belief_.evidence_factor(belief_.between(
                                                  belief_.group(c.from.raw()), belief_.group(c.to.raw())))));
    std::map<Id, std::vector<Id>> pads;
    for (Id i = 0; i < n; ++i)
        if (belief_.is_pad(i)) pads[root(parent, i)].push_back(i);
    std::vector<char> has_beep(n, 0), has_answered(n, 0), has_reading(n, 0);
    for (const auto& [key, pair] : belief_.pairs()) {
        const Id a = static_cast<Id>(key >> 32), b = static_cast<Id>(key & 0xffffffffU);
        for (Id j : {a, b})
            if (pair.joined || pair.open) has_reading[j] = 1;
        if (!pair.is_copper()) continue;
        has_answered[a] = has_answered[b] = 1;
        if (pair.beeps == pair.joined) has_beep[belief_.group(a)] = 1, state.beep_assumed = true;
    }
    std::map<Id, Net> net_of;
    for (const auto& [key, its] : pads) {
        Net net;
        net.name = net_name(assembly_, its);
        net.joints = in_name_order(assembly_, its);
        std::set<Id> groups;
        bool all_settled = true, any_reading = false;
        for (Id j : its) {
            groups.insert(belief_.group(j));
            all_settled = all_settled && is_settled(belief_.group(j)) && belief_.is_touchable(j);
            any_reading = any_reading || has_reading[j];
        }
        if (groups.size() > 1) net.standing = NetStanding::proposed;
        else if (its.size() == 1) net.standing = all_settled && any_reading ? NetStanding::proven : NetStanding::proposed;
        else net.standing = all_settled ? NetStanding::proven : NetStanding::joined;
        state.nets.push_back(net);
    }
    put_in_order(state.nets);
    for (std::size_t k = 0; k < state.nets.size(); ++k)
        for (JointIndex j : state.nets[k].joints) state.joints[j.raw()].net = k;

    for (Id i = 0; i < n; ++i) {
        if (!belief_.is_pad(i)) continue;
        JointState& joint = state.joints[i];
        const Id g = belief_.group(i);
        joint.doubt = doubt[g];
        joint.answered = has_answered[i];
        joint.by_beep = has_beep[g];
        const std::size_t tied = belief_.members(g).size();
        if (!belief_.is_touchable(i)) {
            joint.standing = JointStanding::unreachable;
            const auto why = unreachable_why_.find(i);
            joint.why = fmt::format("No probe could reach it ({}).", why == unreachable_why_.end() || why->second.empty() ? "no reason given" : why->second);
        } else if (tied > 1) {
            joint.standing = is_settled(g) ? JointStanding::proven : JointStanding::tied;
            joint.why = is_settled(g) ? fmt::format("Readings tie it to {} other{}, and no more are expected.", tied - 1, tied == 2 ? "" : "s")
                                      : fmt::format("Readings tie it to {} other{}; more may belong to it.", tied - 1, tied == 2 ? "" : "s");
            if (joint.by_beep) joint.why += " A beep was taken as copper.";
        } else if (is_settled(g)) {
            joint.standing = has_reading[i] ? JointStanding::proven : JointStanding::presumed;
            joint.why = has_reading[i] ? "It read open against every net that it could belong to; it never answered, so its contact is not shown."
                                       : "Copper plainly ends here in the photographs; no reading was taken.";
        } else {
            joint.standing = JointStanding::proposed;
            joint.why = "No reading ties it to another yet.";
        }
        ++state.counts.joints;
        if (joint.standing == JointStanding::proven) ++state.counts.joints_proven;
        if (joint.standing == JointStanding::unreachable || joint.standing == JointStanding::proposed) ++state.counts.joints_unproven;
    }

    for (const Chain& chain : contradictions()) {
        Contradiction c;
        const auto cite = [&](Id a, Id b, bool copper) {
            for (std::size_t i = 0; i < readings_.size(); ++i) {
                const Reading& r = readings_[i];
                const bool same = (r.from.raw() == a && r.to.raw() == b) || (r.from.raw() == b && r.to.raw() == a);
                if (r.withdrawn || !same || says_copper(r.said) != copper || (!copper && !says_open(r.said))) continue;
                c.readings.push_back(i);
                return;
            }
        };
        for (std::size_t i = 1; i < chain.steps.size(); ++i) cite(chain.steps[i - 1], chain.steps[i], true);
        cite(chain.a, chain.b, false);
        std::sort(c.readings.begin(), c.readings.end());
        const PairReadings& open = *belief_.pair(chain.a, chain.b);
        c.hold = JointIndex(chain.a);
        c.to = JointIndex(open.open + open.joined < 2 || chain.steps.size() < 3 ? chain.b : chain.steps[chain.steps.size() / 2]);
        c.why = fmt::format("{} to {} read open, but {} reading{} tie{} them together; touch {} and {} again to settle it.",
                            name(chain.a), name(chain.b), chain.steps.size() - 1, chain.steps.size() == 2 ? "" : "s",
                            chain.steps.size() == 2 ? "s" : "", name(chain.a), name(c.to.raw()));
        state.contradictions.push_back(std::move(c));
    }
    std::vector<std::pair<Id, Id>> unclear;
    for (const auto& [key, pair] : belief_.pairs())
        if (pair.unclear && !pair.joined && !pair.open && belief_.group(static_cast<Id>(key >> 32)) != belief_.group(static_cast<Id>(key & 0xffffffffU)))
            unclear.emplace_back(static_cast<Id>(key >> 32), static_cast<Id>(key & 0xffffffffU));
    std::sort(unclear.begin(), unclear.end());
    for (const auto& [a, b] : unclear)
        state.unsettled.push_back({JointIndex(a), JointIndex(b), fmt::format("{} to {} read neither copper nor open: not proof.", name(a), name(b))});
    for (const auto& [pair, why] : barred_why_)
        if (belief_.group(pair.first) != belief_.group(pair.second))
            state.unsettled.push_back({JointIndex(pair.first), JointIndex(pair.second),
                                       fmt::format("{} to {} was not read ({}).", name(pair.first), name(pair.second), why)});
    for (const Skip& skip : skips_) {
        if (skip.withdrawn || skip.joint.valid() || skip.along.size() < 2) continue;
        for (JointIndex j : skip.along) {
            const Id g = belief_.group(skip.hold.raw()), h = belief_.group(j.raw());
            if (g == h || belief_.between(g, h).open) continue;
            state.unsettled.push_back({skip.hold, j, fmt::format("{} to {} was not read: the row was skipped ({}).", name(skip.hold.raw()),
                                                                 name(j.raw()), skip.reason)});
        }
    }
    std::set<std::pair<Id, Id>> beside;
    for (const auto& [a, b] : neighbours_) {
        const Id ga = belief_.group(a), gb = belief_.group(b);
        if (ga == gb || !beside.insert({std::min(ga, gb), std::max(ga, gb)}).second) continue;
        ++(belief_.between(ga, gb).open ? state.counts.apart_proven : state.counts.apart_presumed);
    }
    state.counts.nets = state.nets.size();
    state.counts.touches = touches_;
    state.counts.sweeps = sweeps_;
    state.counts.gestures = touches_ + sweeps_;
    for (const Reading& r : readings_) state.counts.readings += r.withdrawn ? 0 : 1;
    state.counts.seconds = seconds_;
    state.settled = state.expected_mistakes <= options_.risk;
    return state;
}

RingOut::RingOut(std::unique_ptr<Engine> engine) : engine_(std::move(engine)) {}
RingOut::RingOut(RingOut&&) noexcept = default;
RingOut& RingOut::operator=(RingOut&&) noexcept = default;
RingOut::~RingOut() = default;

Result<RingOut> RingOut::create(const Assembly& assembly, const Proposals& proposals, const RingOptions& options,
                                std::vector<Reading> readings, std::vector<Skip> skips) {
    EYELET_TRY(options.validate());
    const std::size_t n = assembly.joints.size();
    for (const Link& link : proposals.links) {
        if (link.from.raw() >= n || link.to.raw() >= n) return bad_input("a link names a joint that is not in the assembly");
        if (!(link.probability >= 0 && link.probability <= 1))
            return bad_input(fmt::format("the link from {} to {} has a probability that is not from 0 to 1",
                                         assembly.joint(link.from).name.text(), assembly.joint(link.to).name.text()));
    }
    for (const Lead& lead : proposals.leads) {
        if (lead.joint.raw() >= n) return bad_input("a lead names a joint that is not in the assembly");
        if (!(lead.probability >= 0 && lead.probability <= 1))
            return bad_input(fmt::format("the lead of {} has a probability that is not from 0 to 1", assembly.joint(lead.joint).name.text()));
    }
    auto engine = std::make_unique<Engine>(assembly, proposals, options);
    for (const Reading& r : readings) EYELET_TRY(engine->check(r));
    for (const Skip& s : skips) EYELET_TRY(engine->check(s));
    engine->restore(std::move(readings), std::move(skips));
    return RingOut(std::move(engine));
}

std::optional<Gesture> RingOut::next() { return engine_->next(); }
Result<Answered> RingOut::answer(const Answer& answer, const EntryName& entry) { return engine_->answer(answer, entry); }
Status RingOut::add(const Reading& reading) {
    EYELET_TRY(engine_->check(reading));
    engine_->record(std::vector<Reading>{reading});
    return {};
}
Result<Answered> RingOut::undo() { return engine_->undo(); }
Status RingOut::withdraw(const EntryName& entry) { return engine_->withdraw(entry); }
RingState RingOut::state() { return engine_->state(); }
double RingOut::expected_mistakes() { return engine_->expected_mistakes(); }
ApartStanding RingOut::apart(JointIndex a, JointIndex b) const { return engine_->apart(a, b); }
const std::vector<Reading>& RingOut::readings() const { return engine_->readings(); }
const std::vector<Skip>& RingOut::skips() const { return engine_->skips(); }

}  // namespace eyelet
