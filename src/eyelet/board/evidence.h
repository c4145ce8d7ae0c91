// What is known, or proposed, about copper between joints. Engines meet in these types.
// A photograph proposes (Proposal, Lead, Unseen), a meter proves (Reading), and nets are derived.
#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "eyelet/board/map.h"

namespace eyelet {

enum class Standing { proposed, proven, refuted, stale };
[[nodiscard]] const char* name_of(Standing standing);

// Copper that seems to run directly from one joint to another on one side, with no joint between.
struct Link {
    JointIndex from;
    JointIndex to;
    std::optional<Side> side;       // none: a cable conductor
    double probability = 0;         // that copper joins them, calibrated
    Standing standing = Standing::proposed;
    std::vector<Point> path;        // polyline followed, in the board's frame; may be empty
    double width_mm = 0;            // median width of the copper along the path; 0 if not known
    double hidden = 0;              // share of the path under parts or print, 0 to 1
    std::string why;                // one short sentence for the person
};

// Copper that leaves a joint towards somewhere that the photograph does not show.
// Given generously: an omission is worse than a false alarm.
struct Lead {
    JointIndex joint;
    Side side = Side::component;
    double probability = 0;         // that the joint has a link which is in no list of links
    std::optional<Point> last_seen; // where the copper was last seen
};

// A part of a side that the photograph does not show, and why.
struct Unseen {
    BoardIndex board;
    Side side = Side::component;
    enum class Cause { part, print, glare, blur, outside } cause = Cause::part;
    std::vector<Point> outline;     // polygon in the board's frame
};
[[nodiscard]] const char* name_of(Unseen::Cause cause);

// All that photographs say about one assembly.
struct Proposals {
    std::vector<Link> links;
    std::vector<Lead> leads;
    std::vector<Unseen> unseen;
};

// What a meter said. Not measured is no reading at all; open and a value are different things.
struct Open {
    friend bool operator==(const Open&, const Open&) = default;
};
struct Beep {  // the meter's continuity tone: below the meter's own limit, which proves little
    friend bool operator==(const Beep&, const Beep&) = default;
};
struct Ohms {
    double value = 0;  // after lead resistance was taken off
    friend bool operator==(const Ohms&, const Ohms&) = default;
};
using Said = std::variant<Ohms, Open, Beep>;

struct Reading {
    EntryName entry;     // the journal entry that it rests on; empty inside a simulation
    JointIndex from;     // the held probe
    JointIndex to;       // the moving probe
    Said said;
    bool withdrawn = false;
};

// Joints that copper connects, derived from links and readings.
enum class NetStanding {
    proposed,  // rests on photographs
    proven,    // every joint of it is tied to the others by readings, and it is settled that no more belong to it
    joined,    // tied together by readings, but something may still be missing
    stale,
};
[[nodiscard]] const char* name_of(NetStanding standing);

struct Net {
    std::string name;  // after its largest part or lowest joint name: stable, and never entered by hand as truth
    NetStanding standing = NetStanding::proposed;
    std::vector<JointIndex> joints;  // pads only, in name order
};

}  // namespace eyelet
