#include "eyelet/copper/sheet.h"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "eyelet/copper/masked_grid.h"

namespace eyelet {

namespace {

using copper::Grid;

bool covers(const Contact& contact, Point p) {
    if (const auto* disc = std::get_if<Disc>(&contact)) return distance(disc->centre_mm, p) <= disc->radius_mm;
    return std::get<Box>(contact).contains(p);
}

Status check(const SheetMask& mask, const std::vector<Contact>& contacts, const SheetOptions& options) {
    if (mask.width <= 0 || mask.height <= 0 ||
        mask.copper.size() != static_cast<std::size_t>(mask.width) * static_cast<std::size_t>(mask.height))
        return bad_input("copper mask: it holds no cells, or not as many as its width and height say");
    if (mask.copper.size() > options.most_cells)
        return refused(fmt::format("copper mask: {} cells are more than the limit of {}; give a coarser mask", mask.copper.size(),
                                   options.most_cells));
    if (!(mask.mm_per_cell > 0) || !std::isfinite(mask.mm_per_cell))
        return bad_input("copper mask: the size of a cell must be a positive number of millimetres");
    if (options.ohms_per_square < 0 || !std::isfinite(options.ohms_per_square))
        return bad_input("resistance per square: it must be a positive number of ohms");
    if (!(options.solver_tolerance >= 1e-15 && options.solver_tolerance <= 1e-2))
        return bad_input("solver tolerance: it must lie between 1e-15 and 1e-2");
    if (options.threads < 1 || options.threads > 64) return bad_input("threads: give a number from 1 to 64");
    if (contacts.size() < 2) return bad_input("contacts: at least two are needed");
    if (contacts.size() > 200) return bad_input("contacts: no more than 200 at once");
    for (std::size_t k = 0; k < contacts.size(); ++k) {
        bool sound = true;
        if (const auto* disc = std::get_if<Disc>(&contacts[k]))
            sound = std::isfinite(disc->centre_mm.x) && std::isfinite(disc->centre_mm.y) && disc->radius_mm > 0 &&
                    std::isfinite(disc->radius_mm);
        else {
            const Box& box = std::get<Box>(contacts[k]);
            sound = box.high.x > box.low.x && box.high.y > box.low.y && std::isfinite(box.size().width + box.size().height);
        }
        if (!sound) return bad_input(fmt::format("contact {}: it must be a disc or a box of positive size in millimetres", k + 1));
    }
    return {};
}

// The grid of copper and contacts; cells that no contact reaches are left out.
Result<Grid> lay_out(const SheetMask& mask, const std::vector<Contact>& contacts) {
    Grid grid;
    grid.width = mask.width + 2;
    grid.height = mask.height + 2;
    grid.state.assign(static_cast<std::size_t>(grid.width) * static_cast<std::size_t>(grid.height), 0);
    const auto stride = static_cast<std::size_t>(grid.width);
    std::vector<std::uint8_t> raw(grid.size(), 0);
    for (int row = 0; row < mask.height; ++row)
        for (int column = 0; column < mask.width; ++column)
            raw[grid.at(column + 1, row + 1)] =
                mask.copper[static_cast<std::size_t>(row) * static_cast<std::size_t>(mask.width) + static_cast<std::size_t>(column)] != 0;

    std::vector<std::size_t> queue;
    for (std::size_t k = 0; k < contacts.size(); ++k) {
        Box around = std::holds_alternative<Box>(contacts[k]) ? std::get<Box>(contacts[k]) : Box{};
        if (const auto* disc = std::get_if<Disc>(&contacts[k]))
            around = {disc->centre_mm - Point{disc->radius_mm, disc->radius_mm},
                      disc->centre_mm + Point{disc->radius_mm, disc->radius_mm}};
        const auto cell = [&](double mm, int limit) {
            return static_cast<int>(std::clamp(std::floor(mm / mask.mm_per_cell), 0.0, static_cast<double>(limit - 1)));
        };
        std::size_t covered = 0;
        for (int row = cell(around.low.y, mask.height); row <= cell(around.high.y, mask.height); ++row)
            for (int column = cell(around.low.x, mask.width); column <= cell(around.high.x, mask.width); ++column) {
                const Point centre{(column + 0.5) * mask.mm_per_cell, (row + 0.5) * mask.mm_per_cell};
                const std::size_t i = grid.at(column + 1, row + 1);
                if (!raw[i] || !covers(contacts[k], centre)) continue;
                if (grid.state[i] >= 2)
                    return bad_input(fmt::format("contacts {} and {} overlap; they must lie apart", grid.state[i] - 1, k + 1));
                grid.state[i] = static_cast<std::uint8_t>(2 + k);
                queue.push_back(i);
                ++covered;
            }
        if (covered == 0)
            return bad_input(fmt::format("contact {}: it covers no copper; place it on the shape, larger than a cell of {:g} mm",
                                         k + 1, mask.mm_per_cell));
    }
    for (std::size_t i : queue)
        for (std::size_t j : {i - 1, i + 1, i - stride, i + stride})
            if (grid.state[j] >= 2 && grid.state[j] != grid.state[i])
                return bad_input(fmt::format("contacts {} and {} touch; there must be copper between them",
                                             std::min(grid.state[i], grid.state[j]) - 1, std::max(grid.state[i], grid.state[j]) - 1));
    while (!queue.empty()) {
        const std::size_t i = queue.back();
        queue.pop_back();
        for (std::size_t j : {i - 1, i + 1, i - stride, i + stride})
            if (raw[j] && grid.state[j] == 0) {
                grid.state[j] = 1;
                queue.push_back(j);
            }
    }
    return grid;
}

bool reaches(const Grid& grid, std::uint8_t from, std::uint8_t to) {
    const auto stride = static_cast<std::size_t>(grid.width);
    std::vector<bool> seen(grid.size(), false);
    std::vector<std::size_t> queue;
    for (std::size_t i = 0; i < grid.size(); ++i)
        if (grid.state[i] == from) {
            seen[i] = true;
            queue.push_back(i);
        }
    while (!queue.empty()) {
        const std::size_t i = queue.back();
        queue.pop_back();
        if (grid.state[i] == to) return true;
        for (std::size_t j : {i - 1, i + 1, i - stride, i + stride})
            if (grid.state[j] != 0 && !seen[j]) {
                seen[j] = true;
                queue.push_back(j);
            }
    }
    return false;
}

// Current that flows out of the cells in one state, in units of 1/Rs.
double current_out_of(const Grid& grid, const std::vector<double>& u, std::uint8_t state) {
    const auto stride = static_cast<std::size_t>(grid.width);
    double sum = 0;
    for (std::size_t i = stride; i < grid.size() - stride; ++i) {
        if (grid.state[i] != state) continue;
        for (std::size_t j : {i - 1, i + 1, i - stride, i + stride})
            if (grid.state[j] == 1) sum += 2 * (u[i] - u[j]);
    }
    return sum;
}

double squared_length(double a, double b) { return (a * a + a * b + b * b) / 3; }

// Dissipation of the potential that is bilinear between corner values, each the mean of the cells round it that
// copper joins there; contact cells and their corners stay at the contact's potential. Units of 1/Rs.
double dirichlet_energy(const Grid& grid, const std::vector<double>& u) {
    const auto stride = static_cast<std::size_t>(grid.width);
    // Value at the corner between the cells a (upper left), a+1, a+stride, a+stride+1, as cell `own` sees it.
    const auto corner = [&](std::size_t a, std::size_t own) {
        const std::size_t cells[4] = {a, a + 1, a + stride, a + stride + 1};
        const bool diagonal_only = (grid.state[cells[0]] != 0) == (grid.state[cells[3]] != 0) &&
                                   (grid.state[cells[1]] != 0) == (grid.state[cells[2]] != 0) &&
                                   (grid.state[cells[0]] != 0) != (grid.state[cells[1]] != 0);
        if (diagonal_only) return u[own];
        double sum = 0;
        int count = 0;
        for (std::size_t i : cells) {
            if (grid.state[i] >= 2) return u[i];
            if (grid.state[i] == 1) {
                sum += u[i];
                ++count;
            }
        }
        return sum / count;
    };
    double energy = 0;
    for (std::size_t i = stride; i < grid.size() - stride; ++i) {
        if (grid.state[i] != 1) continue;
        const double a = corner(i - stride - 1, i), b = corner(i - stride, i), c = corner(i - 1, i), d = corner(i, i);
        energy += squared_length(b - a, d - c) + squared_length(c - a, d - b);
    }
    return energy;
}

struct Faces {
    double west, east, north, south;  // current through them, positive towards x and y, units of 1/Rs
};
Faces faces_of(const Grid& grid, const std::vector<double>& u, std::size_t i) {
    const auto stride = static_cast<std::size_t>(grid.width);
    const auto flow = [&](std::size_t from, std::size_t to) {
        if (grid.state[from] == 0 || grid.state[to] == 0) return 0.0;
        return (grid.state[from] >= 2 || grid.state[to] >= 2 ? 2 : 1) * (u[from] - u[to]);
    };
    return {flow(i - 1, i), flow(i, i + 1), flow(i - stride, i), flow(i, i + stride)};
}

// Dissipation of the face currents, linear across each free cell. Units of 1/Rs.
double thomson_energy(const Grid& grid, const std::vector<double>& u) {
    const auto stride = static_cast<std::size_t>(grid.width);
    double energy = 0;
    for (std::size_t i = stride; i < grid.size() - stride; ++i) {
        if (grid.state[i] != 1) continue;
        const Faces f = faces_of(grid, u, i);
        energy += squared_length(f.west, f.east) + squared_length(f.north, f.south);
    }
    return energy;
}

double per_square(const SheetOptions& options) {
    return options.ohms_per_square > 0 ? options.ohms_per_square : ohms_per_square(35);
}

}  // namespace

double ohms_per_square(double thickness_um, double temperature_c) {
    return kCopperResistivity_ohm_mm * (1 + kCopperTemperatureCoefficient * (temperature_c - 20)) / (thickness_um * 1e-3);
}

Result<SheetAnswer> sheet_resistance(const SheetMask& mask, const Contact& from, const Contact& to,
                                     const SheetOptions& options) {
    const std::vector<Contact> contacts{from, to};
    EYELET_TRY(check(mask, contacts, options));
    EYELET_ASSIGN(const Grid grid, lay_out(mask, contacts));
    SheetAnswer answer;
    answer.cells = static_cast<std::size_t>(std::count_if(grid.state.begin(), grid.state.end(), [](auto s) { return s != 0; }));
    if (!reaches(grid, 2, 3)) {
        answer.open = true;
        return answer;
    }
    const copper::MaskedSolver solver(grid, options.threads);
    const copper::Solution solution = solver.solve({1.0, 0.0}, options.solver_tolerance);
    if (solution.outcome != copper::SolveOutcome::converged)
        return refused("copper mask: the field did not settle; try a coarser mask or a wider solver tolerance");
    const std::vector<double>& u = solution.potential;
    const double in = current_out_of(grid, u, 2);
    const double out = -current_out_of(grid, u, 3);
    const double rs = per_square(options);
    answer.iterations = solution.iterations;
    answer.current_balance = std::abs(in - out) / in;
    answer.lower_ohms = rs / dirichlet_energy(grid, u);
    answer.upper_ohms = rs * thomson_energy(grid, u) / (in * in);
    // Both bounds come nearer by the same power of the cell size; on shapes with corners and small contacts, against
    // grids sixteen times finer, the truth lay near the middle (sheet_test.cpp measures it).
    answer.ohms = 0.5 * (answer.lower_ohms + answer.upper_ohms);
    answer.error_ohms = 0.5 * (answer.upper_ohms - answer.lower_ohms) + solution.relative_energy_error * answer.ohms;
    answer.current_a_per_mm.assign(mask.copper.size(), 0.F);
    for (int row = 0; row < mask.height; ++row)
        for (int column = 0; column < mask.width; ++column) {
            const std::size_t i = grid.at(column + 1, row + 1);
            if (grid.state[i] != 1) continue;
            const Faces f = faces_of(grid, u, i);
            answer.current_a_per_mm[static_cast<std::size_t>(row) * static_cast<std::size_t>(mask.width) + static_cast<std::size_t>(column)] =
                static_cast<float>(std::hypot(0.5 * (f.west + f.east), 0.5 * (f.north + f.south)) / (in * mask.mm_per_cell));
        }
    return answer;
}

Result<ConductanceMatrix> sheet_conductances(const SheetMask& mask, const std::vector<Contact>& contacts,
                                             const SheetOptions& options) {
    EYELET_TRY(check(mask, contacts, options));
    EYELET_ASSIGN(const Grid grid, lay_out(mask, contacts));
    const copper::MaskedSolver solver(grid, options.threads);
    ConductanceMatrix matrix;
    matrix.contacts = contacts.size();
    matrix.siemens.assign(contacts.size() * contacts.size(), 0.0);
    const double rs = per_square(options);
    for (std::size_t j = 0; j < contacts.size(); ++j) {
        std::vector<double> held(contacts.size(), 0.0);
        held[j] = 1;
        const copper::Solution solution = solver.solve(held, options.solver_tolerance);
        if (solution.outcome != copper::SolveOutcome::converged)
            return refused("copper mask: the field did not settle; try a coarser mask or a wider solver tolerance");
        for (std::size_t i = 0; i < contacts.size(); ++i)
            matrix.siemens[i * contacts.size() + j] =
                current_out_of(grid, solution.potential, static_cast<std::uint8_t>(2 + i)) / rs;
    }
    return matrix;
}

}  // namespace eyelet
