#include "eyelet/synthetic/layout.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <numeric>
#include <set>

#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/truth.h"

namespace eyelet::synthetic {
namespace {

// Connected copper of a plane, four neighbours, a pixel being copper from half coverage on.
std::vector<int> labels_of(const Plane& plane) {
    std::vector<int> label(plane.pixels.size(), -1);
    std::vector<std::size_t> stack;
    int count = 0;
    const auto width = static_cast<std::size_t>(plane.width);
    for (std::size_t start = 0; start < label.size(); ++start) {
        if (plane.pixels[start] < 128 || label[start] >= 0) continue;
        label[start] = count;
        stack.assign(1, start);
        while (!stack.empty()) {
            const std::size_t at = stack.back();
            stack.pop_back();
            const auto visit = [&](std::size_t next) {
                if (plane.pixels[next] < 128 || label[next] >= 0) return;
                label[next] = count;
                stack.push_back(next);
            };
            if (at % width > 0) visit(at - 1);
            if (at % width + 1 < width) visit(at + 1);
            if (at >= width) visit(at - width);
            if (at + width < label.size()) visit(at + width);
        }
        ++count;
    }
    return label;
}

// The nets that the drawn copper shows, found without the figures.
std::set<std::set<std::string>> nets_of_raster(const Layout& layout, const Layers& layers) {
    const std::vector<int> label[2]{labels_of(layers.of(Side::component, Layer::copper)),
                                    labels_of(layers.of(Side::solder, Layer::copper))};
    const auto key = [&](const Joint& joint, int side) {
        const Plane& plane = layers.planes[side][0];
        const auto column = static_cast<std::size_t>(joint.copper_centre.x * layers.px_per_mm);
        const auto row = static_cast<std::size_t>(joint.copper_centre.y * layers.px_per_mm);
        return std::pair{side, label[side][row * static_cast<std::size_t>(plane.width) + column]};
    };
    std::map<std::pair<int, int>, std::pair<int, int>> parent;
    const auto find = [&](std::pair<int, int> k) {
        while (parent.try_emplace(k, k).first->second != k) k = parent[k];
        return k;
    };
    for (const Joint& joint : layout.assembly.joints)
        if (joint.joins_sides()) parent[find(key(joint, 0))] = find(key(joint, 1));
    std::map<std::pair<int, int>, std::set<std::string>> groups;
    for (const Joint& joint : layout.assembly.joints)
        groups[find(key(joint, joint.on(Side::component) ? 0 : 1))].insert(joint.name.text());
    std::set<std::set<std::string>> nets;
    for (const auto& [k, group] : groups) nets.insert(group);
    return nets;
}

std::set<std::set<std::string>> named(const Layout& layout) {
    std::set<std::set<std::string>> nets;
    for (const auto& net : layout.nets) {
        std::set<std::string> names;
        for (const JointIndex joint : net) names.insert(layout.assembly.joint(joint).name.text());
        nets.insert(names);
    }
    return nets;
}

class EverySeed : public testing::TestWithParam<int> {};

TEST_P(EverySeed, NetsOfTheFiguresAreThoseOfTheDrawnCopper) {
    const Layout layout = make_layout(random_recipe(static_cast<std::uint64_t>(GetParam())));
    ASSERT_TRUE(check(layout.assembly).ok()) << check(layout.assembly).error().message;
    std::size_t joints = 0;
    for (const auto& net : layout.nets) joints += net.size();
    EXPECT_EQ(joints, layout.assembly.joints.size());
    const auto from_figures = named(layout);
    const auto from_raster = nets_of_raster(layout, draw_layers(layout, 20));
    std::vector<std::set<std::string>> wrong;
    std::set_difference(from_figures.begin(), from_figures.end(), from_raster.begin(), from_raster.end(),
                        std::back_inserter(wrong));
    for (const auto& net : wrong)
        ADD_FAILURE() << "net of " << net.size() << " joints at " << *net.begin()
                      << " is not so in the raster";
    EXPECT_EQ(from_figures.size(), from_raster.size());
}

INSTANTIATE_TEST_SUITE_P(layout, EverySeed, testing::Range(1, 17));

TEST(Layout, SameRecipeSameBoard) {
    const Recipe recipe = random_recipe(5);
    const Layout a = make_layout(recipe);
    const Layout b = make_layout(recipe);
    EXPECT_EQ(npy(draw_layers(a, 6)), npy(draw_layers(b, 6)));
    EXPECT_EQ(named(a), named(b));
    EXPECT_NE(npy(draw_layers(a, 6)), npy(draw_layers(make_layout(random_recipe(6)), 6)));
}

TEST(Layout, MostWantedJointsAreReached) {
    // A router that gives up everywhere would still pass the tests above.
    std::size_t wanted = 0;
    std::size_t reached = 0;
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        const Layout layout = make_layout(random_recipe(seed));
        std::vector<std::size_t> net_of(layout.assembly.joints.size());
        for (std::size_t n = 0; n < layout.nets.size(); ++n)
            for (const JointIndex joint : layout.nets[n]) net_of[joint.raw()] = n;
        std::map<int, std::map<std::size_t, std::size_t>> parts;
        for (std::size_t j = 0; j < net_of.size(); ++j)
            if (layout.wanted_net[j] >= 0 && layout.assembly.joints[j].kind == JointKind::pad)
                ++parts[layout.wanted_net[j]][net_of[j]];
        for (const auto& [net, pieces] : parts)
            for (const auto& [piece, count] : pieces) {
                wanted += count;
                if (count > 1) reached += count;
            }
    }
    EXPECT_GT(static_cast<double>(reached), 0.7 * static_cast<double>(wanted));
}

}  // namespace
}  // namespace eyelet::synthetic
