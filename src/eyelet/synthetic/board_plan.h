// A board whose parts are placed by hand and whose nets are listed; the router does the copper.
#pragma once

#include <string>
#include <vector>

#include "eyelet/synthetic/fill.h"
#include "eyelet/synthetic/footprint.h"
#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/router.h"

namespace eyelet::synthetic {

struct PlannedPart {
    std::string reference;
    std::string value;
    Footprint footprint;
    Point at;
    double degrees = 0;
};

struct PlannedNet {
    std::string name;
    std::string joints;  // "U1.3 R2.1 J1.5"
    Router::Width width = Router::Width::signal;
};

struct PlannedText {
    std::string text;
    Point at;
    double height_mm = 1.5;
    Side side = Side::component;
    bool in_copper = false;
};

struct BoardPlan {
    std::string name;
    Recipe recipe;  // size, grid, widths and gap; theme and pour are not used
    std::vector<PlannedPart> parts;
    std::vector<PlannedNet> nets;          // the first is ground; a fill's net is a place in this list
    std::vector<std::string> route_first;  // nets in the order that was found to work
    int rounds = 12;                       // of laying all tracks anew, those that found no way first
    std::vector<FillPlan> fills;
    std::vector<PlannedText> texts;
};

struct BuiltBoard {
    Layout layout;
    std::vector<std::string> order;     // of the nets in the round that counts, for route_first
    std::vector<std::string> unrouted;  // joints that found no way, and names in nets that no part has
};

[[nodiscard]] BuiltBoard build(const BoardPlan& plan);

}  // namespace eyelet::synthetic
