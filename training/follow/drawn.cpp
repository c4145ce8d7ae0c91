#include "drawn.h"

#include <fstream>
#include <numeric>

#include "eyelet/exchange/survey.h"
#include "eyelet/synthetic/layout.h"

namespace eyelet::fitting {

std::vector<Link> Drawn::links(double least) const {
    std::vector<Link> list;
    for (const Item& item : items)
        if (item.link.probability >= least) list.push_back(item.link);
    return list;
}

void Drawn::settle_leads() {
    const std::vector<Link> given = links();
    for (const Side side : {Side::component, Side::solder}) {
        const std::size_t s = side == Side::component ? 0 : 1;
        std::vector<std::size_t> parent(net.size());
        std::iota(parent.begin(), parent.end(), std::size_t{0});
        const auto root = [&](std::size_t j) {
            while (parent[j] != j) j = parent[j] = parent[parent[j]];
            return j;
        };
        for (const Link& link : given)
            if (link.side == side && net[link.from.raw()] == net[link.to.raw()]) parent[root(link.from.raw())] = root(link.to.raw());
        std::set<int> missing;
        for (const auto& [a, b] : truly_direct[s])
            if (root(a) != root(b)) {
                missing.insert(a);
                missing.insert(b);
            }
        std::vector<JointIndex> joints;
        std::vector<DescribedLead> described;
        for (const Lead& lead : leads)
            if (lead.side == side) {
                described.push_back({static_cast<int>(joints.size()), {}, {}});
                joints.push_back(lead.joint);
            }
        tell_links(described, joints, side, given);
        std::size_t i = 0;
        for (Lead& lead : leads)
            if (lead.side == side) {
                std::copy_n(described[i++].features.begin(), 5, lead.sample.features.begin());
                lead.sample.yes = missing.contains(static_cast<int>(lead.joint.raw()));
            }
    }
}

namespace {

template <class T>
void put(std::ostream& out, const T& value) { out.write(reinterpret_cast<const char*>(&value), sizeof value); }
template <class T>
T get(std::istream& in) {
    T value{};
    in.read(reinterpret_cast<char*>(&value), sizeof value);
    return value;
}
void put_text(std::ostream& out, const std::string& text) {
    put(out, text.size());
    out.write(text.data(), static_cast<std::streamsize>(text.size()));
}
std::string get_text(std::istream& in) {
    std::string text(get<std::size_t>(in), ' ');
    in.read(text.data(), static_cast<std::streamsize>(text.size()));
    return text;
}
template <class T>
void put_list(std::ostream& out, const std::vector<T>& list) {
    put(out, list.size());
    out.write(reinterpret_cast<const char*>(list.data()), static_cast<std::streamsize>(list.size() * sizeof(T)));
}
template <class T>
std::vector<T> get_list(std::istream& in) {
    std::vector<T> list(get<std::size_t>(in));
    in.read(reinterpret_cast<char*>(list.data()), static_cast<std::streamsize>(list.size() * sizeof(T)));
    return list;
}

}  // namespace

void keep(const std::vector<Drawn>& drawn, const std::filesystem::path& file) {
    std::filesystem::path part = file;
    part += ".part";
    std::ofstream out(part, std::ios::binary);
    put(out, drawn.size());
    for (const Drawn& d : drawn) {
        put_text(out, d.layout);
        put_text(out, d.level);
        put_text(out, d.folder);
        put_list(out, d.net);
        for (int side = 0; side < 2; ++side) {
            put_list(out, d.area[side]);
            put_list(out, std::vector<std::pair<int, int>>(d.truly_direct[side].begin(), d.truly_direct[side].end()));
        }
        put(out, d.items.size());
        for (const Drawn::Item& item : d.items) {
            put_list(out, item.sample.features);
            put(out, item.sample.yes);
            put(out, item.link.from.raw());
            put(out, item.link.to.raw());
            put(out, *item.link.side);
            put(out, item.least_pass);
        }
        put(out, d.leads.size());
        for (const Drawn::Lead& lead : d.leads) {
            put(out, lead.side);
            put(out, lead.joint.raw());
            put_list(out, lead.sample.features);
        }
    }
    out.close();
    std::filesystem::rename(part, file);  // whole or not at all
}

std::vector<Drawn> kept(const std::filesystem::path& file) {
    std::ifstream in(file, std::ios::binary);
    std::vector<Drawn> drawn(get<std::size_t>(in));
    for (Drawn& d : drawn) {
        d.layout = get_text(in);
        d.level = get_text(in);
        d.folder = get_text(in);
        if (d.folder.empty())
            d.assembly = synthetic::make_layout(synthetic::random_recipe(std::stoull(d.layout.substr(5)))).assembly;
        else
            d.assembly = read_survey(std::filesystem::path(d.folder) / ("survey_" + d.level + ".json")).value().assembly;
        d.net = get_list<int>(in);
        for (int side = 0; side < 2; ++side) {
            d.area.push_back(get_list<int>(in));
            const auto pairs = get_list<std::pair<int, int>>(in);
            d.truly_direct.emplace_back(pairs.begin(), pairs.end());
        }
        d.items.resize(get<std::size_t>(in));
        for (Drawn::Item& item : d.items) {
            item.sample.features = get_list<float>(in);
            item.sample.yes = get<bool>(in);
            item.link.from = JointIndex(get<JointIndex::Raw>(in));
            item.link.to = JointIndex(get<JointIndex::Raw>(in));
            item.link.side = get<Side>(in);
            item.least_pass = get<double>(in);
        }
        d.leads.resize(get<std::size_t>(in));
        for (Drawn::Lead& lead : d.leads) {
            lead.side = get<Side>(in);
            lead.joint = JointIndex(get<JointIndex::Raw>(in));
            lead.sample.features = get_list<float>(in);
        }
    }
    return drawn;
}

std::set<std::pair<int, int>> direct_pairs(const Case& masks, Side side) {
    const SideExamination examination = examine_side(masks.assembly, (masks.mask_sides.empty() ? masks.sides : masks.mask_sides)[side == Side::component ? 0 : 1], {});
    std::set<std::pair<int, int>> pairs;
    for (const DescribedCandidate& c : examination.candidates)
        if (c.candidate.least_pass > 0)
            pairs.emplace(examination.joints[c.candidate.a].raw(), examination.joints[c.candidate.b].raw());
    return pairs;
}

Drawn draw(const Case& one, std::set<std::pair<int, int>> direct_top, std::set<std::pair<int, int>> direct_bottom) {
    Drawn d;
    d.layout = one.layout;
    d.level = one.level;
    d.folder = one.folder;
    d.assembly = one.assembly;
    d.net = one.net;
    d.area = one.area;
    d.truly_direct = {std::move(direct_top), std::move(direct_bottom)};
    for (const SideEvidence& side : one.sides) {
        const SideExamination examination = examine_side(one.assembly, side, {});
        for (const DescribedCandidate& c : examination.candidates) {
            Drawn::Item item;
            item.sample.features.assign(c.features.begin(), c.features.end());
            item.link.from = examination.joints[c.candidate.a];
            item.link.to = examination.joints[c.candidate.b];
            item.link.side = side.side;
            item.least_pass = c.candidate.least_pass;
            item.sample.yes = one.net[item.link.from.raw()] == one.net[item.link.to.raw()];
            d.items.push_back(std::move(item));
        }
        for (const DescribedLead& lead : describe_leads(one.assembly, examination, side.hidden)) {
            Drawn::Lead l;
            l.side = side.side;
            l.joint = examination.joints[lead.joint];
            l.sample.features.assign(lead.features.begin(), lead.features.end());
            d.leads.push_back(std::move(l));
        }
    }
    return d;
}

}  // namespace eyelet::fitting
