// Rows of a picture shared out to the machine's cores. The result must not depend on how many there are.
#pragma once

#include <algorithm>
#include <thread>
#include <vector>

namespace eyelet::synthetic {

// Calls work(first row, past the last row) for disjoint bands that cover all rows, at the same time.
template <class Work>
void in_bands(int rows, Work work) {
    const int bands = std::clamp(static_cast<int>(std::thread::hardware_concurrency()), 1, 8);
    std::vector<std::thread> threads;
    for (int band = 1; band < bands; ++band)
        threads.emplace_back([=] { work(rows * band / bands, rows * (band + 1) / bands); });
    work(0, rows / bands);
    for (std::thread& thread : threads) thread.join();
}

}  // namespace eyelet::synthetic
