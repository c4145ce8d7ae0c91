// Pairs of pads that copper may join on one side, each with the likeliest way from one to the other.
#pragma once

#include <vector>

#include "eyelet/photo/region_graph.h"

namespace eyelet {

struct CandidateOptions {
    double most_doubt = 5.5;     // ways with more doubt than this (sum of -ln of even-handed chances) are not followed
    double passing_doubt = 0.05; // for going past another contact of an island
    int most_for_a_pad = 16;     // to pads after it in the list
};

struct Candidate {
    int a = 0;                  // pads, a < b
    int b = 0;
    double doubt = 0;           // sum over contacts of -ln(probability at the pass)
    double least_pass = 0;      // log-odds of the lowest contact
    int contacts = 0;           // contacts on the way; one: the pads' regions touch
    std::vector<int> way;       // pixels from a's pad to b's pad
    int open_px = 0;            // of the lowest contact
    int touching_px = 0;
};

// Ordered by (a, b); each pair once, with its least doubtful way.
[[nodiscard]] std::vector<Candidate> find_candidates(const RegionGraph& graph, const CandidateOptions& options = {});

}  // namespace eyelet
