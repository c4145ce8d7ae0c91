#include "eyelet/synthetic/board_plan.h"

#include <algorithm>
#include <sstream>
#include <unordered_map>

#include "eyelet/synthetic/placing.h"
#include "eyelet/synthetic/random.h"
#include "eyelet/synthetic/stroke_font.h"
#include "eyelet/synthetic/truth.h"

namespace eyelet::synthetic {
namespace {

Mirrored seen_from(Side side) {
    return side == Side::component ? Mirrored::no : Mirrored::yes;
}

void add_copper_texts(const BoardPlan& plan, Layout& layout, Router& router) {
    for (const PlannedText& text : plan.texts) {
        if (!text.in_copper) continue;
        for (const Shape& shape :
             text_strokes(text.text, text.at, text.height_mm, 0.25, 0, seen_from(text.side))) {
            layout.copper.push_back({shape, text.side, Copper::Kind::text, -1});
            router.occupy(shape, text.side, -1);
        }
    }
}

// Tracks cut a pour into pieces: each piece is tied to the largest one by a track. Returns the joints left
// over.
int bridge_pieces(const BoardPlan& plan, int net, const std::vector<JointIndex>& joints, Random& random,
                  Layout& layout) {
    Router router(plan.recipe, random, layout);
    router.allow_effort(40e6);
    for (const Copper& copper : layout.copper) router.occupy(copper.shape, copper.side, copper.net);
    int left = 0;
    std::vector<std::vector<JointIndex>> pieces;  // the net's own joints, by what joins them now
    for (const auto& true_net : true_nets(layout)) {
        std::vector<JointIndex> piece;
        for (const JointIndex joint : true_net)
            if (std::find(joints.begin(), joints.end(), joint) != joints.end()) piece.push_back(joint);
        if (!piece.empty()) pieces.push_back(piece);
    }
    std::stable_sort(pieces.begin(), pieces.end(),
                     [](const auto& a, const auto& b) { return a.size() > b.size(); });
    for (std::size_t k = 1; k < pieces.size(); ++k) {
        struct Pair {
            double apart_mm;
            JointIndex from, to;
        };
        std::vector<Pair> pairs;
        for (const JointIndex from : pieces[0])
            for (const JointIndex to : pieces[k])
                pairs.push_back(
                    {distance(layout.assembly.joint(from).hole, layout.assembly.joint(to).hole), from, to});
        std::stable_sort(pairs.begin(), pairs.end(),
                         [](const Pair& a, const Pair& b) { return a.apart_mm < b.apart_mm; });
        bool done = false;
        for (std::size_t i = 0; i < pairs.size() && i < 6 && !done; ++i)
            done = router.connect(net, {pairs[i].from, pairs[i].to}, Router::Width::wide) == 0;
        if (done)
            pieces[0].insert(pieces[0].end(), pieces[k].begin(), pieces[k].end());
        else
            left += static_cast<int>(pieces[k].size());
    }
    return left;
}

}  // namespace

BuiltBoard build(const BoardPlan& plan) {
    BuiltBoard built;
    Layout& layout = built.layout;
    Random random(plan.recipe.seed);
    const Size size = plan.recipe.size_mm;
    layout.assembly.name = plan.name;
    layout.assembly.boards.push_back(
        {BoardName{plan.name}, size, {{0, 0}, {size.width, 0}, {size.width, size.height}, {0, size.height}}});

    Placer placer(layout);
    for (const PlannedPart& part : plan.parts) {
        const Placer::Place place{part.at, part.degrees, Side::component};
        if (!placer.fits(part.footprint, place))
            built.unrouted.push_back(part.reference + " overlaps its neighbour or the edge");
        placer.put(part.footprint, place, part.reference, part.value);
    }

    const auto names = joints_by_name(layout.assembly);
    std::vector<std::vector<JointIndex>> members(plan.nets.size());
    for (std::size_t net = 0; net < plan.nets.size(); ++net) {
        std::istringstream words(plan.nets[net].joints);
        for (std::string word; words >> word;) {
            const auto found = names.find(JointName{word});
            if (found == names.end()) {
                built.unrouted.push_back(word + " is in net " + plan.nets[net].name + " and on no part");
                continue;
            }
            members[net].push_back(found->second);
            layout.wanted_net[found->second.raw()] = static_cast<int>(net);
        }
    }

    const auto filled = [&](std::size_t net) {
        for (const FillPlan& fill : plan.fills)
            if (fill.net == static_cast<int>(net)) return true;
        return false;
    };
    // Rounds: nets that found no way go first in the next one; the best round counts.
    std::vector<std::size_t> order;
    for (const std::string& name : plan.route_first)
        for (std::size_t net = 0; net < plan.nets.size(); ++net)
            if (plan.nets[net].name == name) order.push_back(net);
    for (std::size_t net = 0; net < plan.nets.size(); ++net)
        if (!filled(net) && std::find(order.begin(), order.end(), net) == order.end()) order.push_back(net);
    Layout best;
    std::vector<std::string> best_left(plan.nets.size() + 1);
    for (int round = 0; round < plan.rounds && !best_left.empty(); ++round) {
        Layout trial = layout;
        Router router(plan.recipe, random, trial);
        router.allow_effort(40e6);
        add_copper_texts(plan, trial, router);
        std::vector<std::string> left;
        std::vector<std::size_t> first;
        std::vector<std::size_t> then;
        for (const std::size_t net : order) {
            const int missing = router.connect(static_cast<int>(net), members[net], plan.nets[net].width);
            if (missing > 0)
                left.push_back(std::to_string(missing) + " joints of net " + plan.nets[net].name);
            (missing > 0 ? first : then).push_back(net);
        }
        if (left.size() < best_left.size()) {
            best_left = left;
            best = std::move(trial);
            built.order.clear();
            for (const std::size_t net : order) built.order.push_back(plan.nets[net].name);
        }
        order = first;
        order.insert(order.end(), then.begin(), then.end());
    }
    layout = std::move(best);
    built.unrouted.insert(built.unrouted.end(), best_left.begin(), best_left.end());
    for (const FillPlan& fill : plan.fills) add_fill(fill, random, layout);
    for (std::size_t net = 0; net < plan.nets.size(); ++net)
        if (filled(net)) {
            const int left = bridge_pieces(plan, static_cast<int>(net), members[net], random, layout);
            if (left > 0)
                built.unrouted.push_back(std::to_string(left) + " joints of net " + plan.nets[net].name +
                                         " outside its pour");
        }

    placer.print_references(random, 1.3);
    for (const PlannedText& text : plan.texts) {
        if (text.in_copper) continue;
        for (const Shape& shape :
             text_strokes(text.text, text.at, text.height_mm, text.height_mm * 0.14, 0, seen_from(text.side)))
            layout.print.push_back({shape, text.side});
    }
    layout.nets = true_nets(layout);
    return built;
}

}  // namespace eyelet::synthetic
