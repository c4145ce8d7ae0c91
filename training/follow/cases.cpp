#include "cases.h"

#include <fstream>
#include <iostream>
#include <array>
#include <random>
#include <sstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "eyelet/exchange/survey.h"
#include "eyelet/photo/image.h"
#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/layout.h"

namespace eyelet::fitting {

namespace fs = std::filesystem;

namespace {

cv::Mat read_grey(const fs::path& path) {
    auto image = decode(path);
    if (!image.ok()) {
        std::cerr << image.error().message << "\n";
        return {};
    }
    cv::Mat grey;
    cv::extractChannel(image.value().bgr, grey, 0);
    return grey;
}

struct Quality {
    double blur_px = 1.2;
    double noise = 1.5;       // log-odds
    double sharpness = 9;     // log-odds between plain copper and plain substrate
    double lean = 0;          // log-odds by which everything leans to copper
};

Quality quality_of(const std::string& level, std::mt19937& random) {
    std::uniform_real_distribution<double> unit;
    const double base = level == "poor" ? 1.0 : level == "populated" ? 0.5 : 0.2;
    return {1.0 + base * (0.6 + 0.8 * unit(random)), 0.9 + base * (0.7 + 1.2 * unit(random)), 8 + 2 * unit(random),
            (unit(random) - 0.5) * (0.4 + base)};
}

// Evidence such as a pixel model would give: blurred, noisy at two scales, a guess where hidden.
void degrade(SideEvidence& evidence, const Quality& quality, unsigned seed) {
    cv::Mat soft;
    cv::GaussianBlur(evidence.copper, soft, {}, quality.blur_px);
    cv::Mat fine(soft.size(), CV_32F);
    cv::Mat broad(soft.size(), CV_32F);
    cv::theRNG().state = seed + 1;
    cv::randn(fine, 0, 1);
    cv::randn(broad, 0, 1);
    cv::GaussianBlur(fine, fine, {}, 1.5);
    fine *= 1.5 * 2 * std::sqrt(3.14);
    cv::GaussianBlur(broad, broad, {}, 8);
    broad *= 8 * 2 * std::sqrt(3.14);
    for (int r = 0; r < soft.rows; ++r)
        for (int c = 0; c < soft.cols; ++c) {
            float& p = evidence.copper.at<float>(r, c);
            if (evidence.hidden.at<float>(r, c) > 0.5F) {
                p = 0.35F;
                continue;
            }
            const double odds = quality.sharpness * (soft.at<float>(r, c) - 0.5) + quality.lean +
                                quality.noise * (fine.at<float>(r, c) + 0.6 * broad.at<float>(r, c));
            p = static_cast<float>(1 / (1 + std::exp(-odds)));
        }
}

// Bodies as the evidence shows them: somewhat within their boxes.
void hide_parts(SideEvidence& evidence, const Assembly& assembly) {
    for (const Part& part : assembly.parts) {
        if (part.side != evidence.side) continue;
        const double s = evidence.px_per_mm;
        const double x = (part.body.low.x + part.body.high.x) / 2 * s;
        const double y = (part.body.low.y + part.body.high.y) / 2 * s;
        const double w = (part.body.high.x - part.body.low.x) * 0.38 * s;
        const double h = (part.body.high.y - part.body.low.y) * 0.38 * s;
        cv::rectangle(evidence.hidden, cv::Point(std::lround(x - w), std::lround(y - h)),
                      cv::Point(std::lround(x + w), std::lround(y + h)), cv::Scalar(1), cv::FILLED);
    }
}

}  // namespace

std::vector<Case> load_cases(const fs::path& boards, EvidenceFrom from, const fs::path& evidence,
                             const std::function<bool(const std::string&, const std::string&)>& wanted) {
    std::vector<Case> cases;
    std::vector<fs::path> folders;
    for (const auto& entry : fs::directory_iterator(boards))
        if (fs::exists(entry.path() / "board.json")) folders.push_back(entry.path());
    std::sort(folders.begin(), folders.end());
    for (const fs::path& folder : folders) {
        std::ifstream in(folder / "board.json");
        const nlohmann::json truth = nlohmann::json::parse(in);
        std::vector<std::string> levels;
        for (const char* level : {"bare", "populated", "poor", "damaged", "real"})
            if (fs::exists(folder / fmt::format("survey_{}.json", level))) levels.push_back(level);
        for (const std::string& level : levels) {
            if (wanted && !wanted(folder.filename().string(), level)) continue;
            auto survey = read_survey(folder / fmt::format("survey_{}.json", level));
            if (!survey.ok()) {
                std::cerr << survey.error().message << "\n";
                continue;
            }
            Case one;
            one.layout = folder.filename().string();
            one.folder = folder.string();
            one.level = level;
            one.assembly = survey.value().assembly;
            const auto names = joints_by_name(one.assembly);
            one.net.assign(one.assembly.joints.size(), -1);
            const nlohmann::json& nets = level == "damaged" ? truth["damage"]["nets"] : truth["nets"];
            int number = 0;
            for (const auto& net : nets) {
                for (const auto& id : net) {
                    const auto place = names.find(JointName(id.get<std::string>()));
                    if (place != names.end()) one.net[place->second.raw()] = number;
                }
                ++number;
            }
            bool complete = true;
            for (const Side side : {Side::component, Side::solder}) {
                const std::string mask_name =
                    fmt::format("copper_{}{}.png", key_of(side), level == "damaged" ? "_damaged" : "");
                cv::Mat mask = read_grey(folder / mask_name);
                if (mask.empty()) {
                    complete = false;
                    break;
                }
                cv::Mat labels;
                cv::connectedComponents(mask > 127, labels, 4, CV_32S);
                std::vector<int> area(one.assembly.joints.size(), -1);
                for (std::size_t j = 0; j < area.size(); ++j) {
                    const Joint& joint = one.assembly.joints[j];
                    if (!joint.on(side)) continue;
                    const int c = std::clamp(static_cast<int>(joint.copper_centre.x * 20), 0, labels.cols - 1);
                    const int r = std::clamp(static_cast<int>(joint.copper_centre.y * 20), 0, labels.rows - 1);
                    area[j] = labels.at<int>(r, c) > 0 ? labels.at<int>(r, c) : -2;
                }
                one.area.push_back(std::move(area));
                SideEvidence given;
                given.board = BoardIndex(0);
                given.side = side;
                const Size size = one.assembly.boards[0].size_mm;
                if (from == EvidenceFrom::folder) {
                    const fs::path stem = evidence / fmt::format("{}_{}_{}", one.layout, level, key_of(side));
                    const fs::path copper_path = stem.string() + ".copper.png";
                    const fs::path hidden_path = stem.string() + ".hidden.png";
                    if (!fs::exists(copper_path) || !fs::exists(hidden_path)) {
                        complete = false;
                        break;
                    }
                    read_grey(copper_path).convertTo(given.copper, CV_32F, 1.0 / 255);
                    read_grey(hidden_path).convertTo(given.hidden, CV_32F, 1.0 / 255);
                    if (given.copper.empty() || given.copper.size() != given.hidden.size()) {
                        complete = false;
                        break;
                    }
                } else {
                    cv::Mat wide;
                    mask.convertTo(wide, CV_32F, 1.0 / 255);
                    cv::resize(wide, given.copper, cv::Size(std::lround(size.width * 16), std::lround(size.height * 16)), 0, 0,
                               cv::INTER_AREA);
                    given.hidden = cv::Mat::zeros(given.copper.size(), CV_32F);
                    if (from == EvidenceFrom::degraded_masks) {
                        std::mt19937 random(static_cast<unsigned>(cases.size() * 2 + one.sides.size()));
                        if (level != "bare" && level != "real") hide_parts(given, one.assembly);
                        degrade(given, quality_of(level, random), random());
                    }
                }
                one.sides.push_back(std::move(given));
            }
            if (complete) cases.push_back(std::move(one));
        }
    }
    return cases;
}

std::vector<Case> made_cases(int count, unsigned first) {
    std::vector<Case> cases;
    for (int i = 0; i < count; ++i) {
        const unsigned seed = first + static_cast<unsigned>(i);
        const synthetic::Layout layout = synthetic::make_layout(synthetic::random_recipe(seed));
        const synthetic::Layers layers = synthetic::draw_layers(layout, 16);
        Case one;
        one.layout = fmt::format("made-{}", seed);
        one.assembly = layout.assembly;
        one.net.assign(one.assembly.joints.size(), -1);
        for (std::size_t n = 0; n < layout.nets.size(); ++n)
            for (const JointIndex joint : layout.nets[n]) one.net[joint.raw()] = static_cast<int>(n);
        std::mt19937 random(seed);
        one.level = std::array{"bare", "populated", "poor"}[seed % 3];
        for (const Side side : {Side::component, Side::solder}) {
            const synthetic::Plane& copper = layers.of(side, synthetic::Layer::copper);
            const synthetic::Plane& parts = layers.of(side, synthetic::Layer::part_kind);
            const cv::Mat mask(copper.height, copper.width, CV_8U, const_cast<std::uint8_t*>(copper.pixels.data()));
            const cv::Mat bodies(parts.height, parts.width, CV_8U, const_cast<std::uint8_t*>(parts.pixels.data()));
            cv::Mat labels;
            cv::connectedComponents(mask > 127, labels, 4, CV_32S);
            std::vector<int> area(one.assembly.joints.size(), -1);
            for (std::size_t j = 0; j < area.size(); ++j) {
                const Joint& joint = one.assembly.joints[j];
                if (!joint.on(side)) continue;
                const int c = std::clamp(static_cast<int>(joint.copper_centre.x * 16), 0, labels.cols - 1);
                const int r = std::clamp(static_cast<int>(joint.copper_centre.y * 16), 0, labels.rows - 1);
                area[j] = labels.at<int>(r, c) > 0 ? labels.at<int>(r, c) : -2;
            }
            one.area.push_back(std::move(area));
            SideEvidence given;
            given.board = BoardIndex(0);
            given.side = side;
            mask.convertTo(given.copper, CV_32F, 1.0 / 255);
            one.mask_sides.push_back(given);
            one.mask_sides.back().copper = given.copper.clone();
            one.mask_sides.back().hidden = cv::Mat::zeros(given.copper.size(), CV_32F);
            given.hidden = cv::Mat::zeros(given.copper.size(), CV_32F);
            if (one.level != "bare") given.hidden.setTo(1, bodies > 0);
            degrade(given, quality_of(one.level, random), random());
            one.sides.push_back(std::move(given));
        }
        cases.push_back(std::move(one));
    }
    return cases;
}

}  // namespace eyelet::fitting
