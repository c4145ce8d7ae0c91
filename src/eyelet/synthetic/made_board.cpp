#include "eyelet/synthetic/made_board.h"

#include <algorithm>
#include <cmath>

#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {
namespace {

// Rows of packages of 8 to 40 pins at 2.54 mm, as wide as the board is high.
void add_packages(std::size_t joints, Random& random, Assembly& assembly) {
    const double side = std::max(30.0, 6.5 * std::sqrt(static_cast<double>(joints)));
    double x = 5;
    double y = 5;
    double deepest = 0;
    while (assembly.joints.size() < joints) {
        const std::size_t pins =
            std::min(joints - assembly.joints.size(),
                     static_cast<std::size_t>(random.pick({2, 2, 2, 3, 8, 14, 16, 20, 28, 40})));
        const std::size_t half = pins < 4 ? 1 : (pins + 1) / 2;
        const double width = pins < 4 ? 10.16 : 7.62;
        if (x + width > side) {
            x = 5;
            y += deepest + 6;
            deepest = 0;
        }
        const PartIndex index{assembly.parts.size()};
        Part part;
        part.name = PartName{(pins < 4 ? "R" : "U") + std::to_string(index.raw() + 1)};
        part.board = BoardIndex{0};
        part.kind = pins < 4 ? "axial_resistor" : "dip";
        for (std::size_t pin = 0; pin < pins; ++pin) {
            Joint joint;
            joint.name = JointName{part.name.text() + "." + std::to_string(pin + 1)};
            joint.board = BoardIndex{0};
            joint.part = index;
            joint.pin = std::to_string(pin + 1);
            const bool left = pin < half;
            const std::size_t row = left ? pin : pins < 4 ? pin - 1 : pins - 1 - pin;
            joint.hole = joint.copper_centre = {x + (left ? 0 : width), y + 2.54 * static_cast<double>(row)};
            joint.pad_mm = {1.6, 1.6};
            joint.drill_mm = Size{0.8, 0.8};
            part.joints.push_back(JointIndex{assembly.joints.size()});
            assembly.joints.push_back(joint);
        }
        const double depth = 2.54 * static_cast<double>(half);
        part.body = {{x, y}, {x + width, y + depth}};
        deepest = std::max(deepest, depth);
        x += width + 4;
        assembly.parts.push_back(part);
    }
    const Size size{side + 10, y + deepest + 10};
    assembly.boards.push_back(
        {BoardName{"main"}, size, {{0, 0}, {size.width, 0}, {size.width, size.height}, {0, size.height}}});
}

// Joints by place, so that neighbours are found without comparing all pairs.
class Neighbours {
  public:
    explicit Neighbours(const Assembly& assembly)
        : size_(assembly.boards[0].size_mm), columns_(static_cast<std::size_t>(size_.width / kCell) + 1) {
        cells_.resize(columns_ * (static_cast<std::size_t>(size_.height / kCell) + 1));
        for (std::size_t j = 0; j < assembly.joints.size(); ++j)
            cells_[cell(assembly.joints[j].hole)].push_back(j);
    }
    // A joint somewhere within about `reach_mm` of the point, or an invalid one where the board has none.
    [[nodiscard]] JointIndex any_near(Random& random, Point p, double reach_mm) const {
        const Point there{p.x + random.uniform(-reach_mm, reach_mm),
                          p.y + random.uniform(-reach_mm, reach_mm)};
        if (there.x < 0 || there.y < 0 || there.x >= size_.width || there.y >= size_.height) return {};
        const auto& found = cells_[cell(there)];
        return found.empty() ? JointIndex{} : JointIndex{random.pick(found)};
    }

