#include "eyelet/synthetic/demo.h"

#include <algorithm>
#include <numeric>

#include "eyelet/synthetic/board_plan.h"
#include "eyelet/synthetic/damage.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {
namespace {

// Places in the lists of nets below: ground first, as BoardPlan asks.
constexpr int kGroundNet = 0;

Footprint with_colour(Footprint part, std::uint32_t colour) {
    for (Body& body : part.bodies)
        if (body.look == Look::plastic || body.look == Look::can_sleeve || body.look == Look::dipped ||
            body.look == Look::axial_body || body.look == Look::lens)
            body.colour = colour;
    return part;
}

Footprint moulded(Footprint part) {
    for (Body& body : part.bodies)
        if (body.look == Look::glass) body.look = Look::moulded;
    return part;
}

// The three bands of a resistor of value digits x 10^exponent, as Body::colour holds them.
constexpr std::uint32_t bands(std::uint32_t first, std::uint32_t second, std::uint32_t exponent) {
    return first | second << 4U | exponent << 8U;
}

class PlanWriter {
  public:
    PlanWriter(std::string name, Size size, std::uint64_t seed) : random_(seed) {
        plan.name = std::move(name);
        plan.recipe.seed = seed;
        plan.recipe.size_mm = size;
        plan.recipe.grid_mm = 0.15875;
        plan.recipe.gap_mm = 0.2;
        plan.recipe.signal_mm = 0.25;
        plan.recipe.wide_mm = 0.8;
        plan.recipe.power_mm = 1.4;
        plan.recipe.via_pad_mm = 0.9;
        plan.recipe.via_drill_mm = 0.45;
    }
    void put(const std::string& reference, const std::string& value, Footprint footprint, Point at,
             double degrees = 0) {
        plan.parts.push_back({reference, value, std::move(footprint), at, degrees});
    }
    void chip(const std::string& reference, const std::string& value, int pins, double row_mm, Point at,
              double degrees = 0) {
        put(reference, value, dip(random_, pins, row_mm), at, degrees);
    }
    void resistor(const std::string& reference, const std::string& value, std::uint32_t bands, Point at,
                  double degrees = 0) {
        put(reference, value, with_colour(resistor_, bands), at, degrees);
    }
    void diode(const std::string& reference, const std::string& value, Point at, double degrees = 0) {
        put(reference, value, diode_, at, degrees);
    }
    void ceramic(const std::string& reference, const std::string& value, Point at, double degrees = 0) {
        put(reference, value, with_colour(disc_capacitor(random_, 5.08), 0), at, degrees);
    }
    void can(const std::string& reference, const std::string& value, double diameter, Point at,
             double degrees = 0) {
        put(reference, value, with_colour(radial_can(random_, diameter), 1), at, degrees);
    }
    void hole(int number, Point at) { put("H" + std::to_string(number), "", hole_, at); }
    void net(const std::string& name, const std::string& joints,
             Router::Width width = Router::Width::signal) {
        plan.nets.push_back({name, joints, width});
    }
    void ground_pour(Side side, double edge) {
        FillPlan fill;
        fill.side = side;
        fill.net = kGroundNet;
        const Size size = plan.recipe.size_mm;
        fill.outline = {{edge, edge},
                        {size.width - edge, edge},
                        {size.width - edge, size.height - edge},
                        {edge, size.height - edge}};
        fill.clearance_mm = 0.35;
        fill.spoked = 1;
        fill.spoke_mm = 0.5;
        fill.ring_mm = 0.4;
        plan.fills.push_back(fill);
    }
    Random& random() { return random_; }

    BoardPlan plan;

