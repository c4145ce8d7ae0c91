// Resistance of a copper shape between contacts: the field problem of a thin sheet, solved on its mask.
//
// The sheet has a resistance per square Rs; between contacts held at fixed potentials the potential obeys
// Laplace's equation with no current across the copper's edge. Each cell of the mask is a square of the
// sheet; neighbouring cells are joined by a conductance 1/Rs (finite volumes).
//
// Two bounds enclose the exact resistance of the shape as the mask gives it (its edges are cell edges):
//   - from below, Dirichlet's principle: any potential that is continuous and right on the contacts
//     dissipates at least as much as the true one. Here: cell values averaged to the corners, bilinear between.
//   - from above, Thomson's principle: any current that is conserved dissipates at least as much as the true
//     one. Here: the finite-volume face currents, linear across each cell (Raviart-Thomas, lowest order).
// Source: R. Courant and D. Hilbert, "Methods of Mathematical Physics" vol. 1, chapter IV (both principles);
// J. W. Strutt (Rayleigh), "On the theory of resonance", Phil. Trans. 161 (1871). The answer lies between the
// two, the error is their distance from it. How well the mask follows the true edge is not in it.
//
// Solver: conjugate gradients, preconditioned by multigrid whose coarse cells never join copper that is
// apart: blocks of two by two are split into their connected pieces. Cost grows about linearly with the
// cells; memory is about 80 bytes a cell of the mask.
#pragma once

#include <cstddef>
#include <cstdint>
#include <variant>
#include <vector>

#include "eyelet/core/geometry.h"
#include "eyelet/core/result.h"

namespace eyelet {

// Standard annealed copper at 20 degrees Celsius, IEC 60028:1925: 1/58 ohm mm2/m.
inline constexpr double kCopperResistivity_ohm_mm = 1e-3 / 58;
// Its temperature coefficient at 20 degrees, constant mass, IEC 60028: 0.00393 per kelvin.
inline constexpr double kCopperTemperatureCoefficient = 0.00393;

// 35 um at 20 degrees: 0.4926 milliohm a square.
[[nodiscard]] double ohms_per_square(double thickness_um, double temperature_c = 20);

struct Disc {
    Point centre_mm;
    double radius_mm = 0;
};
using Contact = std::variant<Disc, Box>;  // millimetres, in the mask's frame

struct SheetMask {
    int width = 0;   // cells
    int height = 0;
    double mm_per_cell = 0;
    std::vector<std::uint8_t> copper;  // row by row, not zero is copper; cell (c, r) covers x = c .. c+1 cells
};

struct SheetOptions {
    double ohms_per_square = 0;  // 0: 35 um copper at 20 degrees
    // Of the solver alone: it stops when the dissipated power would change by less than this share; the currents
    // are then right to about its root. Range 1e-15 to 1e-2; 1e-5 is enough for a resistance to 0.1 %.
    double solver_tolerance = 1e-14;
    int threads = 2;             // 1 to 64
    std::size_t most_cells = 64'000'000;
};

struct SheetAnswer {
    bool open = false;  // no copper joins the contacts: then the rest means nothing
    double ohms = 0;
    double error_ohms = 0;       // largest distance of a bound from the answer, the solver's own error added
    double lower_ohms = 0;
    double upper_ohms = 0;
    double current_balance = 0;  // |current in - current out| / current in
    int iterations = 0;
    std::size_t cells = 0;       // of copper that the contacts reach
    // Current density for one ampere through the contacts, in A/mm of width, one value a mask cell; 0 off copper.
    std::vector<float> current_a_per_mm;
};

// Between two contacts. Errors: a mask of no size, a contact that covers no copper, contacts that touch.
[[nodiscard]] Result<SheetAnswer> sheet_resistance(const SheetMask& mask, const Contact& from, const Contact& to,
                                                   const SheetOptions& options = {});

struct ConductanceMatrix {
    std::size_t contacts = 0;
    std::vector<double> siemens;  // row by row: current into i for 1 V at j, the others at 0; rows sum to 0
    [[nodiscard]] double at(std::size_t i, std::size_t j) const { return siemens[i * contacts + j]; }
};
// Between N contacts, all against all, by finite volumes. Errors as above.
[[nodiscard]] Result<ConductanceMatrix> sheet_conductances(const SheetMask& mask, const std::vector<Contact>& contacts,
                                                           const SheetOptions& options = {});

}  // namespace eyelet