  private:
    static constexpr double kCell = 12;
    [[nodiscard]] std::size_t cell(Point p) const {
        return static_cast<std::size_t>(p.y / kCell) * columns_ + static_cast<std::size_t>(p.x / kCell);
    }
    Size size_;
    std::size_t columns_;
    std::vector<std::vector<std::size_t>> cells_;
};

// Two large nets, many small ones of neighbours, some lone pads.
std::vector<std::vector<JointIndex>> invent(Random& random, const Assembly& assembly,
                                            const Neighbours& neighbours) {
    std::vector<std::vector<JointIndex>> nets(2);
    std::vector<char> taken(assembly.joints.size(), 0);
    std::vector<std::size_t> order(assembly.joints.size());
    for (std::size_t j = 0; j < order.size(); ++j) order[j] = j;
    random.shuffle(order);
    for (const std::size_t j : order) {
        const double dice = random.unit();
        if (dice < 0.19) {
            nets[dice < 0.13 ? 0 : 1].push_back(JointIndex{j});
            taken[j] = 1;
        }
    }
    for (const std::size_t j : order) {
        if (taken[j]) continue;
        taken[j] = 1;
        std::vector<JointIndex> net{JointIndex{j}};
        const std::size_t size = random.chance(0.1) ? 1 : 2 + random.weighted({6, 3, 1.5, 0.7, 0.3});
        for (int tries = 0; tries < 40 && net.size() < size; ++tries) {
            const JointIndex other =
                neighbours.any_near(random, assembly.joint(net.back()).hole, 8.0 + tries);
            if (!other.valid() || taken[other.raw()]) continue;
            taken[other.raw()] = 1;
            net.push_back(other);
        }
        std::sort(net.begin(), net.end());
        nets.push_back(net);
    }
    for (auto& net : nets) std::sort(net.begin(), net.end());
    nets.erase(std::remove_if(nets.begin(), nets.end(), [](const auto& net) { return net.empty(); }),
               nets.end());
    std::stable_sort(nets.begin(), nets.end(),
                     [](const auto& a, const auto& b) { return a.size() > b.size(); });
    return nets;
}

// Each joint of a net after the first, with the joint nearest to it among those already joined (Prim's tree).
std::vector<std::pair<JointIndex, JointIndex>> tree_of(const Assembly& assembly,
                                                       const std::vector<JointIndex>& net) {
    std::vector<std::pair<JointIndex, JointIndex>> tree;
    std::vector<double> best(net.size(), 1e18);
    std::vector<std::size_t> from(net.size(), 0);
    std::vector<char> in(net.size(), 0);
    std::size_t at = 0;
    for (std::size_t step = 1; step < net.size(); ++step) {
        in[at] = 1;
        std::size_t next = 0;
        double least = 1e18;
        for (std::size_t k = 0; k < net.size(); ++k) {
            if (in[k]) continue;
            const double d = distance(assembly.joint(net[at]).hole, assembly.joint(net[k]).hole);
            if (d < best[k]) {
                best[k] = d;
                from[k] = at;
            }
            if (best[k] < least) {
                least = best[k];
                next = k;
            }
        }
        tree.emplace_back(net[from[next]], net[next]);
        at = next;
    }
    return tree;
}

}  // namespace

MadeBoard made_board(std::size_t joints, const MadeOptions& options) {
    Random random(options.seed);
    MadeBoard made;
    made.assembly.name = "made board of " + std::to_string(joints) + " joints";
    add_packages(joints, random, made.assembly);
    const Neighbours neighbours(made.assembly);
    made.nets = invent(random, made.assembly, neighbours);

    std::vector<std::size_t> net_of(joints);
    for (std::size_t n = 0; n < made.nets.size(); ++n)
        for (const JointIndex joint : made.nets[n]) net_of[joint.raw()] = n;
    std::vector<char> more(joints, 0);  // has copper that no link tells of
    const auto propose = [&](JointIndex a, JointIndex b, double probability) {
        Link link;
        link.from = a;
        link.to = b;
        link.side = random.chance(0.5) ? Side::component : Side::solder;
        link.probability = probability;
        link.path = {made.assembly.joint(a).hole, made.assembly.joint(b).hole};
        link.width_mm = 0.4;
        made.proposals.links.push_back(link);
    };
    for (const auto& net : made.nets) {
        for (const auto& [a, b] : tree_of(made.assembly, net)) {
            if (!random.chance(options.seen)) {
                more[a.raw()] = more[b.raw()] = 1;
                continue;
            }
            // Mostly sure, with a tail of doubt; for each true link at p there are (1 - p) / p false ones.
            const double u = random.unit();
            const double p = 0.995 - 0.945 * u * u * u * u;
            propose(a, b, p);
            double false_ones = (1 - p) / p;
            while (random.chance(std::min(1.0, false_ones))) {
                false_ones -= 1;
                const Point here = made.assembly.joint(a).hole;
                JointIndex other;
                for (int tries = 0; tries < 60 && !other.valid(); ++tries) {
                    const JointIndex candidate = neighbours.any_near(random, here, 8.0 + tries);
                    if (candidate.valid() && net_of[candidate.raw()] != net_of[a.raw()]) other = candidate;
                }
                if (other.valid()) propose(a, other, p);
                if (false_ones <= 0) break;
            }
        }
    }
    for (std::size_t j = 0; j < joints; ++j) {
        const double share = more[j] ? options.lead_found : options.lead_false;
        if (random.chance(share))
            made.proposals.leads.push_back(
                {JointIndex{j}, Side::component, more[j] ? 0.9 : 0.3, std::nullopt});
    }
    return made;
}

}  // namespace eyelet::synthetic
