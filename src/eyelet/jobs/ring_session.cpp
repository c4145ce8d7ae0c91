#include "eyelet/jobs/ring_session.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "eyelet/jobs/stored_readings.h"

namespace eyelet {

Result<std::unique_ptr<RingSession>> RingSession::open(Store& store, const JobName& job,
                                                       const RingSessionOptions& options,
                                                       UseProposals proposals) {
    EYELET_TRY(options.ring.validate());
    std::unique_ptr<RingSession> session(new RingSession(store, job, options, proposals));
    EYELET_TRY(session->rebuild());
    return session;
}

Status RingSession::rebuild() {
    // The edit's number first: what comes in between is seen again by the next refresh.
    EYELET_ASSIGN(const Job job, store_.job(job_));
    EYELET_ASSIGN(MapVersion version, store_.map(job_));
    Proposals proposals;
    std::vector<std::string> remarks;
    std::string made_at;
    if (use_ == UseProposals::yes) {
        EYELET_ASSIGN(auto stored, store_.proposals(job_));
        if (!stored) {
            remarks.emplace_back("copper was not followed yet, so every join must be searched for");
        } else {
            made_at = stored->made_at;
            if (stored->out_of_date)
                remarks.emplace_back(
                    "the photographs' proposals are out of date; following copper again would renew them");
            proposals = std::move(stored->proposals);
        }
    }
    EYELET_ASSIGN(StoredReadings readings, stored_readings(store_, job_, version.map));
    for (std::string& remark : readings.remarks) remarks.push_back(std::move(remark));
    EYELET_ASSIGN(RingOut engine, RingOut::create(version.map, proposals, options_.ring,
                                                  std::move(readings.readings), std::move(readings.skips)));
    map_ = std::move(version.map);
    proposals_ = std::move(proposals);
    remarks_ = std::move(remarks);
    proposals_made_at_ = std::move(made_at);
    last_edit_ = job.last_edit;
    entries_ = std::move(readings.entries);
    engine_.emplace(std::move(engine));
    asked_.reset();
    state_.reset();
    return {};
}

Result<bool> RingSession::refresh() {
    EYELET_ASSIGN(const Job job, store_.job(job_));
    bool changed = job.last_edit != last_edit_;
    if (!changed && use_ == UseProposals::yes) {
        EYELET_ASSIGN(const std::string made_at, store_.proposals_made_at(job_));
        changed = made_at != proposals_made_at_;
    }
    if (changed) EYELET_TRY(rebuild());
    return changed;
}

Result<std::optional<Gesture>> RingSession::next() {
    EYELET_ASSIGN(const bool changed, refresh());
    (void)changed;
    asked_ = engine_->next();
    return asked_;
}

Status RingSession::answer(const Answer& answer) {
    if (!asked_) return refused("nothing was asked, so there is nothing to answer");
    const Gesture& gesture = *asked_;
    const GestureKind kind = gesture.kind == Gesture::Kind::touch ? GestureKind::touch : GestureKind::sweep;
    const auto stored = [](const Said& said) {
        return std::visit([](const auto& one) -> StoredSaid { return one; }, said);
    };
    std::vector<ReadingEntry> entries;
    if (const auto* touch = std::get_if<TouchAnswer>(&answer)) {
        if (kind != GestureKind::touch)
            return bad_input("the gesture is a sweep; its answer says what each joint read");
        entries.push_back(entry_for(gesture.hold, gesture.to(), stored(touch->said), kind));
    } else if (const auto* sweep = std::get_if<SweepAnswer>(&answer)) {
        if (kind != GestureKind::sweep) return bad_input("the gesture is a touch; its answer is one reading");
        if (sweep->said.size() != gesture.along.size())
            return bad_input(fmt::format("the sweep has {} joints, the answer {}", gesture.along.size(),
                                         sweep->said.size()));
        for (std::size_t i = 0; i < gesture.along.size(); ++i)
            entries.push_back(entry_for(gesture.hold, gesture.along[i], stored(sweep->said[i]), kind));
    } else {
        const auto& skip = std::get<SkipAnswer>(answer);
        NotMeasured none{skip.reason, {}};
        if (skip.joint.valid()) {
            if (skip.joint != gesture.hold &&
                std::find(gesture.along.begin(), gesture.along.end(), skip.joint) == gesture.along.end())
                return bad_input("the joint that cannot be reached is not in the gesture");
            none.joint = map_.joint(skip.joint).name;
        }
        for (JointIndex joint : gesture.along) entries.push_back(entry_for(gesture.hold, joint, none, kind));
    }
    for (const ReadingEntry& entry : entries)
        if (const auto* ohms = std::get_if<Ohms>(&entry.said); ohms != nullptr && !std::isfinite(ohms->value))
            return bad_input(
                "a reading's ohms must be a finite number; a reading beyond the meter's range is open");

    EYELET_ASSIGN(const std::vector<EntryName> names,
                  store_.add_entries(job_, entry_bodies(entries), options_.who));
    // On disk now. The engine takes the same answer under the first entry's name; an engine that were built
    // from the store would hold the same.
    const auto taken = engine_->answer(answer, names.front());
    if (!taken.ok()) {
        EYELET_TRY(store_.withdraw(job_, names, taken.error().message, options_.who));
        EYELET_TRY(rebuild());
        return taken.error();
    }
    for (std::size_t i = 0; i < taken.value().readings.size(); ++i) entries_.push_back(names.at(i));
    EYELET_ASSIGN(const Job job, store_.job(job_));
    // Where somebody else wrote meanwhile, more than this one edit has happened: next() takes it in.
    if (job.last_edit == last_edit_ + 1) last_edit_ = job.last_edit;
    asked_.reset();
    state_.reset();
    return {};
}

Status RingSession::volunteer(JointIndex from, JointIndex to, const Said& said) {
    if (from.raw() >= map_.joints.size() || to.raw() >= map_.joints.size() || from == to)
        return bad_input("a reading needs two different joints of the map");
    if (const auto* ohms = std::get_if<Ohms>(&said); ohms != nullptr && !std::isfinite(ohms->value))
        return bad_input(
            "a reading's ohms must be a finite number; a reading beyond the meter's range is open");
    const ReadingEntry entry = entry_for(
        from, to, std::visit([](const auto& one) -> StoredSaid { return one; }, said), GestureKind::touch);
    EYELET_ASSIGN(const auto names, store_.add_entries(job_, {entry}, options_.who));
    (void)names;
    return rebuild();
}

Result<Edit> RingSession::undo() {
    EYELET_ASSIGN(Edit edit, store_.undo(job_, options_.who, UndoScope::readings));
    EYELET_TRY(rebuild());
    return edit;
}

const RingState& RingSession::state() {
    if (!state_) state_ = engine_->state();
    return *state_;
}

std::vector<Link> RingSession::links() {
    std::vector<Link> links = proposals_.links;
    const RingState& now = state();
    for (std::size_t i = 0; i < links.size() && i < now.links.size(); ++i) {
        links[i].standing = now.links[i];
        if (i < now.link_beliefs.size()) links[i].probability = now.link_beliefs[i];
    }
    return links;
}

std::vector<EntryName> RingSession::entries_of(const Contradiction& contradiction) const {
    std::vector<EntryName> names;
    for (std::size_t place : contradiction.readings)
        if (place < entries_.size()) names.push_back(entries_[place]);
    return names;
}

ReadingEntry RingSession::entry_for(JointIndex from, JointIndex to, StoredSaid said, GestureKind kind) const {
    ReadingEntry entry;
    entry.from = map_.joint(from).name;
    entry.to = map_.joint(to).name;
    entry.said = std::move(said);
    entry.gesture = kind;
    entry.instrument = options_.instrument;
    entry.lead_ohm = options_.lead_ohm;
    entry.copper_below_ohm = options_.ring.copper_below_ohm;
    entry.open_above_ohm = options_.ring.open_above_ohm;
    entry.board_state = options_.board_state;
    return entry;
}

}  // namespace eyelet
