#include "eyelet/jobs/stored_readings.h"

#include <fmt/format.h>

#include <unordered_map>

namespace eyelet {

Result<StoredReadings> stored_readings(Store& store, const JobName& job, const Assembly& map) {
    EYELET_ASSIGN(const std::vector<Entry> journal, store.journal(job, EntryKind::reading));
    const auto joints = joints_by_name(map);
    StoredReadings found;
    std::int64_t edit = -1;
    EntryName gesture;
    Skip* skip = nullptr;
    std::size_t lost = 0;
    for (const Entry& entry : journal) {
        const auto& reading = std::get<ReadingEntry>(entry.body);
        if (entry.edit != edit) {
            edit = entry.edit;
            gesture = entry.name;
            skip = nullptr;
        }
        if (!entry.withdrawn && reading.copper_below_ohm && reading.open_above_ohm) {
            found.copper_below_ohm = reading.copper_below_ohm;
            found.open_above_ohm = reading.open_above_ohm;
        }
        const auto from = joints.find(reading.from);
        const auto to = joints.find(reading.to);
        // A map edit may have taken a joint away, or made a via of it.
        if (from == joints.end() || to == joints.end() || !map.joint(from->second).can_be_touched() ||
            !map.joint(to->second).can_be_touched()) {
            lost += entry.withdrawn ? 0 : 1;
            continue;
        }
        if (const auto* none = std::get_if<NotMeasured>(&reading.said)) {
            if (skip == nullptr) {
                found.skips.push_back({gesture, from->second, {}, {}, none->why, entry.withdrawn});
                skip = &found.skips.back();
                if (const auto unreached = joints.find(none->joint); unreached != joints.end())
                    skip->joint = unreached->second;
            }
            skip->along.push_back(to->second);
            continue;
        }
        Said said;
        if (const auto* ohms = std::get_if<Ohms>(&reading.said))
            said = *ohms;
        else if (std::holds_alternative<Beep>(reading.said))
            said = Beep{};
        else
            said = Open{};
        found.readings.push_back({gesture, from->second, to->second, said, entry.withdrawn});
        found.entries.push_back(entry.name);
    }
    if (lost > 0)
        found.remarks.push_back(
            fmt::format("{} readings name joints that the map no longer has; they are left out", lost));
    return found;
}

RingOptions options_of(const StoredReadings& readings) {
    RingOptions options;
    options.copper_below_ohm = readings.copper_below_ohm.value_or(options.copper_below_ohm);
    options.open_above_ohm = readings.open_above_ohm.value_or(options.open_above_ohm);
    return options;
}

std::vector<EntryBody> entry_bodies(const std::vector<ReadingEntry>& readings) {
    return {readings.begin(), readings.end()};
}

}  // namespace eyelet
