#include "motion/layers/layers.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "echosieve/core/detail/whole_number.hpp"
#include "echosieve/kernels/detail/phasors.hpp"
#include "motion/line/cubic.hpp"
#include "motion/line/gate_spectrum.hpp"

namespace echosieve {

Eigen::ArrayXd delayed(const Eigen::ArrayXd& x, double frames) {
    Eigen::ArrayXd out(x.size());
    const Eigen::Index end = x.size() - 1;
    const auto at = [&](Eigen::Index k) { return x[std::clamp<Eigen::Index>(k, 0, end)]; };
    for (Eigen::Index i = 0; i < x.size(); ++i) {
        const double place =
            std::clamp(static_cast<double>(i) - frames, 0.0, static_cast<double>(end));
        const Eigen::Index k =
            held_whole(place, Eigen::Index{0}, std::max<Eigen::Index>(end - 1, 0));
        const double t = place - static_cast<double>(k);
        out[i] = cubic_through({at(k - 1), at(k), at(k + 1), at(k + 2)}, 1 + t);
    }
    return out;
}

LayerTimes LayerTimes::late() const {
    LayerTimes out = *this;
    if (lag != 0) {
        out.pulse = delayed(pulse, lag);
    }
    return out;
}

LayerTimes LayerTimes::seen_by(std::size_t line) const {
    if (lines.empty()) {
        return *this;
    }
    const LineTimes& own = lines[line];
    return {own.delay != 0 ? delayed(pulse, own.delay) : pulse, bulk, own.weight, sound_speed, lag};
}

std::vector<LayerTimes> LayerTimes::by_line() const {
    std::vector<LayerTimes> out;
    for (std::size_t k = 0; k < std::max<std::size_t>(lines.size(), 1); ++k) {
        out.push_back(seen_by(k));
    }
    return out;
}

Eigen::ArrayXd layer_delays(const LayerTimes& times, const LayerShare& share) {
    return 2 / times.sound_speed * (share.pulse * times.pulse + share.bulk * times.bulk);
}

Eigen::ArrayXXcd layer_phasors(const GateSpectrum& gate, const LayerTimes& times,
                               const LayerShare& share) {
    const Eigen::ArrayXd delays = layer_delays(times, share);
    Eigen::ArrayXXcd phasors(delays.size(), gate.bins());
    write_phasors({delays.data(), static_cast<std::size_t>(delays.size())}, gate.angular(),
                  {phasors.data(), static_cast<std::size_t>(phasors.size())});
    return phasors;
}

}  // namespace echosieve