  private:
    Random random_;
    // One box of each kind, as a maker buys them.
    Footprint resistor_ = axial_resistor(random_, 10.16);
    Footprint diode_ = moulded(axial_diode(random_, 10.16));
    Footprint hole_ = mounting_hole(random_, 3.2);
};

// Processor, program store, latches, reset and the cable to the drive board. Pins of the common parts are
// from memory of trade data; nothing depends on their being right.
BoardPlan main_plan() {
    PlanWriter w("main", {150, 105}, 41);
    for (int i = 0; i < 4; ++i) w.hole(i + 1, {i % 2 == 0 ? 5.0 : 145.0, i < 2 ? 5.0 : 100.0});
    w.chip("U1", "80C31", 40, 15.24, {36.83, 48.26});
    w.chip("U2", "27C256", 28, 15.24, {85.09, 38.1});
    w.chip("U3", "74HC573", 20, 7.62, {60.96, 38.1});
    w.chip("U4", "74HC573", 20, 7.62, {109.22, 38.1});
    w.chip("U5", "74HC14", 14, 7.62, {109.22, 72.39});
    w.put("U6", "7805", to220(w.random(), Stance::lying), {134.62, 45.72}, 180);
    w.put("Y1", "11.059MHz", crystal(w.random()), {17.78, 72.39}, 90);
    w.ceramic("C7", "22p", {25.4, 67.31}, 90);
    w.ceramic("C8", "22p", {25.4, 77.47}, 90);
    w.can("C1", "1000u 35V", 16, {130.81, 19.05}, 90);
    w.can("C2", "100u 16V", 8, {116.84, 13.97});
    w.can("C3", "10u 50V", 5, {21.59, 33.02}, 90);
    w.ceramic("C4", "100n", {85.09, 60.96});
    w.ceramic("C5", "100n", {60.96, 17.78});
    w.ceramic("C6", "100n", {109.22, 55.88});
    w.ceramic("C9", "100n", {96.52, 81.28}, 90);
    w.ceramic("C10", "100n", {36.83, 15.24});
    w.resistor("R1", "8k2", bands(8, 2, 2), {12.7, 33.02}, 90);
    w.resistor("R2", "10k", bands(1, 0, 3), {12.7, 50.8}, 90);
    w.resistor("R3", "4k7", bands(4, 7, 2), {123.19, 76.2}, 90);
    w.resistor("R4", "1k", bands(1, 0, 2), {129.54, 76.2}, 90);
    w.resistor("R5", "470R", bands(4, 7, 1), {135.89, 76.2}, 90);
    w.diode("D1", "1N4004", {102.87, 19.05}, 0);
    w.put("D2", "RED", with_colour(light(w.random()), 0xE02020), {143.51, 76.2}, 90);
    w.put("RN1", "8x10k", resistor_network(w.random(), 9), {17.78, 52.07}, 90);
    w.put("J1", "", with_colour(pin_header(w.random(), 8, 2, Shroud::box), 0x101010), {81.28, 96.52});
    w.put("J2", "", with_colour(pin_header(w.random(), 10, 1, Shroud::none), 0x101010), {4.445, 50.8}, 90);
    w.put("J3", "", with_colour(terminal_block(w.random(), 3), 0x206030), {92.71, 7.62}, 180);
    w.net("GND",
          "U1.20 U1.31 U2.14 U3.1 U3.10 U4.1 U4.10 U5.7 U6.2 C1.2 C2.2 C4.2 C5.2 C6.2 C7.2 C8.2 C9.2 C10.2 "
          "R1.2 D2.1 J1.3 J1.4 J1.16 J2.10 J3.2");
    w.net("+24V", "D1.1 C1.1 U6.1 J1.1 J1.2", Router::Width::power);
    w.net("24IN", "J3.1 D1.2", Router::Width::power);
    w.net("+5V",
          "U6.3 C2.1 U1.40 U2.28 U2.1 U3.20 U4.20 U5.14 C3.1 C4.1 C5.1 C6.1 C9.1 C10.1 RN1.1 R3.2 J1.15",
          Router::Width::wide);
    w.net("RST", "C3.2 R1.1 U1.9 R2.1");
    w.net("RSTIN", "R2.2 J2.9");
    w.net("XT1", "U1.19 Y1.1 C7.1");
    w.net("XT2", "U1.18 Y1.2 C8.1");
    const int latch_in[8]{2, 3, 4, 5, 6, 7, 8, 9};
    const int program_data[8]{11, 12, 13, 15, 16, 17, 18, 19};
    const int low_address[8]{10, 9, 8, 7, 6, 5, 4, 3};
    for (int bit = 0; bit < 8; ++bit) {
        const std::string in = std::to_string(latch_in[bit]);
        w.net("AD" + std::to_string(bit), "U1." + std::to_string(39 - bit) + " U3." + in + " U2." +
                                              std::to_string(program_data[bit]) + " U4." + in);
        w.net("A" + std::to_string(bit),
              "U3." + std::to_string(19 - bit) + " U2." + std::to_string(low_address[bit]));
        w.net("SEL" + std::to_string(bit + 1),
              "U4." + std::to_string(19 - bit) + " J1." + std::to_string(5 + bit));
        w.net("KEY" + std::to_string(bit + 1), "U1." + std::to_string(1 + bit) + " RN1." +
                                                   std::to_string(2 + bit) + " J2." +
                                                   std::to_string(1 + bit));
    }
    const int high_address[7]{25, 24, 21, 23, 2, 26, 27};
    for (int bit = 0; bit < 7; ++bit)
        w.net("A" + std::to_string(8 + bit),
              "U1." + std::to_string(21 + bit) + " U2." + std::to_string(high_address[bit]));
    w.net("A15", "U1.28 U2.20 U5.1");
    w.net("ALE", "U1.30 U3.11");
    w.net("PSEN", "U1.29 U2.22");
    w.net("WR", "U1.16 U5.3");
    w.net("LATCH", "U5.4 U4.11");
    w.net("ENABLE", "U1.15 U5.5");
    w.net("ENABLE2", "U5.6 J1.13");
    w.net("FEEDBACK", "J1.14 R3.1 U5.9");
    w.net("FEEDBACK2", "U5.8 U1.12");
    w.net("RUN", "U1.14 U5.11");
    w.net("RUN2", "U5.10 R5.1 R4.1");
    w.net("LAMP", "R5.2 D2.2");
    w.net("CAM", "J3.3 R4.2 U5.13");
    w.net("CAM2", "U5.12 U1.13");
    w.ground_pour(Side::solder, 0.8);
    w.plan.route_first = {"SEL4", "FEEDBACK2", "CAM2"};
    w.plan.texts = {{"ORLBECK", {22, 86}, 4, Side::component, false},
                    {"TAVRIN 12  MAIN  REV C", {22, 92.5}, 1.8, Side::component, false},
                    {"ORLBECK 4021-C", {60, 2}, 1.8, Side::component, true},
                    {"J1 TO DRIVE", {100, 101}, 1.4, Side::component, false}};
    return w.plan;
}

// Eight selector magnets: a resistor, a power transistor and a flyback diode each; feedback and supply.
BoardPlan drive_plan() {
    PlanWriter w("drive", {150, 95}, 57);
    w.plan.recipe.signal_mm = 0.5;
    w.plan.recipe.wide_mm = 1.0;
    w.plan.recipe.power_mm = 2.0;
    w.plan.recipe.gap_mm = 0.3;
    w.plan.recipe.via_pad_mm = 1.2;
    w.plan.recipe.via_drill_mm = 0.6;
    w.plan.recipe.grid_mm = 0.254;
    for (int i = 0; i < 4; ++i) w.hole(i + 1, {i % 2 == 0 ? 5.0 : 145.0, i < 2 ? 5.0 : 90.0});
    w.put("J1", "", with_colour(pin_header(w.random(), 8, 2, Shroud::box), 0x101010), {73.66, 86.36});
    std::string ground = "J1.3 J1.4 J1.16 C1.2 C2.2 C3.2 C4.2 U1.4 R20.2 Q9.1 RV1.1";
    std::string supply = "J1.1 J1.2 J3.1 C1.1 C2.1";
    const Footprint transistor = to220(w.random(), Stance::upright);
    for (int channel = 0; channel < 8; ++channel) {
        const double x = 17.78 + 15.24 * channel;
        const std::string n = std::to_string(channel + 1);
        w.put("Q" + n, "TIP122", transistor, {x, 38.1});
        w.diode("D" + n, "1N4004", {x, 24.13}, 0);
        w.resistor("R" + n, "1k", bands(1, 0, 2), {x, 50.8}, 0);
        w.net("BASE" + n, "R" + n + ".2 Q" + n + ".1");
        w.net("OUT" + n, "Q" + n + ".2 D" + n + ".2 J2." + n, Router::Width::wide);
        w.net("SEL" + n, "J1." + std::to_string(5 + channel) + " R" + n + ".1");
        ground += " Q" + n + ".3";
        supply += " D" + n + ".1";
    }
    w.put("J2", "", with_colour(terminal_block(w.random(), 8), 0x206030), {60.96, 8.89}, 180);
    w.put("J3", "", with_colour(terminal_block(w.random(), 2), 0x206030), {109.22, 8.89}, 180);
    w.can("C1", "1000u 35V", 16, {130.81, 70.0}, 90);
    w.can("C2", "1000u 35V", 16, {111.76, 70.0}, 90);
    w.can("C3", "47u 25V", 6.3, {44.45, 66.04}, 90);
    w.ceramic("C4", "100n", {17.78, 63.5});
    w.chip("U1", "LM393", 8, 7.62, {27.94, 72.39}, 90);
    w.put("RV1", "10k", trimmer(w.random()), {13.97, 77.47});
    w.resistor("R9", "10k", bands(1, 0, 3), {27.94, 83.82});
    w.resistor("R10", "4k7", bands(4, 7, 2), {41.91, 76.2}, 90);
    w.resistor("R11", "100k", bands(1, 0, 4), {27.94, 60.96});
    w.resistor("R12", "2k2", bands(2, 2, 2), {58.42, 66.04});
    w.resistor("R20", "0R47", bands(4, 7, 8), {95.25, 66.04}, 90);
    w.put("Q9", "BC547", to92(w.random()), {73.66, 66.04});
    std::vector<PlannedNet> channels = w.plan.nets;
    w.plan.nets.clear();
    w.net("GND", ground);
    w.net("+24V", supply, Router::Width::power);
    for (const PlannedNet& channel : channels) w.plan.nets.push_back(channel);
    w.net("+5V", "J1.15 C3.1 C4.1 U1.8 R10.2 R9.2 RV1.3", Router::Width::wide);
    w.net("SENSE", "R20.1 R11.1 J3.2");
    w.net("SENSE2", "R11.2 U1.3");
    w.net("LEVEL", "RV1.2 U1.2");
    w.net("FEEDBACK", "U1.1 R10.1 J1.14");
    w.net("ENABLE", "J1.13 R12.1");
    w.net("ENABLE2", "R12.2 Q9.2");
    w.net("HOLD", "Q9.3 R9.1 U1.5");
    w.ground_pour(Side::component, 1.0);
    w.plan.route_first = {"ENABLE", "+5V", "SEL7"};
    w.plan.texts = {{"ORLBECK", {108, 88}, 2.6, Side::component, false},
                    {"TAVRIN 12  DRIVE", {108, 84}, 1.5, Side::component, false},
                    {"ORLBECK 4022-B", {92, 92}, 1.8, Side::solder, true}};
    return w.plan;
}

std::vector<JointIndex> shifted(const std::vector<JointIndex>& net, std::size_t by) {
    std::vector<JointIndex> out;
    for (const JointIndex joint : net) out.push_back(JointIndex{joint.raw() + by});
    return out;
}

std::vector<std::vector<JointIndex>> of_all(const std::vector<DemoBoard>& boards, bool worn) {
    std::vector<std::vector<JointIndex>> nets;
    std::size_t first = 0;
    for (const DemoBoard& board : boards) {
        const Layout& layout = worn ? board.worn : board.sound;
        for (const auto& net : layout.nets) nets.push_back(shifted(net, first));
        first += layout.assembly.joints.size();
    }
    std::stable_sort(nets.begin(), nets.end(),
                     [](const auto& a, const auto& b) { return a.size() > b.size(); });
    return nets;
}

std::vector<std::vector<JointIndex>> with_cables(const std::vector<std::vector<JointIndex>>& nets,
                                                 const Assembly& assembly) {
    std::vector<std::size_t> net_of(assembly.joints.size());
    for (std::size_t n = 0; n < nets.size(); ++n)
        for (const JointIndex joint : nets[n]) net_of[joint.raw()] = n;
    std::vector<std::size_t> parent(nets.size());
    std::iota(parent.begin(), parent.end(), std::size_t{0});
    const auto find = [&](std::size_t n) {
        while (parent[n] != n) n = parent[n];
        return n;
    };
    for (const Cable& cable : assembly.cables)
        for (const Cable::Conductor& conductor : cable.conductors) {
            const std::size_t a = find(net_of[conductor.from.raw()]);
            const std::size_t b = find(net_of[conductor.to.raw()]);
            parent[std::max(a, b)] = std::min(a, b);
        }
    std::vector<std::vector<JointIndex>> joined(nets.size());
    for (std::size_t n = 0; n < nets.size(); ++n) {
        auto& into = joined[find(n)];
        into.insert(into.end(), nets[n].begin(), nets[n].end());
    }
    joined.erase(std::remove_if(joined.begin(), joined.end(), [](const auto& net) { return net.empty(); }),
                 joined.end());
    for (auto& net : joined) std::sort(net.begin(), net.end());
    std::stable_sort(joined.begin(), joined.end(),
                     [](const auto& a, const auto& b) { return a.size() > b.size(); });
    return joined;
}

// Both boards in one assembly, their joints named after their boards.
Assembly joined_assembly(const std::vector<DemoBoard>& boards, std::string name) {
    Assembly assembly;
    assembly.name = std::move(name);
    for (const DemoBoard& board : boards) {
        const Assembly& one = board.sound.assembly;
        const std::size_t first_joint = assembly.joints.size();
        const std::size_t first_part = assembly.parts.size();
        const BoardIndex index{assembly.boards.size()};
        assembly.boards.push_back(one.boards[0]);
        for (Joint joint : one.joints) {
            joint.name = JointName{board.name + "/" + joint.name.text()};
            joint.board = index;
            if (joint.part.valid()) joint.part = PartIndex{joint.part.raw() + first_part};
            assembly.joints.push_back(joint);
        }
        for (Part part : one.parts) {
            part.board = index;
            part.joints = shifted(part.joints, first_joint);
            assembly.parts.push_back(part);
        }
    }
    return assembly;
}

Point middle_of(const Layout& layout, const std::string& part) {
    for (const Part& one : layout.assembly.parts)
        if (one.name.text() == part) return 0.5 * (one.body.low + one.body.high);
    return {};
}

void leak(DemoBoard& board, const std::string& part, double radius_mm, double strength, Point drift) {
    const Point at = middle_of(board.sound, part);
    board.paint.stains.push_back({at, 1.0, strength, Side::component});  // the can's own crown
    board.paint.stains.push_back({at + drift, radius_mm, strength, Side::component});
    board.paint.stains.push_back({at + drift, 0.6 * radius_mm, 0.8 * strength, Side::solder});
}

}  // namespace

