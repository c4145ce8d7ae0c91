// Import to zoomable: a JPEG of 24 megapixels checked, hashed and made into a pyramid by this project, against the
// same pyramid made from the same file by libvips' dzsave alone, in one run. The bar is 1.5.
//
// The photograph is painted here: fine tracks and print, pads and sensor noise, so that decoding and encoding work as
// hard as on a real one.
#include <algorithm>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <vector>

#include <unistd.h>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>
#include <openssl/evp.h>
#include <vips/vips8>

#include "eyelet/photo/image.h"
#include "eyelet/photo/tiles.h"

namespace {

using namespace eyelet;
namespace fs = std::filesystem;

cv::Mat painted_photograph() {
    cv::Mat photo(4000, 6000, CV_8UC3, cv::Scalar(50, 90, 40));
    cv::RNG random(1);
    for (int i = 0; i < 6000; ++i) {
        const cv::Point from(random.uniform(0, photo.cols), random.uniform(0, photo.rows));
        const cv::Point to = from + cv::Point(random.uniform(-400, 400), 0);
        cv::line(photo, from, to, cv::Scalar(60, 120, 60), random.uniform(4, 14), cv::LINE_AA);
        cv::circle(photo, to, random.uniform(12, 30), cv::Scalar(160, 190, 200), cv::FILLED, cv::LINE_AA);
        cv::circle(photo, to, 8, cv::Scalar(20, 20, 20), cv::FILLED, cv::LINE_AA);
    }
    cv::GaussianBlur(photo, photo, {}, 1.2);
    cv::Mat noise(photo.size(), CV_16SC3);
    random.fill(noise, cv::RNG::NORMAL, 0, 4);
    cv::add(photo, noise, photo, cv::noArray(), CV_8U);
    return photo;
}

template <class Work>
double seconds_of(Work work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

double median_of(std::vector<double> values) {
    std::sort(values.begin(), values.end());
    return values[values.size() / 2];
}

// What an import does with the file: read it, hash it, check its header, and make the pyramid, which decodes it whole.
void import_to_zoomable(const fs::path& file, const fs::path& folder) {
    std::ifstream stream(file, std::ios::binary);
    std::vector<char> bytes((std::istreambuf_iterator<char>(stream)), std::istreambuf_iterator<char>());
    const auto view = std::as_bytes(std::span(bytes));
    unsigned char hash[EVP_MAX_MD_SIZE];
    unsigned length = 0;
    EVP_Digest(bytes.data(), bytes.size(), hash, &length, EVP_sha256(), nullptr);
    const auto info = probe(view, "photograph");
    const auto made = info.ok() ? make_pyramid(view, "photograph", folder) : Result<Pyramid>(info.error());
    if (!made.ok()) {
        fmt::print("{}\n", made.error().message);
        std::exit(1);
    }
}

void plain_dzsave(const fs::path& file, const fs::path& base) {
    vips::VImage::new_from_file(file.c_str(), vips::VImage::option()->set("access", VIPS_ACCESS_SEQUENTIAL))
        .dzsave(base.c_str(), vips::VImage::option()->set("tile_size", 256)->set("overlap", 0)->set("suffix", ".jpg[Q=85]"));
}

}  // namespace

int main() {
    const fs::path root = fs::temp_directory_path() / fmt::format("eyelet_benchmark_tiles_{}", getpid());
    fs::create_directories(root);
    const fs::path file = root / "photograph.jpg";
    {
        const auto bytes = encode_jpeg(painted_photograph(), 92);
        if (!bytes.ok()) return 1;
        std::ofstream(file, std::ios::binary).write(reinterpret_cast<const char*>(bytes.value().data()), static_cast<std::streamsize>(bytes.value().size()));
    }
    fmt::print("24 megapixels, {:.1f} MB\n", static_cast<double>(fs::file_size(file)) / 1e6);
    std::vector<double> ours;
    std::vector<double> plain;
    std::vector<double> decoding;
    for (int i = 0; i < 5; ++i) {
        // By turns, so that whatever else the machine does falls on both alike.
        plain.push_back(seconds_of([&] { plain_dzsave(file, root / fmt::format("plain{}", i)); }));
        ours.push_back(seconds_of([&] { import_to_zoomable(file, root / fmt::format("ours{}", i)); }));
        decoding.push_back(seconds_of([&] {
            if (!decode(file).ok()) std::exit(1);
        }));
    }
    fs::remove_all(root);
    fmt::print("import to zoomable   {:.3f} s (median of {})\n", median_of(ours), ours.size());
    fmt::print("libvips dzsave       {:.3f} s\n", median_of(plain));
    fmt::print("ratio                {:.2f}   (bar 1.50)\n", median_of(ours) / median_of(plain));
    fmt::print("decode to pixels     {:.3f} s   (for whoever also looks at them: align, follow)\n", median_of(decoding));
    return median_of(ours) <= 1.5 * median_of(plain) ? 0 : 1;
}
