// Numbers, counts and signals read from a fuzzer's bytes.
#pragma once

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "echosieve/core/detail/scalar.hpp"
#include "echosieve/core/random.hpp"

namespace echosieve::fuzz {

/// Reads from front to back; after the end come zeros, which stand for what is usual.
class FuzzInput {
public:
    FuzzInput(const std::uint8_t* data, std::size_t size) : data_(data, size) {}

    [[nodiscard]] std::uint8_t byte() noexcept {
        if (data_.empty()) {
            return 0;
        }
        const std::uint8_t first = data_.front();
        data_ = data_.subspan(1);
        return first;
    }
    [[nodiscard]] bool flag() noexcept { return (byte() & 1) != 0; }
    /// least .. most, both at most 65,535 apart; two bytes.
    [[nodiscard]] std::size_t count(std::size_t least, std::size_t most) noexcept {
        const std::size_t high = byte();
        return least + (high << 8 | byte()) % (most - least + 1);
    }
    [[nodiscard]] std::uint64_t bits() noexcept {
        std::uint64_t out = 0;
        for (int k = 0; k < 8; ++k) {
            out = out << 8 | byte();
        }
        return out;
    }
    /// A number that an option may be given: byte 0 the usual one, most others near it, then ever
    /// further away, then those that break things, then any at all.
    [[nodiscard]] double number(double usual) noexcept {
        const int kind = byte();
        if (kind < 128) {
            return usual * (1 + kind / 128.0 * (kind % 2 == 0 ? 1 : -1));
        }
        if (kind < 192) {
            return usual * std::pow(10.0, (kind - 160) / 4.0);
        }
        if (kind < 240) {
            return odd[static_cast<std::size_t>(kind) % odd.size()];
        }
        return kind < 248 ? usual * std::bit_cast<double>(bits()) : std::bit_cast<double>(bits());
    }
    /// One that mostly lies between the two.
    [[nodiscard]] double between(double low, double high) noexcept {
        const int kind = byte();
        if (kind < 240) {
            return low + (high - low) * ((kind << 8 | byte()) / (240.0 * 256));
        }
        return number(high);
    }
    /// A whole number that an option may be given: mostly 0 to `usual`, at times a negative one.
    [[nodiscard]] int whole(int usual) noexcept {
        const int kind = byte();
        return kind < 224 ? kind % (usual + 1) : kind - 240;
    }
    /// The same for options that can't be negative; at times the largest there is.
    [[nodiscard]] std::size_t number_of(std::size_t usual) noexcept {
        const std::size_t kind = byte();
        return kind < 250 ? kind % (usual + 1) : std::numeric_limits<std::size_t>::max() - kind % 2;
    }

    [[nodiscard]] std::size_t left() const noexcept { return data_.size(); }
    /// All bytes that are left.
    [[nodiscard]] std::span<const std::uint8_t> rest() noexcept {
        const auto out = data_;
        data_ = {};
        return out;
    }

private:
    static constexpr std::array odd = {
        0.0,
        -0.0,
        -1.0,
        1.0,
        0.5,
        2.0,
        std::numeric_limits<double>::infinity(),
        -std::numeric_limits<double>::infinity(),
        std::numeric_limits<double>::quiet_NaN(),
        std::numeric_limits<double>::max(),
        std::numeric_limits<double>::lowest(),
        std::numeric_limits<double>::min(),
        std::numeric_limits<double>::denorm_min(),
        1e-300,
        1e300,
        1e-30,
        1e30,
        1e9,
        1e18,
        1e-9,
        static_cast<double>(std::numeric_limits<float>::max()),
        4294967296.0,
        1 - 0x1p-53,
        1 + 0x1p-52,
    };

    std::span<const std::uint8_t> data_;
};

/// What may be done to samples that are good otherwise.
template <class T>
void spoil(FuzzInput& in, std::span<T> samples) {
    const std::size_t places = in.count(0, 3);
    for (std::size_t k = 0; k < places && !samples.empty(); ++k) {
        T& x = samples[in.count(0, 65535) % samples.size()];
        if constexpr (std::is_integral_v<T>) {
            x = static_cast<T>(static_cast<std::int16_t>(in.count(0, 65535)));
        } else if constexpr (is_complex<T>) {
            x = T(static_cast<RealOf<T>>(in.number(1)), static_cast<RealOf<T>>(in.number(1)));
        } else {
            const double wide = in.number(1);
            // Out of float's range it would be undefined what comes of it.
            x = std::abs(wide) <= static_cast<double>(std::numeric_limits<T>::max()) ||
                        !std::isfinite(wide)
                    ? static_cast<T>(wide)
                    : std::numeric_limits<T>::infinity();
        }
    }
}

/// Noise of any size, or nothing; then spoilt.
template <class T>
[[nodiscard]] std::vector<T> any_samples(FuzzInput& in, std::size_t count) {
    std::vector<T> out(count);
    const double size = in.flag() ? in.number(1) : 1;
    RandomStream random(in.byte(), 1);
    for (T& x : out) {
        using R = RealOf<T>;
        const double limit = static_cast<double>(std::numeric_limits<R>::max());
        const auto draw = [&] { return std::clamp(size * random.normal(), -limit, limit); };
        if constexpr (is_complex<T>) {
            x = T(static_cast<R>(draw()), static_cast<R>(draw()));
        } else {
            x = static_cast<T>(draw());
        }
    }
    spoil(in, std::span<T>(out));
    return out;
}

}  // namespace echosieve::fuzz
