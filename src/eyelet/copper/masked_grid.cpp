#include "eyelet/copper/masked_grid.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <thread>

namespace eyelet::copper {

namespace {

using Node = std::int32_t;
constexpr Node kNone = -1;
constexpr std::size_t kDirectBelow = 160;   // nodes: a dense factor costs nothing there
constexpr std::size_t kParallelAbove = 60'000;

// Splits [begin, end) between threads; each piece returns a sum.
template <class Body>
double parallel_sum(int threads, std::size_t begin, std::size_t end, const Body& body) {
    const std::size_t count = end - begin;
    if (threads <= 1 || count < kParallelAbove) return body(begin, end);
    std::vector<double> sums(static_cast<std::size_t>(threads), 0.0);
    std::vector<std::thread> workers;
    const auto piece = [&](std::size_t t) {
        const std::size_t parts = static_cast<std::size_t>(threads);
        sums[t] = body(begin + count * t / parts, begin + count * (t + 1) / parts);
    };
    for (std::size_t t = 1; t < static_cast<std::size_t>(threads); ++t) workers.emplace_back(piece, t);
    piece(0);
    for (std::thread& worker : workers) worker.join();
    return std::accumulate(sums.begin(), sums.end(), 0.0);
}

template <class Body>
void parallel_for(int threads, std::size_t begin, std::size_t end, const Body& body) {
    parallel_sum(threads, begin, end, [&](std::size_t from, std::size_t to) {
        body(from, to);
        return 0.0;
    });
}

// A coarse level: a graph of conductances, and what each node loses to the contacts.
struct Graph {
    std::vector<std::uint32_t> first;  // neighbours of node i: first[i] .. first[i+1]
    std::vector<Node> neighbour;
    std::vector<float> conductance;
    std::vector<float> diagonal;
    std::vector<float> to_contact;
    std::vector<std::int32_t> column, row;  // block in which the node lies
    std::vector<Node> parent;               // node of the next coarser level
    mutable std::vector<float> x, b, r, e;  // work space of a cycle

