#include "eyelet/photo/likeliest_nets.h"

#include "eyelet/photo/link_model.h"
#include "eyelet/photo/net_groups.h"

namespace eyelet {

std::vector<std::vector<JointIndex>> likeliest_nets(const Assembly& assembly, const std::vector<Link>& links,
                                                    const NetOptions& options) {
    NetGroups groups(assembly, links);
    const auto weld = [&](JointIndex from, JointIndex to) {
        const std::size_t a = groups.root(from.raw());
        const std::size_t b = groups.root(to.raw());
        if (a != b) groups.join(std::min(a, b), std::max(a, b));
    };
    for (const Link& link : links)
        if (link.standing == Standing::proven) weld(link.from, link.to);
    for (const Cable& cable : assembly.cables)
        for (const Cable::Conductor& conductor : cable.conductors) weld(conductor.from, conductor.to);
    join_greedily(groups, [](const JoinFeatures& features) { return join_model().probability(features); }, options.join_above);
    return groups.all();
}

}  // namespace eyelet
