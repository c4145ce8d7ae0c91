#include "cases.h"

#include <fstream>
#include <iostream>
#include <random>
#include <sstream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "eyelet/exchange/survey.h"
#include "eyelet/photo/image.h"

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

// Evidence such as a poor pixel model would give: blurred, noisy at two scales, blind under parts.
void degrade(SideEvidence& evidence, const Assembly& assembly, const std::string& level, unsigned seed) {
    std::mt19937 random(seed);
    const double blur = level == "poor" ? 2.0 : level == "populated" ? 1.4 : 1.1;
    const double noise = level == "poor" ? 2.2 : level == "populated" ? 1.5 : 1.1;
    cv::Mat soft;
    cv::GaussianBlur(evidence.copper, soft, {}, blur);
    cv::Mat fine(soft.size(), CV_32F);
    cv::Mat broad(soft.size(), CV_32F);
    cv::theRNG().state = seed + 1;
    cv::randn(fine, 0, 1);
    cv::randn(broad, 0, 1);
    cv::GaussianBlur(fine, fine, {}, 1.5);
    fine *= 1.5 * 2 * std::sqrt(3.14);
    cv::GaussianBlur(broad, broad, {}, 8);
    broad *= 8 * 2 * std::sqrt(3.14);
    evidence.hidden = cv::Mat::zeros(soft.size(), CV_32F);
    if (level != "bare")
        for (const Part& part : assembly.parts) {
            if (part.side != evidence.side) continue;
            const double s = evidence.px_per_mm;
            const cv::Point2d c((part.body.low.x + part.body.high.x) / 2 * s, (part.body.low.y + part.body.high.y) / 2 * s);
            const cv::Size2d half((part.body.high.x - part.body.low.x) * 0.38 * s, (part.body.high.y - part.body.low.y) * 0.38 * s);
            cv::rectangle(evidence.hidden, cv::Point(c.x - half.width, c.y - half.height),
                          cv::Point(c.x + half.width, c.y + half.height), cv::Scalar(1), cv::FILLED);
        }
    std::uniform_real_distribution<double> unit;
    for (int r = 0; r < soft.rows; ++r)
        for (int c = 0; c < soft.cols; ++c) {
            float& p = evidence.copper.at<float>(r, c);
            if (evidence.hidden.at<float>(r, c) > 0.5F) {
                p = 0.35F;
                continue;
            }
            const double odds = 9 * (soft.at<float>(r, c) - 0.5) + noise * (fine.at<float>(r, c) + 0.6 * broad.at<float>(r, c));
            p = static_cast<float>(1 / (1 + std::exp(-odds)));
        }
}

}  // namespace

std::vector<Case> load_cases(const fs::path& boards, EvidenceFrom from, const fs::path& evidence) {
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
                    if (from == EvidenceFrom::degraded_masks)
                        degrade(given, one.assembly, level, static_cast<unsigned>(cases.size() * 2 + one.sides.size()));
                }
                one.sides.push_back(std::move(given));
            }
            if (complete) cases.push_back(std::move(one));
        }
    }
    return cases;
}

}  // namespace eyelet::fitting
