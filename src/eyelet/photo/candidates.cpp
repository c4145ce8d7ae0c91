#include "eyelet/photo/candidates.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <queue>

namespace eyelet {

namespace {

std::size_t at(int index) { return static_cast<std::size_t>(index); }

double doubt_of(double log_odds) { return std::log1p(std::exp(-log_odds)); }

// Where a walk stands: inside an island, at the entry of one of its contacts (a half).
struct Visit {
    double doubt = 0;
    int previous = -1;  // place in the list of visits; -1: came straight from the pad
    int half = 0;
    int crossing = -1;  // how it came here from the previous visit: inside the island over this crossing, or
                        // (-1) over the contact itself
};

void append_reversed(std::vector<int>& way, std::vector<int> piece) { way.insert(way.end(), piece.rbegin(), piece.rend()); }
void append(std::vector<int>& way, const std::vector<int>& piece) { way.insert(way.end(), piece.begin(), piece.end()); }

struct Walker {
    const RegionGraph& graph;
    const CandidateOptions& options;

    [[nodiscard]] int region_of(int half) const {
        const Contact& contact = graph.contacts[at(half / 2)];
        return half % 2 == 0 ? contact.a : contact.b;
    }
    [[nodiscard]] int pixel_of(int half) const {
        const Contact& contact = graph.contacts[at(half / 2)];
        return half % 2 == 0 ? contact.pixel_a : contact.pixel_b;
    }
    [[nodiscard]] static int over(int half) { return half ^ 1; }

    // From the crossing pixel of a half uphill to its entry into the island's body.
    [[nodiscard]] std::vector<int> climb(int half) const {
        std::vector<int> way = graph.way_back(pixel_of(half));
        const int entry = graph.entry[at(half)];
        const auto stop = std::find(way.begin(), way.end(), entry);
        way.erase(stop == way.end() ? stop : stop + 1, way.end());
        return way;
    }

    // Where the two pixels of a contact lie apart, the straight line from `half`'s to the other is part of the way.
    void leap(std::vector<int>& way, int half) const {
        if (!graph.contacts[at(half / 2)].leap) return;
        const int from = pixel_of(half);
        const int to = pixel_of(over(half));
        const int columns = to % graph.width - from % graph.width;
        const int rows = to / graph.width - from / graph.width;
        const int steps = std::max(std::abs(columns), std::abs(rows));
        for (int i = 1; i < steps; ++i) {
            const double t = static_cast<double>(i) / steps;
            const int column = from % graph.width + static_cast<int>(std::lround(t * columns));
            const int row = from / graph.width + static_cast<int>(std::lround(t * rows));
            way.push_back(row * graph.width + column);
        }
    }

    void from(int pad, std::map<int, Candidate>& found) const {
        std::vector<Visit> visits;
        std::map<int, double> least;  // half -> doubt
        using Entry = std::pair<double, int>;
        std::priority_queue<Entry, std::vector<Entry>, std::greater<>> queue;
        const auto arrive = [&](double doubt, int previous, int half, int crossing) {
            if (doubt > options.most_doubt) return;
            const auto [place, fresh] = least.try_emplace(half, doubt);
            if (!fresh && place->second <= doubt) return;
            place->second = doubt;
            visits.push_back({doubt, previous, half, crossing});
            queue.emplace(doubt, static_cast<int>(visits.size()) - 1);
        };
        const auto reach_pad = [&](double doubt, int previous, int half) {
            const int other = region_of(half);
            if (other <= pad || doubt > options.most_doubt) return;
            const auto place = found.find(other);
            if (place != found.end() && place->second.doubt <= doubt) return;
            found[other] = trace(pad, other, doubt, visits, previous, half);
        };
        // Leaves the present region over the contact of `half` (which lies in the present region).
        const auto leave = [&](double doubt, int previous, int half) {
            const double after = doubt + doubt_of(graph.contacts[at(half / 2)].pass);
            if (region_of(over(half)) < graph.pads)
                reach_pad(after, previous, over(half));
            else
                arrive(after, previous, over(half), -1);
        };
        for (const int contact : graph.contacts_of[at(pad)])
            leave(0, -1, 2 * contact + (graph.contacts[at(contact)].a == pad ? 0 : 1));
        while (!queue.empty()) {
            const auto [doubt, index] = queue.top();
            queue.pop();
            const Visit visit = visits[at(index)];
            if (least[visit.half] < doubt) continue;
            for (const int c : graph.crossings_of[at(visit.half)]) {
                const Crossing& crossing = graph.crossings[at(c)];
                const int next = crossing.half_a == visit.half ? crossing.half_b : crossing.half_a;
                // The next contact is a way out, or is passed by.
                const double passed = doubt + options.passing_doubt;
                const auto place = least.find(next);
                if (place == least.end() || place->second > passed) {
                    arrive(passed, index, next, c);
                    // Going out there costs nothing for passing.
                    const int here = static_cast<int>(visits.size()) - 1;
                    if (!visits.empty() && visits[at(here)].half == next && visits[at(here)].crossing == c)
                        leave(doubt, here, next);
                }
            }
        }
    }

