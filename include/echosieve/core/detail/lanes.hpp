// As many numbers side by side as the processor handles at once.
#pragma once

#include <Eigen/Core>
#include <cstddef>

#include "echosieve/core/detail/scalar.hpp"

namespace echosieve {

/// A register's worth of numbers, over Eigen's packets: 16 of float with AVX-512, 4 with SSE, 1
/// where Eigen does not vectorise. Sums over samples kept in lanes need no licence to reorder
/// floating-point additions (-ffast-math) to be vectorised: the order is written down.
template <Real R>
class Lanes {
    using Packet = typename Eigen::internal::packet_traits<R>::type;

public:
    static constexpr std::size_t size = Eigen::internal::unpacket_traits<Packet>::size;

    Lanes() noexcept : packet_(Eigen::internal::pset1<Packet>(R{0})) {}
    explicit Lanes(R x) noexcept : packet_(Eigen::internal::pset1<Packet>(x)) {}

    /// 0, 1, 2 ... size - 1.
    [[nodiscard]] static Lanes count() noexcept {
        return Lanes(Eigen::internal::plset<Packet>(R{0}));
    }
    [[nodiscard]] static Lanes load(const R* from) noexcept {
        return Lanes(Eigen::internal::ploadu<Packet>(from));
    }
    void store(R* to) const noexcept { Eigen::internal::pstoreu(to, packet_); }

    [[nodiscard]] R sum() const noexcept { return Eigen::internal::predux(packet_); }
    [[nodiscard]] R largest() const noexcept { return Eigen::internal::predux_max(packet_); }

    friend Lanes operator+(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(Eigen::internal::padd(x.packet_, y.packet_));
    }
    friend Lanes operator-(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(Eigen::internal::psub(x.packet_, y.packet_));
    }
    friend Lanes operator*(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(Eigen::internal::pmul(x.packet_, y.packet_));
    }
    friend Lanes operator/(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(Eigen::internal::pdiv(x.packet_, y.packet_));
    }
    Lanes& operator+=(const Lanes& y) noexcept { return *this = *this + y; }
    /// x y + z, in one rounding where the processor can.
    [[nodiscard]] friend Lanes multiply_add(const Lanes& x, const Lanes& y,
                                            const Lanes& z) noexcept {
        return Lanes(Eigen::internal::pmadd(x.packet_, y.packet_, z.packet_));
    }
    [[nodiscard]] friend Lanes larger(const Lanes& x, const Lanes& y) noexcept {
        return Lanes(Eigen::internal::pmax(x.packet_, y.packet_));
    }
    [[nodiscard]] friend Lanes exponential(const Lanes& x) noexcept {
        return Lanes(Eigen::internal::pexp(x.packet_));
    }

private:
    explicit Lanes(const Packet& packet) noexcept
    requires(size > 1)
        : packet_(packet) {}

    Packet packet_;
};

/// `count` rounded up to whole lanes.
template <Real R>
[[nodiscard]] constexpr std::size_t whole_lanes(std::size_t count) noexcept {
    return (count + Lanes<R>::size - 1) / Lanes<R>::size * Lanes<R>::size;
}

}  // namespace echosieve
