// Draws invented boards as layer files for training the pixel model; training/README.md says what is in them.
//   draw_layers --count N --seed S --px-per-mm 16 --threads T --out DIR
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/layout.h"

namespace {

struct Options {
    int count = 1;
    unsigned long long seed = 1;
    double px_per_mm = 16;
    int threads = 1;
    std::string out;
};

int usage(const char* problem) {
    std::fprintf(
        stderr,
        "draw_layers: %s\nusage: draw_layers --count N --seed S --px-per-mm P --threads T --out DIR\n",
        problem);
    return 2;
}

}  // namespace

int main(int argc, char** argv) {
    Options options;
    for (int i = 1; i < argc; i += 2) {
        const std::string name = argv[i];
        if (i + 1 >= argc) return usage("an option lacks its value");
        const char* value = argv[i + 1];
        if (name == "--count")
            options.count = std::atoi(value);
        else if (name == "--seed")
            options.seed = std::strtoull(value, nullptr, 10);
        else if (name == "--px-per-mm")
            options.px_per_mm = std::atof(value);
        else if (name == "--threads")
            options.threads = std::atoi(value);
        else if (name == "--out")
            options.out = value;
        else
            return usage(("unknown option " + name).c_str());
    }
    if (options.out.empty()) return usage("--out DIR is needed");
    if (options.count < 1 || options.threads < 1 || !(options.px_per_mm > 1 && options.px_per_mm <= 60))
        return usage("--count and --threads must be at least 1, --px-per-mm between 1 and 60");
    std::error_code failure;
    std::filesystem::create_directories(options.out, failure);
    if (failure) return usage(("cannot make folder " + options.out).c_str());

    std::atomic<int> next{0};
    std::atomic<bool> failed{false};
    const auto work = [&] {
        for (int i = next++; i < options.count && !failed; i = next++) {
            const unsigned long long seed = options.seed + static_cast<unsigned long long>(i);
            const auto layout = eyelet::synthetic::make_layout(eyelet::synthetic::random_recipe(seed));
            const std::string file =
                eyelet::synthetic::npy(eyelet::synthetic::draw_layers(layout, options.px_per_mm));
            char name[64];
            std::snprintf(name, sizeof name, "/board-%08llu.npy", seed);
            std::ofstream out(options.out + name, std::ios::binary);
            out.write(file.data(), static_cast<std::streamsize>(file.size()));
            out.flush();
            if (!out) failed = true;
        }
    };
    std::vector<std::thread> threads;
    for (int t = 0; t < options.threads; ++t) threads.emplace_back(work);
    for (std::thread& thread : threads) thread.join();
    if (failed) {
        std::fprintf(stderr, "draw_layers: cannot write into %s\n", options.out.c_str());
        return 1;
    }
    return 0;
}
