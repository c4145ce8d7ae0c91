// Invented boards with painted photographs, in the form of a folder of boards with a known truth:
//   make_boards OUT FIRST_SEED COUNT
// Each board gets one or two levels (bare, populated, poor) with paint, light and camera drawn from its seed.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iostream>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/image.h"
#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/paint.h"
#include "eyelet/synthetic/random.h"
#include "eyelet/synthetic/survey_out.h"

using namespace eyelet;
using namespace eyelet::synthetic;
namespace fs = std::filesystem;

namespace {

void write(const fs::path& path, const std::vector<std::byte>& bytes) {
    std::ofstream(path, std::ios::binary).write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
}

Paint random_paint(Random& random, bool fitted) {
    Paint paint;
    const Colour masks[] = {{0.05F, 0.27F, 0.15F}, {0.04F, 0.12F, 0.36F}, {0.42F, 0.06F, 0.07F}, {0.07F, 0.07F, 0.08F},
                            {0.22F, 0.07F, 0.30F}, {0.03F, 0.20F, 0.12F}, {0.10F, 0.33F, 0.12F}};
    const Colour base = masks[random.integer(0, 6)];
    const double light = random.uniform(0.8, 1.3);
    // Covered copper is mostly lighter, now and then darker, by more or less.
    const double contrast = random.chance(0.12) ? random.uniform(0.72, 0.88) : random.uniform(1.15, 1.6);
    const auto scaled = [](Colour c, double k) {
        return Colour{static_cast<float>(std::min(1.0, c.red * k)), static_cast<float>(std::min(1.0, c.green * k)),
                      static_cast<float>(std::min(1.0, c.blue * k))};
    };
    paint.mask_over_laminate = scaled(base, light);
    paint.mask_over_copper = scaled(base, light * contrast);
    paint.mask_over_copper.red += static_cast<float>(random.uniform(0, 0.03));
    paint.mask_over_copper.green += static_cast<float>(random.uniform(0, 0.02));
    const Finish finishes[] = {Finish::tin, Finish::gilt, Finish::bare_copper};
    paint.finish = finishes[random.weighted({0.6, 0.3, 0.1})];
    paint.fitted = fitted ? Fitted::populated : Fitted::bare;
    paint.relief = random.uniform(0.03, 0.2);
    paint.light_from_deg = random.uniform(0, 360);
    paint.ghost = random.uniform(0, 0.06);
    paint.seed = random.next();
    return paint;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 4) {
        std::cerr << "make_boards OUT FIRST_SEED COUNT\n";
        return 2;
    }
    const fs::path out = argv[1];
    const unsigned first = static_cast<unsigned>(std::stoul(argv[2]));
    for (unsigned seed = first; seed < first + static_cast<unsigned>(std::stoul(argv[3])); ++seed) {
        const Recipe recipe = random_recipe(seed);
        if (recipe.size_mm.width * recipe.size_mm.height > 9000) continue;  // large ones take long and add little
        const Layout layout = make_layout(recipe);
        const std::string slug = fmt::format("made-{}", seed);
        const fs::path folder = out / slug;
        fs::create_directories(folder);
        const Layers exact = draw_layers(layout, 20);
        for (const Side side : {Side::component, Side::solder}) {
            const Plane& copper = exact.of(side, Layer::copper);
            cv::Mat mask(copper.height, copper.width, CV_8U, const_cast<std::uint8_t*>(copper.pixels.data()));
            write(folder / fmt::format("copper_{}.png", key_of(side)), encode_png(mask > 127).value());
        }
        Random random(seed);
        std::vector<PhotoFile> all;
        nlohmann::json levels = nlohmann::json::array();
        const char* kLevels[] = {"bare", "populated", "poor"};
        for (const unsigned which : {seed % 3, (seed + 1) % 3}) {
            const std::string level = kLevels[which];
            Paint paint = random_paint(random, which > 0);
            std::vector<PhotoFile> photos;
            for (const Side side : {Side::component, Side::solder}) {
                Shot shot;
                shot.side = side;
                const double scale = random.uniform(14, 27);
                shot.width_px = static_cast<int>(recipe.size_mm.width * scale / shot.fill);
                shot.height_px = static_cast<int>(recipe.size_mm.height * scale / shot.fill);
                shot.tilt_x_deg = random.uniform(-5, 5);
                shot.tilt_y_deg = random.uniform(-5, 5);
                shot.turn_deg = random.uniform(-2, 2);
                const bool poor = which == 2;
                shot.lamp_unevenness = random.uniform(0.05, poor ? 0.5 : 0.25);
                shot.lamp_elevation_deg = random.uniform(poor ? 30 : 45, 65);
                shot.vignetting = random.uniform(0.05, 0.25);
                shot.exposure = poor ? random.uniform(0.5, 0.85) : random.uniform(0.85, 1.15);
                if (poor) shot.tint = {1.0F, static_cast<float>(random.uniform(0.8, 0.95)), static_cast<float>(random.uniform(0.6, 0.9))};
                shot.blur_px = poor ? random.uniform(0.9, 1.6) : random.uniform(0.5, 0.9);
                shot.noise = poor ? random.uniform(0.02, 0.04) : random.uniform(0.006, 0.018);
                shot.seed = random.next();
                const Photograph photo = take(layout, exact, paint, shot);
                cv::Mat bgr;
                cv::cvtColor(cv::Mat(photo.height, photo.width, CV_8UC3, const_cast<std::uint8_t*>(photo.rgb.data())), bgr, cv::COLOR_RGB2BGR);
                const std::string file = fmt::format("{}_{}.jpg", level, key_of(side));
                write(folder / file, encode_jpeg(bgr, poor ? 82 : 92).value());
                photos.push_back(photo_file(file, photo));
                levels.push_back(level);
            }
            Ties ties;
            ties.seed = seed;
            std::ofstream(folder / fmt::format("survey_{}.json", level)) << survey_of(layout, slug, photos, ties).dump(1);
            all.insert(all.end(), photos.begin(), photos.end());
        }
        nlohmann::json truth = truth_of(layout, all);
        for (std::size_t i = 0; i < truth["photos"].size(); ++i) truth["photos"][i]["level"] = levels[i];
        const nlohmann::json survey = survey_of(layout, slug, {}, {});
        for (const char* member : {"size", "outline", "joints", "parts"}) truth[member] = survey[member];
        std::ofstream(folder / "board.json") << truth.dump(1);
        std::cout << slug << " " << layout.assembly.joints.size() << " joints\n" << std::flush;
    }
}