    [[nodiscard]] std::size_t size() const { return diagonal.size(); }
    void make_room() const {
        for (std::vector<float>* v : {&x, &b, &r, &e}) v->assign(size(), 0.F);
    }
};

// Joins conductances per pair of nodes, the distance between coarse nodes being twice that of the finer ones:
// half of the conductances' sum (of a face of two in parallel over twice the length, as of a chain).
constexpr float kCoarsening = 0.5F;

struct Edge {
    Node from, to;
    float conductance;
};

void fill(Graph& graph, std::size_t nodes, const std::vector<Edge>& edges) {
    graph.first.assign(nodes + 1, 0);
    for (const Edge& edge : edges) {
        ++graph.first[static_cast<std::size_t>(edge.from) + 1];
        ++graph.first[static_cast<std::size_t>(edge.to) + 1];
    }
    std::partial_sum(graph.first.begin(), graph.first.end(), graph.first.begin());
    std::vector<Node> neighbour(graph.first.back());
    std::vector<float> conductance(graph.first.back());
    std::vector<std::uint32_t> next(graph.first.begin(), graph.first.end() - 1);
    for (const Edge& edge : edges) {
        neighbour[next[static_cast<std::size_t>(edge.from)]] = edge.to;
        conductance[next[static_cast<std::size_t>(edge.from)]++] = edge.conductance;
        neighbour[next[static_cast<std::size_t>(edge.to)]] = edge.from;
        conductance[next[static_cast<std::size_t>(edge.to)]++] = edge.conductance;
    }
    // Merge what names the same neighbour twice.
    graph.neighbour.clear();
    graph.conductance.clear();
    graph.diagonal.assign(nodes, 0.F);
    std::uint32_t begin = 0;
    for (std::size_t i = 0; i < nodes; ++i) {
        const std::uint32_t end = graph.first[i + 1];
        const std::size_t start = graph.neighbour.size();
        double sum = 0;
        for (std::uint32_t k = begin; k < end; ++k) {
            const float g = kCoarsening * conductance[k];
            sum += g;
            const auto there = std::find(graph.neighbour.begin() + static_cast<std::ptrdiff_t>(start), graph.neighbour.end(), neighbour[k]);
            if (there == graph.neighbour.end()) {
                graph.neighbour.push_back(neighbour[k]);
                graph.conductance.push_back(g);
            } else {
                graph.conductance[static_cast<std::size_t>(there - graph.neighbour.begin())] += g;
            }
        }
        begin = end;
        graph.first[i + 1] = static_cast<std::uint32_t>(graph.neighbour.size());
        graph.to_contact[i] *= kCoarsening;
        graph.diagonal[i] = static_cast<float>(sum) + graph.to_contact[i];
    }
    graph.make_room();
}

// One coarser graph: nodes in the same block of two by two that an edge inside the block joins become one.
Graph coarsen(Graph& fine) {
    std::vector<Node> root(fine.size());
    std::iota(root.begin(), root.end(), 0);
    const auto find = [&](Node i) {
        while (root[static_cast<std::size_t>(i)] != i) {
            Node& up = root[static_cast<std::size_t>(i)];
            up = root[static_cast<std::size_t>(up)];
            i = up;
        }
        return i;
    };
    for (std::size_t i = 0; i < fine.size(); ++i)
        for (std::uint32_t k = fine.first[i]; k < fine.first[i + 1]; ++k) {
            const auto j = static_cast<std::size_t>(fine.neighbour[k]);
            if (fine.column[i] / 2 == fine.column[j] / 2 && fine.row[i] / 2 == fine.row[j] / 2) {
                const Node a = find(static_cast<Node>(i));
                const Node b = find(static_cast<Node>(j));
                if (a != b) root[static_cast<std::size_t>(std::max(a, b))] = std::min(a, b);
            }
        }
    Graph coarse;
    fine.parent.assign(fine.size(), kNone);
    for (std::size_t i = 0; i < fine.size(); ++i) {
        const auto top = static_cast<std::size_t>(find(static_cast<Node>(i)));
        if (fine.parent[top] == kNone) {  // a root is the smallest of its group, so it is met first
            fine.parent[top] = static_cast<Node>(coarse.column.size());
            coarse.column.push_back(fine.column[i] / 2);
            coarse.row.push_back(fine.row[i] / 2);
            coarse.to_contact.push_back(0.F);
        }
        fine.parent[i] = fine.parent[top];
        coarse.to_contact[static_cast<std::size_t>(fine.parent[i])] += fine.to_contact[i];
    }
    std::vector<Edge> edges;
    for (std::size_t i = 0; i < fine.size(); ++i)
        for (std::uint32_t k = fine.first[i]; k < fine.first[i + 1]; ++k) {
            const auto j = static_cast<std::size_t>(fine.neighbour[k]);
            if (i < j && fine.parent[i] != fine.parent[j]) edges.push_back({fine.parent[i], fine.parent[j], fine.conductance[k]});
        }
    fill(coarse, coarse.column.size(), edges);
    return coarse;
}

void relax_node(const Graph& graph, std::vector<float>& x, const std::vector<float>& b, std::size_t i) {
    float sum = b[i];
    for (std::uint32_t k = graph.first[i]; k < graph.first[i + 1]; ++k)
        sum += graph.conductance[k] * x[static_cast<std::size_t>(graph.neighbour[k])];
    x[i] = sum / graph.diagonal[i];
}

}  // namespace

struct MaskedSolver::Hierarchy {
    // Of a free cell: the sum of its conductances, 1 to a free neighbour, 2 to a contact, whose edge is half a
    // cell away; 0 for every other cell.
    std::vector<std::uint8_t> degree;
    std::vector<Node> parent;          // of a free cell, on the first coarse level
    std::vector<Graph> levels;
    std::vector<double> dense;         // Cholesky factor of the coarsest level
    mutable std::vector<float> z, w, t;

