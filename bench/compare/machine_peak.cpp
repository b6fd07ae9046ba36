// What the machine can do at most, on one core: multiply-adds a second, bytes a second to and from
// memory, and its clock; as the roofline of docs/performance.md needs them.
//
//   machine_peak
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <ctime>
#include <vector>

#include "echosieve/core/detail/lanes.hpp"

namespace {

using echosieve::Lanes;

// Keeps the compiler from computing ahead of the loop, or not at all.
template <class T>
void keep(T& value) {
    asm volatile("" : "+m"(value) : : "memory");
}

// Best of several, by processor time: others use the machine as well.
template <class Work>
double best_seconds(Work work) {
    double best = 1e9;
    for (int k = 0; k < 12; ++k) {
        const std::clock_t start = std::clock();
        work();
        best = std::min(best, static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    }
    return best;
}

// Additions, each of which waits for the one before: one a cycle.
double clock_rate() {
    constexpr std::uint64_t count = 40'000'000;
    std::uint64_t x = 1;
    const double seconds = best_seconds([&] {
        for (std::uint64_t k = 0; k < count / 8; ++k) {
            for (int i = 0; i < 8; ++i) {
                x += k;
                asm volatile("" : "+r"(x));
            }
        }
    });
    return static_cast<double>(count) / seconds;
}

// Twelve chains of multiply-adds hide each other's latency.
template <class R>
double peak_operations() {
    constexpr int count = 2'000'000;
    std::array<Lanes<R>, 12> chains;
    std::array<R, 2> factor{R{0.5}, R{0.25}};
    const double seconds = best_seconds([&] {
        keep(factor);
        const Lanes<R> a(factor[0]);
        const Lanes<R> b(factor[1]);
        std::array<Lanes<R>, 12> x = chains;
        for (int k = 0; k < count; ++k) {
            for (auto& chain : x) {
                chain = multiply_add(chain, a, b);
            }
        }
        chains = x;
        keep(chains);
    });
    return 2.0 * count * 12 * static_cast<double>(Lanes<R>::size) / seconds;
}

// Bytes read a second, by whole registers.
double read_rate(std::size_t bytes, int rounds) {
    std::vector<float> memory(bytes / sizeof(float), 1.0F);
    using L = Lanes<float>;
    float total = 0;
    const double seconds = best_seconds([&] {
        for (int r = 0; r < rounds; ++r) {
            std::array<L, 8> sums;
            for (std::size_t n = 0; n + 8 * L::size <= memory.size(); n += 8 * L::size) {
                for (std::size_t i = 0; i < 8; ++i) {
                    sums[i] += L::load(memory.data() + n + i * L::size);
                }
            }
            for (const L& sum : sums) {
                total += sum.sum();
            }
            keep(total);
        }
    });
    return static_cast<double>(bytes) * rounds / seconds;
}

// Bytes copied a second; each is read once and written once.
double copy_rate(std::size_t bytes, int rounds) {
    std::vector<char> from(bytes, 1);
    std::vector<char> to(bytes, 0);
    const double seconds = best_seconds([&] {
        for (int r = 0; r < rounds; ++r) {
            std::memcpy(to.data(), from.data(), bytes);
            keep(to[bytes / 2]);
        }
    });
    return static_cast<double>(bytes) * rounds / seconds;
}

}  // namespace

int main() {
    constexpr std::size_t large = std::size_t{128} << 20;  // beyond every cache
    std::printf("clock_ghz %.2f\n", 1e-9 * clock_rate());
    std::printf("lanes_float %zu\n", Lanes<float>::size);
    std::printf("peak_float_gflops %.1f\n", 1e-9 * peak_operations<float>());
    std::printf("peak_double_gflops %.1f\n", 1e-9 * peak_operations<double>());
    std::printf("read_first_level_gbs %.1f\n", 1e-9 * read_rate(16 << 10, 5000));
    std::printf("read_second_level_gbs %.1f\n", 1e-9 * read_rate(512 << 10, 200));
    std::printf("read_memory_gbs %.1f\n", 1e-9 * read_rate(large, 1));
    std::printf("copy_memory_gbs %.1f\n", 1e-9 * copy_rate(large, 1));
}
