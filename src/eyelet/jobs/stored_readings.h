// Readings between the store, where joints have names, and the ring-out engine, where they have places in a
// map.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/ringout/ring_out.h"

namespace eyelet {

struct StoredReadings {
    std::vector<Reading>
        readings;  // in the order of time; the readings of one gesture carry the name of its first entry
    std::vector<EntryName> entries;  // each reading's own
    std::vector<Skip> skips;
    std::vector<std::string> remarks;  // readings on joints that the map no longer has
    // Of the last reading that says them: what counted as copper and as open when the job was last rung out.
    std::optional<double> copper_below_ohm;
    std::optional<double> open_above_ohm;
};

// The engine's defaults with those thresholds.
[[nodiscard]] RingOptions options_of(const StoredReadings& readings);

[[nodiscard]] Result<StoredReadings> stored_readings(Store& store, const JobName& job, const Assembly& map);

[[nodiscard]] std::vector<EntryBody> entry_bodies(const std::vector<ReadingEntry>& readings);

}  // namespace eyelet