    void build(const Grid& grid, int threads);
    void cycle(std::size_t level) const;
    void solve_coarsest() const;
};

void MaskedSolver::Hierarchy::build(const Grid& grid, int threads) {
    const std::size_t n = grid.size();
    const auto stride = static_cast<std::size_t>(grid.width);
    degree.assign(n, 0);
    parallel_for(threads, stride, n - stride, [&](std::size_t from, std::size_t to) {
        for (std::size_t i = from; i < to; ++i)
            if (grid.state[i] == 1)
                for (std::size_t j : {i - 1, i + 1, i - stride, i + stride})
                    degree[i] = static_cast<std::uint8_t>(degree[i] + (grid.state[j] >= 2 ? 2 : grid.state[j]));
    });
    parent.assign(n, kNone);
    Graph first;
    const auto is_free = [&](std::size_t i) { return grid.state[i] == 1; };
    const auto add = [&](int column, int row) {
        first.column.push_back(column);
        first.row.push_back(row);
        first.to_contact.push_back(0.F);
        return static_cast<Node>(first.column.size() - 1);
    };
    for (int row = 0; row < grid.height; row += 2)
        for (int column = 0; column < grid.width; column += 2) {
            const std::size_t a = grid.at(column, row);
            const bool has_right = column + 1 < grid.width;
            const bool has_below = row + 1 < grid.height;
            const std::size_t cells[4] = {a, has_right ? a + 1 : a, has_below ? a + stride : a,
                                          has_right && has_below ? a + stride + 1 : a};
            const bool free[4] = {is_free(cells[0]), has_right && is_free(cells[1]), has_below && is_free(cells[2]),
                                  has_right && has_below && is_free(cells[3])};
            const int count = free[0] + free[1] + free[2] + free[3];
            if (count == 0) continue;
            const bool diagonal = count == 2 && (free[0] == free[3]);  // the two touch at a corner only
            Node shared = kNone;
            for (int k = 0; k < 4; ++k) {
                if (!free[k]) continue;
                if (shared == kNone || diagonal) shared = add(column / 2, row / 2);
                parent[cells[k]] = shared;
            }
        }
    std::vector<Edge> edges;
    edges.reserve(first.column.size() * 4);
    for (std::size_t i = stride; i < n - stride; ++i) {
        if (!is_free(i)) continue;
        int free_neighbours = 0;
        for (std::size_t j : {i - 1, i - stride}) free_neighbours += is_free(j);
        for (std::size_t j : {i + 1, i + stride})
            if (is_free(j)) {
                ++free_neighbours;
                if (parent[i] != parent[j]) edges.push_back({parent[i], parent[j], 1.F});
            }
        first.to_contact[static_cast<std::size_t>(parent[i])] += static_cast<float>(degree[i] - free_neighbours);
    }
    fill(first, first.column.size(), edges);
    levels.push_back(std::move(first));
    while (levels.back().size() > kDirectBelow) {
        Graph coarse = coarsen(levels.back());
        const bool worth_it = coarse.size() < levels.back().size();
        if (!worth_it) break;  // only pieces without edges to each other are left: relaxing solves them exactly
        levels.push_back(std::move(coarse));
    }
    const Graph& last = levels.back();
    if (last.size() <= kDirectBelow) {
        const std::size_t m = last.size();
        dense.assign(m * m, 0.0);
        for (std::size_t i = 0; i < m; ++i) {
            dense[i * m + i] = static_cast<double>(last.diagonal[i]);
            for (std::uint32_t k = last.first[i]; k < last.first[i + 1]; ++k)
                dense[i * m + static_cast<std::size_t>(last.neighbour[k])] -= static_cast<double>(last.conductance[k]);
        }
        for (std::size_t j = 0; j < m; ++j) {  // Cholesky, in place, lower triangle
            for (std::size_t k = 0; k < j; ++k)
                for (std::size_t i = j; i < m; ++i) dense[i * m + j] -= dense[i * m + k] * dense[j * m + k];
            const double pivot = std::sqrt(std::max(dense[j * m + j], std::numeric_limits<double>::min()));
            for (std::size_t i = j; i < m; ++i) dense[i * m + j] /= pivot;
        }
    }
    z.assign(n, 0.F);
    w.assign(n, 0.F);
    t.assign(n, 0.F);
}

void MaskedSolver::Hierarchy::solve_coarsest() const {
    const Graph& graph = levels.back();
    if (dense.empty()) {
        for (std::size_t i = 0; i < graph.size(); ++i) graph.x[i] = graph.b[i] / graph.diagonal[i];
        return;
    }
    const std::size_t m = graph.size();
    std::vector<double> y(graph.b.begin(), graph.b.end());
    for (std::size_t i = 0; i < m; ++i) {
        for (std::size_t k = 0; k < i; ++k) y[i] -= dense[i * m + k] * y[k];
        y[i] /= dense[i * m + i];
    }
    for (std::size_t i = m; i-- > 0;) {
        for (std::size_t k = i + 1; k < m; ++k) y[i] -= dense[k * m + i] * y[k];
        y[i] /= dense[i * m + i];
    }
    for (std::size_t i = 0; i < m; ++i) graph.x[i] = static_cast<float>(y[i]);
}

// One W-cycle from b to x on a coarse level: symmetric, so that conjugate gradients may use it.
void MaskedSolver::Hierarchy::cycle(std::size_t level) const {
    if (level + 1 == levels.size()) return solve_coarsest();
    const Graph& graph = levels[level];
    const Graph& coarse = levels[level + 1];
    std::fill(graph.x.begin(), graph.x.end(), 0.F);
    for (std::size_t i = 0; i < graph.size(); ++i) relax_node(graph, graph.x, graph.b, i);
    // The residual, summed over each coarse node.
    std::fill(coarse.b.begin(), coarse.b.end(), 0.F);
    for (std::size_t i = 0; i < graph.size(); ++i) {
        float r = graph.b[i] - graph.diagonal[i] * graph.x[i];
        for (std::uint32_t k = graph.first[i]; k < graph.first[i + 1]; ++k)
            r += graph.conductance[k] * graph.x[static_cast<std::size_t>(graph.neighbour[k])];
        coarse.b[static_cast<std::size_t>(graph.parent[i])] += r;
    }
    cycle(level + 1);
    if (level + 2 < levels.size()) {  // again, on what is left: the W of the cycle
        coarse.e = coarse.x;
        coarse.r = coarse.b;
        for (std::size_t i = 0; i < coarse.size(); ++i) {
            float r = coarse.r[i] - coarse.diagonal[i] * coarse.e[i];
            for (std::uint32_t k = coarse.first[i]; k < coarse.first[i + 1]; ++k)
                r += coarse.conductance[k] * coarse.e[static_cast<std::size_t>(coarse.neighbour[k])];
            coarse.b[i] = r;
        }
        cycle(level + 1);
        for (std::size_t i = 0; i < coarse.size(); ++i) coarse.x[i] += coarse.e[i];
    }
    for (std::size_t i = 0; i < graph.size(); ++i) graph.x[i] += coarse.x[static_cast<std::size_t>(graph.parent[i])];
    for (std::size_t i = graph.size(); i-- > 0;) relax_node(graph, graph.x, graph.b, i);
}

MaskedSolver::MaskedSolver(const Grid& grid, int threads)
    : hierarchy_(std::make_unique<Hierarchy>()), grid_(grid), threads_(threads) {
    hierarchy_->build(grid, threads);
}
MaskedSolver::~MaskedSolver() = default;

Solution MaskedSolver::solve(const std::vector<double>& held, double tolerance) const {
    const Hierarchy& h = *hierarchy_;
    const std::size_t n = grid_.size();
    const auto stride = static_cast<std::size_t>(grid_.width);
    const std::size_t begin = stride;
    const std::size_t end = n - stride;
    const auto potential_of = [&](std::size_t i) { return grid_.state[i] >= 2 ? held[grid_.state[i] - 2U] : 0.0; };

    Solution solution;
    std::vector<double>& x = solution.potential;
    x.assign(n, 0.0);
    std::vector<double> r(n, 0.0), p(n, 0.0), q(n, 0.0);
    double scale = 0;  // x.b at the solution is the energy's free part; the contacts' own part bounds it
    for (std::size_t i = begin; i < end; ++i) {
        if (h.degree[i] == 0) continue;
        r[i] = 2 * (potential_of(i - 1) + potential_of(i + 1) + potential_of(i - stride) + potential_of(i + stride));
        scale += r[i] * r[i];
    }

    // z = M r. Smoother on the fine grid: two steps of Chebyshev's iteration on the upper part of the spectrum of
    // D^-1 A, which lies in (0, 2); each is a matrix product without dependences, so it vectorises.
    constexpr float kUpper = 2.0F, kLower = 0.45F;
    constexpr float kTheta = 0.5F * (kUpper + kLower), kDelta = 0.5F * (kUpper - kLower);
    constexpr float kSigma = kTheta / kDelta;
    constexpr float kRho0 = 1 / kSigma;
    constexpr float kRho1 = 1 / (2 * kSigma - kRho0);
    const auto smooth = [&](std::vector<float>& z, bool from_zero) {
        std::vector<float>& w = h.w;  // the step
        std::vector<float>& t = h.t;
        parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
            for (std::size_t i = from; i < to; ++i) {
                const float d = static_cast<float>(h.degree[i]);
                const float inverse = d > 0 ? 1 / (kTheta * d) : 0.F;
                const float residual = from_zero ? static_cast<float>(r[i])
                                                 : static_cast<float>(r[i]) - d * z[i] + (z[i - 1] + z[i + 1]) + (z[i - stride] + z[i + stride]);
                w[i] = inverse * residual;
            }
        });
        parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
            if (from_zero)
                for (std::size_t i = from; i < to; ++i) z[i] = w[i];
            else
                for (std::size_t i = from; i < to; ++i) z[i] += w[i];
        });
        parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
            for (std::size_t i = from; i < to; ++i) {
                const float d = static_cast<float>(h.degree[i]);
                const float inverse = d > 0 ? 2 * kRho1 / (kDelta * d) : 0.F;
                const float residual =
                    static_cast<float>(r[i]) - d * z[i] + (z[i - 1] + z[i + 1]) + (z[i - stride] + z[i + stride]);
                t[i] = kRho1 * kRho0 * w[i] + inverse * residual;
            }
        });
        parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
            for (std::size_t i = from; i < to; ++i) z[i] += t[i];
        });
    };
    const auto precondition = [&] {
        std::vector<float>& z = h.z;
        smooth(z, true);
        const Graph& coarse = h.levels.front();
        std::fill(coarse.b.begin(), coarse.b.end(), 0.F);
        for (std::size_t i = begin; i < end; ++i) {
            const Node up = h.parent[i];
            if (up == kNone) continue;
            coarse.b[static_cast<std::size_t>(up)] += static_cast<float>(r[i]) - static_cast<float>(h.degree[i]) * z[i] +
                                                      (z[i - 1] + z[i + 1]) + (z[i - stride] + z[i + stride]);
        }
        h.cycle(0);
        parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
            for (std::size_t i = from; i < to; ++i)
                if (h.parent[i] != kNone) z[i] += coarse.x[static_cast<std::size_t>(h.parent[i])];
        });
        smooth(z, false);
        return parallel_sum(threads_, begin, end, [&](std::size_t from, std::size_t to) {
            double sum = 0;
            for (std::size_t i = from; i < to; ++i) sum += r[i] * static_cast<double>(z[i]);
            return sum;
        });
    };

    if (scale == 0) {
        solution.outcome = SolveOutcome::converged;
    } else {
        double rz = precondition();
        const double rz_start = rz;
        for (std::size_t i = begin; i < end; ++i) p[i] = static_cast<double>(h.z[i]);
        double energy = 0;       // of the iterate, growing by alpha rz each step
        double recent[3] = {std::numeric_limits<double>::infinity(), 0, 0};
        for (int iteration = 1; iteration <= 400; ++iteration) {
            const double pq = parallel_sum(threads_, begin, end, [&](std::size_t from, std::size_t to) {
                double sum = 0;
                for (std::size_t i = from; i < to; ++i) {
                    const double d = static_cast<double>(h.degree[i]);
                    const double value = d > 0 ? d * p[i] - (p[i - 1] + p[i + 1]) - (p[i - stride] + p[i + stride]) : 0.0;
                    q[i] = value;
                    sum += p[i] * value;
                }
                return sum;
            });
            const double alpha = rz / pq;
            parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
                for (std::size_t i = from; i < to; ++i) {
                    x[i] += alpha * p[i];
                    r[i] -= alpha * q[i];
                }
            });
            energy += alpha * rz;
            recent[2] = recent[1];
            recent[1] = recent[0];
            recent[0] = alpha * rz;
            solution.iterations = iteration;
            const double rz_next = precondition();
            // The energy that is still missing is about the sum of the steps to come (Hestenes and Stiefel 1952,
            // theorem 6:1); the step at hand bounds it once convergence is steady. rz shrinks as the error's square.
            solution.relative_energy_error = std::max(recent[0], rz_next) / std::max(energy, 1e-300);
            if (solution.relative_energy_error < tolerance || rz_next <= rz_start * 1e-26) {
                solution.outcome = SolveOutcome::converged;
                break;
            }
            const double beta = rz_next / rz;
            rz = rz_next;
            parallel_for(threads_, begin, end, [&](std::size_t from, std::size_t to) {
                for (std::size_t i = from; i < to; ++i) p[i] = static_cast<double>(h.z[i]) + beta * p[i];
            });
        }
    }
    for (std::size_t i = begin; i < end; ++i)
        if (grid_.state[i] >= 2) x[i] = held[grid_.state[i] - 2U];
    return solution;
}

}  // namespace eyelet::copper