Demo make_demo(int width_px) {
    Demo demo;
    demo.maker = "Orlbeck";
    demo.machine = "Tavrin 12 circular knitting machine, selector control";
    demo.unit = "TV12-0388";
    demo.complaint =
        "Runs clean from cold. After about 40 minutes warm it drops selector pulses: single needles miss in "
        "feeds 3 and 6, "
        "then the pattern shifts. Cools down, runs clean again.";
    demo.condition = "40 minutes at working temperature, cabinet closed, all eight selectors pulsing";

    for (const BoardPlan& plan : {main_plan(), drive_plan()}) {
        BuiltBoard built = build(plan);
        for (const std::string& problem : built.unrouted) demo.unrouted.push_back(plan.name + ": " + problem);
        DemoBoard board;
        board.name = plan.name;
        board.sound = std::move(built.layout);
        board.worn = board.sound;
        const int height_px = width_px * 2 / 3;
        Shot shot;
        shot.width_px = width_px;
        shot.height_px = height_px;
        shot.fill = 0.9;
        shot.blur_px = 0.35 + width_px / 12000.0;
        const bool is_main = plan.name == "main";
        shot.tilt_x_deg = is_main ? 2.6 : -1.8;
        shot.tilt_y_deg = is_main ? -1.9 : 2.4;
        shot.turn_deg = is_main ? 0.9 : -1.3;
        shot.seed = is_main ? 11 : 21;
        board.component_side = shot;
        shot.side = Side::solder;
        shot.turn_deg = -shot.turn_deg * 0.7;
        shot.seed += 1;
        board.solder_side = shot;
        board.ties.seed = shot.seed;
        board.ties.click_error_px = width_px / 3000.0;
        board.paint.seed = shot.seed;
        if (!is_main) {  // another batch of board: darker, bluish mask
            board.paint.mask_over_laminate = {0.06F, 0.20F, 0.20F};
            board.paint.mask_over_copper = {0.08F, 0.29F, 0.26F};
            board.paint.light_from_deg = 120;
        }
        demo.boards.push_back(std::move(board));
    }
    demo.assembly = joined_assembly(demo.boards, demo.maker + " " + demo.machine);
    Cable cable{"W1", {}};
    for (int pin = 1; pin <= 16; ++pin) {
        const std::string n = std::to_string(pin);
        cable.conductors.push_back({demo.assembly.find_joint(JointName{"main/J1." + n}),
                                    demo.assembly.find_joint(JointName{"drive/J1." + n})});
    }
    demo.assembly.cables.push_back(cable);

    DemoBoard& main_board = demo.boards[0];
    DemoBoard& drive = demo.boards[1];
    leak(main_board, "C3", 6.5, 0.75, {1.0, 3.0});
    leak(main_board, "C2", 7, 0.5, {2.0, 2.5});
    leak(drive, "C3", 8, 0.7, {-1.5, 3.0});
    leak(drive, "C2", 10, 0.45, {-3.0, 2.0});
    const std::string lost = "C3.1";
    lose_pad(drive.worn, drive.worn.assembly.find_joint(JointName{lost}));

    demo.nets_sound = of_all(demo.boards, false);
    demo.nets_worn = of_all(demo.boards, true);
    demo.nets_worn_with_cable = with_cables(demo.nets_worn, demo.assembly);
    demo.findings = {
        {"leaked", "main", "C3", "", "10u 50V, reset: crust round the leads, electrolyte under the sleeve"},
        {"leaked", "main", "C2", "", "100u 16V behind the 5 V regulator: brown ring on the board"},
        {"leaked", "drive", "C3", "",
         "47u 25V, 5 V reservoir of the comparator: leads eaten, mask lifted round it"},
        {"bulged", "drive", "C2", "", "1000u 35V on the selector supply: crown raised, stain at its foot"},
        {"lost pad", "drive", "", "drive/" + lost,
         "the pad came away with the capacitor; copper to the next joint on 5 V is gone"},
    };
    return demo;
}

Photograph photograph(const DemoBoard& board, Side side) {
    const Shot& shot = side == Side::component ? board.component_side : board.solder_side;
    // More than 40 px/mm shows nothing new of such copper.
    const double scale = std::min(40.0, px_per_mm(shot, board.worn.assembly.boards[0].size_mm));
    return take(board.worn, draw_layers(board.worn, scale), board.paint, shot);
}

}  // namespace eyelet::synthetic