    // Puts the pixels of the way together, from `half` (in the last pad) backwards over the visits.
    [[nodiscard]] Candidate trace(int a, int b, double doubt, const std::vector<Visit>& visits, int last, int half) const {
        Candidate candidate;
        candidate.a = a;
        candidate.b = b;
        candidate.doubt = doubt;
        candidate.least_pass = RegionGraph::kCeiling;
        std::vector<int> contacts;
        std::vector<int> way;  // from b to a
        append_reversed(way, graph.way_back(pixel_of(half)));
        contacts.push_back(half / 2);
        leap(way, half);
        int out = over(half);  // the half over which the way left the region before; it is the half of that visit
        for (int v = last; v >= 0;) {
            append(way, climb(out));
            while (visits[at(v)].crossing >= 0) {
                const Visit& visit = visits[at(v)];
                const Crossing& crossing = graph.crossings[at(visit.crossing)];
                const bool forward = crossing.half_b == visit.half;  // it came from half_a to half_b
                append_reversed(way, graph.way_back_inside(forward ? crossing.pixel_b : crossing.pixel_a));
                append(way, graph.way_back_inside(forward ? crossing.pixel_a : crossing.pixel_b));
                v = visit.previous;
            }
            append_reversed(way, climb(visits[at(v)].half));
            contacts.push_back(visits[at(v)].half / 2);
            leap(way, visits[at(v)].half);
            out = over(visits[at(v)].half);
            v = visits[at(v)].previous;
        }
        append(way, graph.way_back(pixel_of(out)));
        std::reverse(way.begin(), way.end());
        candidate.way = std::move(way);
        candidate.contacts = static_cast<int>(contacts.size());
        for (const int c : contacts) {
            const Contact& contact = graph.contacts[at(c)];
            if (contact.pass <= candidate.least_pass) {
                candidate.least_pass = contact.pass;
                candidate.open_px = contact.open_px;
                candidate.touching_px = contact.touching_px;
            }
        }
        return candidate;
    }
};

}  // namespace

std::vector<Candidate> find_candidates(const RegionGraph& graph, const CandidateOptions& options) {
    std::vector<Candidate> candidates;
    const Walker walker{graph, options};
    for (int pad = 0; pad < graph.pads; ++pad) {
        std::map<int, Candidate> found;
        walker.from(pad, found);
        std::vector<Candidate> mine;
        for (auto& [other, candidate] : found) mine.push_back(std::move(candidate));
        if (static_cast<int>(mine.size()) > options.most_for_a_pad) {
            std::stable_sort(mine.begin(), mine.end(),
                             [](const Candidate& x, const Candidate& y) { return x.doubt < y.doubt; });
            mine.resize(at(options.most_for_a_pad));
            std::sort(mine.begin(), mine.end(), [](const Candidate& x, const Candidate& y) { return x.b < y.b; });
        }
        std::move(mine.begin(), mine.end(), std::back_inserter(candidates));
    }
    return candidates;
}

}  // namespace eyelet
