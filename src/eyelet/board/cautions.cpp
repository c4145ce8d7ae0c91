#include "eyelet/board/cautions.h"

#include <array>

namespace eyelet {

namespace {

constexpr std::array kCautions{
    Caution{"power", "Power off before probes go on",
            "Unplug the unit and take out its batteries before any continuity reading. A reading on a live board "
            "is wrong at best; at worst it ends the meter, the board or you."},
    Caution{"charge", "Discharge capacitors and measure that they are empty",
            "Large capacitors hold a charge long after the plug is out. Bleed them through a resistor, never with a "
            "screwdriver, and measure the voltage before you touch anything near them."},
    Caution{"mains", "Mains and high voltage are for those who are qualified",
            "If the unit takes mains, or makes more than 60 V DC or 42.4 V peak, work under your local code. Where it "
            "asks for a licensed person, ask one. Use an isolated, current-limited supply for the first power-up."},
    Caution{"safety", "Safety-critical modules need more than this program",
            "Braking, airbags, medical devices, gas controls, lifts and the like: repair and release them only "
            "under the rules and by the people that are authorised for them. A proven map does not replace that."},
    Caution{"heat", "Hot tools and fumes",
            "Irons and hot air burn skin and benches. Work with extraction or an open window, wear eye protection, "
            "and wash your hands after leaded solder."},
    Caution{"leak", "What leaked is corrosive",
            "Electrolyte and battery leakage attack skin, eyes and copper. Wear gloves and glasses; clean under parts "
            "and inside vias too, not only where it shows."},
    Caution{"static", "Static kills parts without being felt",
            "Wear a wrist strap on a dissipative mat when you handle the board. You feel nothing at voltages that "
            "destroy a gate."},
    Caution{"memory", "Save what cannot be bought again",
            "Read out and store the contents of memories whose charge fades before any heat or power goes on."},
};

}  // namespace

std::span<const Caution> cautions() { return kCautions; }

}  // namespace eyelet
