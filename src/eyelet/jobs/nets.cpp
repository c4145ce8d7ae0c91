#include "eyelet/jobs/nets.h"

#include <algorithm>

#include "eyelet/jobs/stored_readings.h"
#include "eyelet/photo/likeliest_nets.h"

namespace eyelet {

namespace {

// The job's ring-out as its stored readings leave it.
struct RungOut {
    Assembly map;
    Proposals proposals;
    RingState state;
};
Result<RungOut> rung_out(Store& store, const JobName& job) {
    EYELET_ASSIGN(MapVersion version, store.map(job));
    EYELET_ASSIGN(auto stored, store.proposals(job));
    RungOut result;
    if (stored) result.proposals = std::move(stored->proposals);
    EYELET_ASSIGN(StoredReadings readings, stored_readings(store, job, version.map));
    EYELET_ASSIGN(RingOut engine, RingOut::create(version.map, result.proposals, options_of(readings),
                                                  std::move(readings.readings), std::move(readings.skips)));
    result.state = engine.state();
    result.map = std::move(version.map);
    return result;
}

}  // namespace

std::vector<Net> nets_from_partition(const Assembly& map,
                                     const std::vector<std::vector<JointIndex>>& groups) {
    std::vector<Link> ties;
    for (const auto& group : groups)
        for (std::size_t i = 1; i < group.size(); ++i) {
            Link tie;
            tie.from = group[i - 1];
            tie.to = group[i];
            tie.probability = 1;
            ties.push_back(std::move(tie));
        }
    return nets_from_links(map, ties, 1);
}

Result<LinksOfJob> links_of(Store& store, const JobName& job) {
    EYELET_ASSIGN(RungOut rung, rung_out(store, job));
    LinksOfJob found;
    found.links = std::move(rung.proposals.links);
    for (std::size_t i = 0; i < found.links.size(); ++i) found.links[i].standing = rung.state.links.at(i);
    std::stable_sort(found.links.begin(), found.links.end(),
                     [](const Link& a, const Link& b) { return a.probability > b.probability; });
    found.map = std::move(rung.map);
    return found;
}

Result<NetsOfJob> nets_of(Store& store, const JobName& job, NetsFrom from) {
    NetsOfJob found;
    if (from == NetsFrom::readings) {
        EYELET_ASSIGN(RungOut rung, rung_out(store, job));
        found.map = std::move(rung.map);
        found.nets = std::move(rung.state.nets);
        return found;
    }
    EYELET_ASSIGN(MapVersion version, store.map(job));
    EYELET_ASSIGN(const auto stored, store.proposals(job));
    found.map = std::move(version.map);
    found.nets = nets_from_partition(
        found.map, likeliest_nets(found.map, stored ? stored->proposals.links : std::vector<Link>()));
    return found;
}

}  // namespace eyelet
