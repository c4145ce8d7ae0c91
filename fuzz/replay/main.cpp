// Runs every file of the folders and files given through the fuzz target once. A crash, a sanitizer's report
// or an abort fails it; so does a folder without seeds, because then nothing was tested.
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace {

bool replay(const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    const std::string bytes((std::istreambuf_iterator<char>(in)), std::istreambuf_iterator<char>());
    if (!in) return false;
    std::printf("%s: %zu bytes\n", path.c_str(), bytes.size());
    std::fflush(stdout);  // so that the last line names the input that broke it
    LLVMFuzzerTestOneInput(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size());
    return true;
}

}  // namespace

int main(int argc, char** argv) {
    std::size_t replayed = 0;
    for (int i = 1; i < argc; ++i) {
        if (!std::filesystem::is_directory(argv[i])) {
            if (!replay(argv[i])) return 1;
            ++replayed;
            continue;
        }
        for (const auto& entry : std::filesystem::directory_iterator(argv[i])) {
            if (!replay(entry.path())) return 1;
            ++replayed;
        }
    }
    if (replayed == 0) std::fprintf(stderr, "no seeds were given\n");
    return replayed == 0 ? 1 : 0;
}
