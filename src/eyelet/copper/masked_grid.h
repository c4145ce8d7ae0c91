// Laplace's equation on the free cells of a masked grid, unit conductance between neighbours and two to a contact
// (whose edge is half a cell from the neighbour's centre), with contact cells held at fixed potentials. Solved by conjugate gradients with a multigrid preconditioner.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

namespace eyelet::copper {

// The grid with a border of one dead cell all round, so that every cell has four neighbours.
struct Grid {
    int width = 0;   // with the border
    int height = 0;
    // 0: no copper. 1: free. 2 + k: held at the potential of contact k.
    std::vector<std::uint8_t> state;

    [[nodiscard]] std::size_t size() const { return state.size(); }
    [[nodiscard]] std::size_t at(int column, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(width) + static_cast<std::size_t>(column);
    }
};

enum class SolveOutcome { converged, not_converged };

struct Solution {
    SolveOutcome outcome = SolveOutcome::not_converged;
    std::vector<double> potential;  // a value a cell: free cells solved, contact cells as held, 0 elsewhere
    int iterations = 0;
    double relative_energy_error = 0;  // estimate of what the answer may still change by
};

// The multigrid hierarchy depends on the grid only: build once, solve for as many potentials as needed.
// REQUIRES: every connected piece of free cells touches a contact.
class MaskedSolver {
  public:
    MaskedSolver(const Grid& grid, int threads);
    ~MaskedSolver();
    MaskedSolver(const MaskedSolver&) = delete;
    MaskedSolver& operator=(const MaskedSolver&) = delete;

    // `held[k]` is the potential of contact k. Stops when the energy would change by less than `tolerance`.
    [[nodiscard]] Solution solve(const std::vector<double>& held, double tolerance) const;

  private:
    struct Hierarchy;
    std::unique_ptr<Hierarchy> hierarchy_;
    const Grid& grid_;
    int threads_;
};

}  // namespace eyelet::copper
