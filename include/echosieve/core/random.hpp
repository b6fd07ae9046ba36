// Counter-based random streams: the same seed gives the same bits on one thread or many.
#pragma once

#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

// Symbols: key = (seed), counter = (block number, stream number); Philox4x32-10 of
// Salmon, Moraes, Dror and Shaw 2011, "Parallel random numbers: as easy as 1, 2, 3", SC'11,
// section 3.3.

/// Ten rounds of Philox4x32 on a 128-bit counter with a 64-bit key: a bijection of the counter for
/// each key.
[[nodiscard]] constexpr std::array<std::uint32_t, 4> philox4x32(
    std::array<std::uint32_t, 4> counter, std::array<std::uint32_t, 2> key) noexcept {
    for (int round = 0; round < 10; ++round) {
        const std::uint64_t p0 = std::uint64_t{0xD2511F53} * counter[0];
        const std::uint64_t p1 = std::uint64_t{0xCD9E8D57} * counter[2];
        counter = {static_cast<std::uint32_t>(p1 >> 32) ^ counter[1] ^ key[0],
                   static_cast<std::uint32_t>(p1),
                   static_cast<std::uint32_t>(p0 >> 32) ^ counter[3] ^ key[1],
                   static_cast<std::uint32_t>(p0)};
        key[0] += 0x9E3779B9;
        key[1] += 0xBB67AE85;
    }
    return counter;
}

/// A stream of random numbers. Streams of one seed are independent of each other, and cost nothing
/// to create: give each frame or particle its own, never each thread. Draws are our own, since
/// those of the standard library differ between implementations. Period 2^66 draws of 32 bits.
class RandomStream {
public:
    using result_type = std::uint32_t;

    explicit constexpr RandomStream(std::uint64_t seed, std::uint64_t stream = 0) noexcept
        : key_{low(seed), high(seed)}, stream_{low(stream), high(stream)} {}

    static constexpr result_type min() noexcept { return 0; }
    static constexpr result_type max() noexcept { return 0xFFFFFFFF; }

    constexpr result_type operator()() noexcept {
        if (used_ == 4) {
            block_ = philox4x32({low(next_), high(next_), stream_[0], stream_[1]}, key_);
            ++next_;
            used_ = 0;
        }
        return block_[used_++];
    }

    /// Uniform in [0, 1): 53 random bits for double, 24 for float.
    template <Real R = double>
    [[nodiscard]] constexpr R uniform() noexcept {
        if constexpr (std::same_as<R, float>) {
            return static_cast<float>((*this)() >> 8) * 0x1p-24F;
        } else {
            const std::uint64_t top = (*this)();
            return static_cast<double>(((top << 32) | (*this)()) >> 11) * 0x1p-53;
        }
    }
    /// Uniform in [from, to), or exactly `from` when they are equal.
    template <Real R>
    [[nodiscard]] constexpr R uniform(R from, R to) noexcept {
        const R x = from + (to - from) * uniform<R>();
        return x < to || from == to ? x : from;  // rounding may reach `to`
    }
    /// Uniform among 0 .. count - 1, count > 0 and below 2^53.
    [[nodiscard]] constexpr std::size_t index(std::size_t count) noexcept {
        const auto drawn = static_cast<std::size_t>(uniform() * static_cast<double>(count));
        return drawn < count ? drawn : count - 1;  // rounding may reach `count`
    }
    /// Standard normal, by Box and Muller 1958.
    template <Real R = double>
    [[nodiscard]] R normal() noexcept {
        const double radius = std::sqrt(-2 * std::log(1 - uniform<double>()));
        return static_cast<R>(radius * std::cos(2 * std::numbers::pi * uniform<double>()));
    }

private:
    static constexpr std::uint32_t low(std::uint64_t x) noexcept {
        return static_cast<std::uint32_t>(x);
    }
    static constexpr std::uint32_t high(std::uint64_t x) noexcept {
        return static_cast<std::uint32_t>(x >> 32);
    }

    std::array<std::uint32_t, 2> key_;
    std::array<std::uint32_t, 2> stream_;
    std::uint64_t next_ = 0;
    std::array<std::uint32_t, 4> block_{};
    unsigned used_ = 4;
};

}  // namespace echosieve
