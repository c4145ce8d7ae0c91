#include "eyelet/synthetic/layout.h"

#include <algorithm>
#include <cmath>

#include "eyelet/synthetic/fill.h"
#include "eyelet/synthetic/placing.h"
#include "eyelet/synthetic/random.h"
#include "eyelet/synthetic/router.h"
#include "eyelet/synthetic/stroke_font.h"
#include "eyelet/synthetic/truth.h"
#include "eyelet/synthetic/wiring.h"

namespace eyelet::synthetic {
namespace {

std::vector<Point> cut_corners(Box box, double cut) {
    return {{box.low.x + cut, box.low.y},   {box.high.x - cut, box.low.y},  {box.high.x, box.low.y + cut},
            {box.high.x, box.high.y - cut}, {box.high.x - cut, box.high.y}, {box.low.x + cut, box.high.y},
            {box.low.x, box.high.y - cut},  {box.low.x, box.low.y + cut}};
}

std::vector<std::vector<JointIndex>> joints_of_nets(const Layout& layout, int nets) {
    std::vector<std::vector<JointIndex>> members(static_cast<std::size_t>(nets));
    for (std::size_t j = 0; j < layout.wanted_net.size(); ++j)
        if (layout.wanted_net[j] >= 0)
            members[static_cast<std::size_t>(layout.wanted_net[j])].push_back(JointIndex{j});
    return members;
}

double spread_mm(const Layout& layout, const std::vector<JointIndex>& joints) {
    Box box{layout.assembly.joint(joints[0]).hole, layout.assembly.joint(joints[0]).hole};
    for (const JointIndex joint : joints) {
        const Point p = layout.assembly.joint(joint).hole;
        box = {{std::min(box.low.x, p.x), std::min(box.low.y, p.y)},
               {std::max(box.high.x, p.x), std::max(box.high.y, p.y)}};
    }
    return box.size().width + box.size().height;
}

FillPlan random_fill(const Recipe& recipe, Random& random) {
    FillPlan plan;
    plan.clearance_mm = std::max(recipe.gap_mm, random.pick({0.2, 0.25, 0.3, 0.4, 0.5, 0.6}));
    plan.least_width_mm = random.pick({0.25, 0.25, 0.3, 0.4});
    plan.spoked = random.pick({0.0, 0.8, 0.95, 1.0, 1.0});
    plan.spokes = random.pick({2, 3, 4, 4, 4, 4});
    plan.slanted_spokes = random.chance(0.25);
    plan.spoke_mm = random.uniform(0.25, 0.7);
    plan.ring_mm = random.uniform(0.25, 0.55);
    plan.keep_islands = random.chance(0.2);
    return plan;
}

// Power areas round the pins of a net.
void add_areas(const Recipe& recipe, Random& random, Layout& layout,
               const std::vector<std::vector<JointIndex>>& members) {
    const bool power =
        recipe.theme == Theme::power || recipe.theme == Theme::mixed || recipe.theme == Theme::surface;
    if (!random.chance(power ? 0.75 : 0.25)) return;
    const int wanted = random.integer(1, power ? 10 : 3);
    const double clearance = std::max(recipe.gap_mm, random.uniform(0.2, 0.6));
    for (int i = 0; i < wanted; ++i) {
        const std::size_t net = random.chance(0.4) ? static_cast<std::size_t>(kSupply)
                                                   : static_cast<std::size_t>(random.next() % members.size());
        if (members[net].size() < 2) continue;
        const Point seed = layout.assembly.joint(random.pick(members[net])).hole;
        const double reach = random.uniform(6, 25);
        Box box{seed, seed};
        Side side = random.chance(0.5) && recipe.two_layers ? Side::component : Side::solder;
        for (const JointIndex joint : members[net]) {
            const Point p = layout.assembly.joint(joint).hole;
            if (distance(p, seed) > reach) continue;
            if (!layout.assembly.joint(joint).on(side)) side = other(side);
            box = {{std::min(box.low.x, p.x), std::min(box.low.y, p.y)},
                   {std::max(box.high.x, p.x), std::max(box.high.y, p.y)}};
        }
        FillPlan plan = random_fill(recipe, random);
        plan.clearance_mm = clearance;
        plan.spoked = random.pick({0.0, 0.0, 0.5, 1.0});
        plan.side = side;
        plan.net = static_cast<int>(net);
        box = grown(box, random.uniform(1.5, 4));
        box.low = {std::max(box.low.x, 0.6), std::max(box.low.y, 0.6)};
        box.high = {std::min(box.high.x, recipe.size_mm.width - 0.6),
                    std::min(box.high.y, recipe.size_mm.height - 0.6)};
        const double cut = random.chance(0.6)
                               ? random.uniform(0.3, 0.3 * std::min(box.size().width, box.size().height))
                               : 0.05;
        plan.outline = cut_corners(box, cut);
        add_fill(plan, random, layout);
    }
}

void add_pours(const Recipe& recipe, Random& random, Layout& layout) {
    if (recipe.pour == Pour::none) return;
    const Side first = recipe.two_layers && random.chance(0.4) ? Side::component : Side::solder;
    FillPlan plan = random_fill(recipe, random);
    plan.net = kGround;
    plan.side = first;
    const double edge = random.uniform(0.4, 1.5);
    plan.outline = cut_corners({{edge, edge}, {recipe.size_mm.width - edge, recipe.size_mm.height - edge}},
                               random.chance(0.3) ? 3.0 : 0.05);
    if (recipe.hatched) {
        plan.hatch_mm = random.uniform(0.9, 2.2);
        plan.hatch_line_mm = plan.hatch_mm * random.uniform(0.3, 0.5);
        plan.hatch_slanted = random.chance(0.5);
    }
    add_fill(plan, random, layout);
    if (recipe.pour == Pour::both_sides) {
        plan.side = other(first);
        if (random.chance(0.25)) plan.net = kSupply;
        add_fill(plan, random, layout);
    }
}

std::string random_word(Random& random, int length) {
    std::string word;
    for (int i = 0; i < length; ++i)
        word += random.pick<const char*>({"BDFGKLMNPRSTVZ", "AEIOU"})[random.integer(0, 4)];
    return word;
}

void add_copper_text(Random& random, Layout& layout, Router& router, Size board, const Recipe& recipe) {
    const std::string text =
        random_word(random, random.integer(3, 8)) + " " + std::to_string(random.integer(1, 99));
    const Side side = recipe.two_layers && random.chance(0.5) ? Side::component : Side::solder;
    const double height = random.uniform(1.2, 2.5);
    const double width = text_width_mm(text, height);
    for (int tries = 0; tries < 25; ++tries) {
        const Point at{random.uniform(2, board.width - 2), random.uniform(2, board.height - 2)};
        const Box box{{side == Side::component ? at.x : at.x - width, at.y},
                      {side == Side::component ? at.x + width : at.x, at.y + height}};
        if (box.low.x < 1.5 || box.high.x > board.width - 1.5 || box.high.y > board.height - 1.5) continue;
        if (!router.is_free(side, grown(box, 0.4))) continue;
        for (const Shape& shape : text_strokes(text, at, height, random.uniform(0.2, 0.3), 0,
                                               side == Side::component ? Mirrored::no : Mirrored::yes)) {
            layout.copper.push_back({shape, side, Copper::Kind::text, -1});
            router.occupy(shape, side, -1);
        }
        return;
    }
}

void add_print(const Recipe& recipe, Random& random, Layout& layout, Placer& placer) {
    if (random.chance(0.12)) {  // some boards carry no print
        layout.print.clear();
        return;
    }
    placer.print_references(random, random.uniform(0.8, 1.8));
    const int titles = random.integer(0, 3);
    for (int i = 0; i < titles; ++i) {
        const double height = random.log_uniform(1.2, 0.035 * recipe.size_mm.width + 1);
        const Side side = random.chance(0.75) ? Side::component : Side::solder;
        const bool upright = random.chance(0.3);
        const Point at{random.uniform(0.05, 0.7) * recipe.size_mm.width,
                       random.uniform(0.1, 0.9) * recipe.size_mm.height};
        for (const Shape& shape : text_strokes(
                 random_word(random, random.integer(3, 9)) + " " + std::to_string(random.integer(1, 2030)),
                 at, height, height * random.uniform(0.1, 0.2), upright ? 90 : 0,
                 side == Side::component ? Mirrored::no : Mirrored::yes))
            layout.print.push_back({shape, side});
    }
    const int frames = random.integer(0, 3);
    for (int i = 0; i < frames; ++i) {
        const Point at{random.uniform(2, recipe.size_mm.width * 0.7),
                       random.uniform(2, recipe.size_mm.height * 0.7)};
        const Box box{at,
                      {at.x + random.uniform(8, recipe.size_mm.width * 0.4),
                       at.y + random.uniform(6, recipe.size_mm.height * 0.4)}};
        const Side side = random.chance(0.8) ? Side::component : Side::solder;
        layout.print.push_back({outline_of(box, random.uniform(0.15, 0.4)), side});
        if (random.chance(0.15)) layout.print.push_back({rectangle({at, {at.x + 6, at.y + 3}}), side});
    }
}

}  // namespace

Recipe random_recipe(std::uint64_t seed) {
    Random random(seed);
    Recipe recipe;
    recipe.seed = seed;
    recipe.theme = random.pick({Theme::digital, Theme::analogue, Theme::power, Theme::surface, Theme::mixed});
    const bool fine = recipe.theme == Theme::surface || recipe.theme == Theme::mixed;
    recipe.two_layers = fine                             ? random.chance(0.95)
                        : recipe.theme == Theme::digital ? random.chance(0.95)
                                                         : random.chance(0.65);
    switch (random.weighted({6, 1, fine ? 0.3 : 2.0})) {
        case 0:
            recipe.routing = Routing::diagonal;
            break;
        case 1:
            recipe.routing = Routing::orthogonal;
            break;
        default:
            recipe.routing = Routing::hand_drawn;
            break;
    }
    switch (random.weighted({3, 4, recipe.two_layers ? 4.0 : 0.0})) {
        case 0:
            recipe.pour = Pour::none;
            break;
        case 1:
            recipe.pour = Pour::one_side;
            break;
        default:
            recipe.pour = Pour::both_sides;
            break;
    }
    recipe.hatched = random.chance(0.08);
    const double long_mm = fine ? random.log_uniform(40, 110) : random.log_uniform(50, 160);
    recipe.size_mm = {std::round(long_mm), std::round(std::max(35.0, long_mm * random.uniform(0.5, 1.0)))};
    if (random.chance(0.3)) std::swap(recipe.size_mm.width, recipe.size_mm.height);
    if (fine) {
        recipe.grid_mm = 0.127;
        recipe.gap_mm = random.pick({0.15, 0.15, 0.18, 0.2});
        recipe.signal_mm = random.pick({0.15, 0.2, 0.2, 0.25});
        recipe.wide_mm = random.uniform(0.3, 0.6);
        recipe.power_mm = random.uniform(0.5, 1.5);
        recipe.via_pad_mm = random.uniform(0.55, 0.8);
    } else {
        recipe.grid_mm = recipe.theme == Theme::digital ? 0.1588 : 0.254;
        recipe.gap_mm =
            recipe.theme == Theme::digital ? random.uniform(0.15, 0.25) : random.uniform(0.2, 0.5);
        recipe.signal_mm =
            recipe.theme == Theme::digital ? random.uniform(0.2, 0.35) : random.uniform(0.3, 0.9);
        recipe.wide_mm = std::max(recipe.signal_mm, random.uniform(0.5, 1.2));
        recipe.power_mm = std::max(recipe.wide_mm, random.uniform(0.8, 2.5));
        recipe.via_pad_mm = random.uniform(0.7, 1.4);
    }
    recipe.via_drill_mm = recipe.via_pad_mm * random.uniform(0.42, 0.55);
    recipe.fullness = random.uniform(0.45, 1.0);
    return recipe;
}

Layout make_layout(const Recipe& recipe) {
    Random random(recipe.seed ^ 0x5EEDULL);
    Layout layout;
    layout.assembly.name = "board " + std::to_string(recipe.seed);
    const Size size = recipe.size_mm;
    layout.assembly.boards.push_back(
        {BoardName{"main"}, size, {{0, 0}, {size.width, 0}, {size.width, size.height}, {0, size.height}}});
    layout.vias_tented = random.chance(0.85);
    layout.masked = random.chance(0.97);
    layout.mask_expansion_mm = random.uniform(0.0, 0.12);

    Placer placer(layout);
    place_parts(recipe, random, layout, placer);
    int nets = invent_nets(recipe, random, placer, layout);

    // Some lone pins get a track that leads nowhere.
    std::vector<JointIndex> stubs;
    const double stub_share = random.pick({0.0, 0.0, 0.1, 0.3});
    for (std::size_t j = 0; j < layout.wanted_net.size(); ++j)
        if (layout.wanted_net[j] == -1 && random.chance(stub_share)) {
            layout.wanted_net[j] = nets++;
            stubs.push_back(JointIndex{j});
        }

    Router router(recipe, random, layout);
    if (random.chance(0.3)) add_copper_text(random, layout, router, size, recipe);
    std::vector<std::vector<JointIndex>> members = joints_of_nets(layout, nets);
    if (recipe.pour != Pour::none && recipe.two_layers)
        for (const JointIndex joint : members[kGround])
            if (layout.assembly.joint(joint).sides != JointSides::both && random.chance(0.85))
                router.fan_out(kGround, joint);

    std::vector<std::size_t> order;
    for (std::size_t net = 1; net < members.size(); ++net)
        if (members[net].size() > 1) order.push_back(net);
    std::vector<double> spread(members.size(), 0);
    for (const std::size_t net : order) spread[net] = spread_mm(layout, members[net]);
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return spread[a] < spread[b]; });
    const double wide_share = recipe.theme == Theme::power      ? 0.6
                              : recipe.theme == Theme::analogue ? 0.25
                                                                : 0.1;
    for (const std::size_t net : order) {
        Router::Width width = net == kSupply ? Router::Width::power : Router::Width::signal;
        if (net != kSupply && random.chance(wide_share))
            width = random.chance(0.4) ? Router::Width::power : Router::Width::wide;
        router.connect(static_cast<int>(net), members[net], width);
    }
    if (recipe.pour == Pour::none && members[kGround].size() > 1)
        router.connect(kGround, members[kGround], Router::Width::power);
    for (const JointIndex joint : stubs) router.stub(layout.wanted_net[joint.raw()], joint);

    add_areas(recipe, random, layout, members);
    add_pours(recipe, random, layout);
    add_print(recipe, random, layout, placer);
    layout.nets = true_nets(layout);
    return layout;
}

}  // namespace eyelet::synthetic
