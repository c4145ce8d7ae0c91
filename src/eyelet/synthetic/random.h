// A small seeded generator whose sequence is the same on every platform (the standard library's
// distributions are not). Source: S. Vigna, "splitmix64" (2015, public domain reference), rewritten from its
// recurrence.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <vector>

namespace eyelet::synthetic {

class Random {
  public:
    explicit Random(std::uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15ULL + 0x1234567ULL) {}

    std::uint64_t next() {
        state_ += 0x9E3779B97F4A7C15ULL;
        std::uint64_t z = state_;
        z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
        z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
        return z ^ (z >> 31);
    }
    // In [0, 1).
    double unit() { return static_cast<double>(next() >> 11) * 0x1.0p-53; }
    double uniform(double low, double high) { return low + (high - low) * unit(); }
    // Evenly spread in the logarithm; both limits positive.
    double log_uniform(double low, double high) { return low * std::pow(high / low, unit()); }
    // Both ends included.
    int integer(int low, int high) {
        return low + static_cast<int>(next() % static_cast<std::uint64_t>(high - low + 1));
    }
    bool chance(double probability) { return unit() < probability; }
    // Place in the list of weights.
    std::size_t weighted(std::initializer_list<double> weights) {
        double sum = 0;
        for (const double weight : weights) sum += weight;
        double at = unit() * sum;
        std::size_t place = 0;
        for (const double weight : weights) {
            if (at < weight) return place;
            at -= weight;
            ++place;
        }
        return weights.size() - 1;
    }
    // Mean 0, deviation 1 (Box and Muller 1958).
    double normal() {
        return std::sqrt(-2.0 * std::log(1.0 - unit())) * std::cos(2.0 * 3.141592653589793 * unit());
    }
    template <class T>
    const T& pick(const std::vector<T>& list) {
        return list[static_cast<std::size_t>(next() % list.size())];
    }
    template <class T>
    T pick(std::initializer_list<T> list) {
        return *(list.begin() + static_cast<std::ptrdiff_t>(next() % list.size()));
    }
    template <class T>
    void shuffle(std::vector<T>& list) {
        for (std::size_t i = list.size(); i > 1; --i)
            std::swap(list[i - 1], list[static_cast<std::size_t>(next() % i)]);
    }

  private:
    std::uint64_t state_;
};

}  // namespace eyelet::synthetic
