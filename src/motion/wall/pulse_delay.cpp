#include "echosieve/motion/pulse_delay.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <map>
#include <numbers>
#include <utility>
#include <vector>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/condition/detail/fir.hpp"
#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "motion/line/gate_spectrum.hpp"
#include "motion/wall/pulse_delay.hpp"

namespace echosieve {

void validate(const PulseDelayOptions& options) {
    // Of a piece: fewer bins show no shape, and more hold another depth's.
    constexpr double shortest_piece = 4;
    constexpr double longest_piece = 100;
    constexpr double fastest_shift = 1e3;  // [1/m]: all of the band in a millimetre
    require(options.gaussian_prior >= 0 && options.gaussian_prior <= 1, "gaussian_prior",
            options.gaussian_prior, "must lie in [0, 1]");
    require(options.zero_phase_prior >= 0 && options.gaussian_prior + options.zero_phase_prior <= 1,
            "zero_phase_prior", options.zero_phase_prior,
            "must be zero or more and not exceed 1 together with gaussian_prior");
    require(options.wall_weight >= 0, "wall_weight", options.wall_weight, "must be zero or more");
    require(options.tissue_weight >= 0, "tissue_weight", options.tissue_weight,
            "must be zero or more");
    require(options.floor > 0 && options.floor < 1, "floor", options.floor, "must lie in (0, 1)");
    require(options.noise_left > 0 && options.noise_left <= 1, "noise_left", options.noise_left,
            "must lie in (0, 1]");
    require(options.piece >= shortest_piece && options.piece <= longest_piece, "piece",
            options.piece,
            detail::concatenate("must lie in [", shortest_piece, ", ", longest_piece,
                                "] [1 / bandwidth]"));
    require(options.largest_shift >= 0, "largest_shift", options.largest_shift,
            "must be zero or more [1/m]");
    detail::require_at_most(options.wall_weight, largest_option::factor, "wall_weight");
    detail::require_at_most(options.tissue_weight, largest_option::factor, "tissue_weight");
    detail::require_at_most(options.largest_shift, fastest_shift, "largest_shift", "[1/m]");
}

namespace {

using std::numbers::pi;
constexpr auto shape_count = static_cast<Eigen::Index>(pulse_shapes.size());

// Chosen on synthetic recordings, numbers 201 to 260, where no other reason stands.
constexpr double widest_cutoff = 0.499;     // of the sampling rate: just below its half
constexpr double six_decibel_factor = 0.6;  // 10^0.6: a power of 6 dB
constexpr double decade = 10;
constexpr double delay_step = 1e-3;     // of d_m [1 / bandwidth]
constexpr int coarse_delay_steps = 20;  // the envelope changes over hundreds of them
constexpr double echo_step = 0.1;       // between peaks of a wall's echoes [1 / bandwidth]
constexpr double window_margin = 0.1;   // of a gate's length, where its window lets nothing through
constexpr double least_angle = 0.02;    // 1 - cosine^2 of two echoes that can be told apart
constexpr double widest_band = 1.2;     // of a piece: the low-pass leaves a third of an echo there
// A second difference of white noise has 1 + 4 + 1 times its variance.
constexpr double bend_variance = 6;
constexpr double least_noise_part = 1e-9;  // of a piece's power: no logarithm of zero
constexpr double least_shape = 1e-12;      // of the largest expected power: the same
// The scale of a piece's signal: reweighted so often; held above these parts of the largest power
// and of the step before; what noise makes negative counts for this part of the noise.
constexpr int scale_steps = 4;
constexpr double least_first_scale = 1e-9;
constexpr double least_scale_part = 1e-6;
constexpr double least_power_part = 1e-3;
constexpr int shifts = 7;    // k = 0 to the largest
constexpr double spent = 3;  // of a wall's bins, by two amplitudes and two arrivals
// The shapes are seven of one family, and a pulse need not be of it: so far the evidence among them
// is not believed, and a delay is not sure to better than this, whatever they say. In 98 drawn
// recordings of the volume, whose pulse is of the family, 0.08 / bandwidth was left in the median.
constexpr double other_pulse = 0.25;
constexpr double least_deviation = 0.1;  // [1 / bandwidth]
// A symmetric envelope shows nothing of its delay. Of a pulse as short as its band allows, a
// squared sine, the length is 2 / B, and it peaks half of it after it begins; counted from its
// peak, as a Gaussian is, the delay is 0. Nothing between is likelier than the rest.
constexpr double largest_symmetric_delay = 1;  // [1 / bandwidth]
constexpr double even_variance = 12;  // a length's square over the variance of even places on it

// A pulse's spectrum, times H, on an even grid of frequencies from the band's centre, in
// bandwidths.
class PulseSpectra {
public:
    PulseSpectra(const RecordingSettings& settings, const BasebandOptions& baseband)
        : bandwidth_(settings.sensor.bandwidth),
          offsets_(Eigen::ArrayXd::LinSpaced(count, -widest, widest)),
          low_pass_(count) {
        const double rate = settings.sampling_rate;
        const Eigen::ArrayXd taps =
            low_pass_taps(filter_length(rate, bandwidth_),
                          std::min(baseband.cutoff * bandwidth_, widest_cutoff * rate), rate);
        const Eigen::Index middle = taps.size() / 2;
        const auto half = static_cast<double>(middle);
        const Eigen::ArrayXd times =
            Eigen::ArrayXd::LinSpaced(taps.size(), -half, half) * bandwidth_ / rate;
        for (Eigen::Index k = 0; k < count; ++k) {
            low_pass_[k] = (taps * (2 * pi * offsets_[k] * times).cos()).sum();
        }
    }

    [[nodiscard]] const Eigen::ArrayXd& offsets() const noexcept { return offsets_; }

    // The band's centre at `shift` bandwidths.
    [[nodiscard]] Eigen::ArrayXcd spectrum(const PulseShape& shape, double shift) const {
        Eigen::ArrayXcd out(count);
        const double n = shape.order;
        const double steepness = std::sqrt(std::pow(decade, six_decibel_factor / (n + 1)) - 1);
        for (Eigen::Index k = 0; k < count; ++k) {
            const double x = 2 * (offsets_[k] - shift);
            const std::complex<double> p =
                shape.order == 0 ? std::exp(-ln_six_decibels * x * x)
                                 : std::pow(std::complex<double>(1, steepness * x), -(n + 1));
            out[k] = (shape.zero_phase ? std::abs(p) : p) * low_pass_[k];
        }
        return out;
    }
    // The waveform of a spectrum at `time` times the bandwidth after the arrival.
    [[nodiscard]] std::complex<double> waveform(const Eigen::ArrayXcd& spectrum,
                                                double time) const {
        std::complex<double> phasor = std::polar(1.0, 2 * pi * offsets_[0] * time);
        const std::complex<double> turn = std::polar(1.0, 2 * pi * spacing * time);
        std::complex<double> sum = 0;
        for (Eigen::Index k = 0; k < count; ++k) {
            sum += spectrum[k] * phasor;
            phasor *= turn;
        }
        return sum;
    }
    // d_m in 1 / bandwidth.
    [[nodiscard]] double delay(const PulseShape& shape) const {
        if (shape.order == 0 || shape.zero_phase) {
            return 0;
        }
        Eigen::ArrayXcd p = spectrum(shape, 0);
        for (Eigen::Index k = 0; k < count; ++k) {
            const double beyond = std::abs(offsets_[k]) - 1;  // what a wall's gate leaves out
            p[k] *= std::clamp(0.5 - beyond / spacing, 0.0, 1.0);
        }
        int best = 0;
        double largest = 0;
        const auto look = [&](int from, int to, int by) {
            for (int k = from; k < to; k += by) {
                const double energy = std::norm(waveform(p, k * delay_step));
                if (energy > largest) {
                    largest = energy;
                    best = k;
                }
            }
        };
        look(0, static_cast<int>(longest_pulse_delay / delay_step), coarse_delay_steps);
        look(std::max(best - coarse_delay_steps, 0), best + coarse_delay_steps + 1, 1);
        return best * delay_step;
    }

private:
    // Beyond `widest` the low-pass lets nothing through; the waveform repeats after 1 / spacing.
    static constexpr double widest = 1.6;
    static constexpr Eigen::Index count = 81;
    static constexpr double spacing = 2 * widest / (count - 1);

    double bandwidth_;
    Eigen::ArrayXd offsets_;
    Eigen::ArrayXd low_pass_;
};

// Echoes of one shape over the gate, in its bins: a column each, `step` apart.
Eigen::MatrixXcd gate_echoes(const GateSpectrum& gate, const PulseSpectra& pulses,
                             const Eigen::ArrayXcd& spectrum, double delay, double bandwidth) {
    const auto count = static_cast<Eigen::Index>(gate.grid.count);
    const double length = static_cast<double>(count) * gate.grid.step() * bandwidth;
    const auto echoes = static_cast<Eigen::Index>((1 - 2 * window_margin) * length / echo_step);
    Eigen::ArrayXXcd samples(echoes, count);
    for (Eigen::Index n = 0; n < count; ++n) {
        const double place = static_cast<double>(n);
        const double weight = gate_window((place + 0.5) / static_cast<double>(count));
        for (Eigen::Index k = 0; k < echoes; ++k) {
            const double peak = window_margin * length + static_cast<double>(k) * echo_step;
            const double time = place * gate.grid.step() * bandwidth - peak + delay;
            samples(k, n) = weight * pulses.waveform(spectrum, time);
        }
    }
    return gate_spectra(gate, samples).matrix().transpose();
}

// r_w: the part of a spectrum's energy that the best two echoes leave.
double unexplained(const Eigen::MatrixXcd& echoes, const Eigen::VectorXcd& wall) {
    const Eigen::MatrixXcd gram = echoes.adjoint() * echoes;
    const Eigen::VectorXcd product = echoes.adjoint() * wall;
    double best = 0;
    for (Eigen::Index i = 0; i < gram.rows(); ++i) {
        const double a = gram(i, i).real();
        for (Eigen::Index j = i + 1; j < gram.rows(); ++j) {
            const double b = gram(j, j).real();
            const double determinant = a * b - std::norm(gram(i, j));
            if (determinant > least_angle * a * b) {
                const double cross = (std::conj(product[i]) * gram(i, j) * product[j]).real();
                best = std::max(
                    best, (b * std::norm(product[i]) + a * std::norm(product[j]) - 2 * cross) /
                              determinant);
            }
        }
    }
    const double energy = wall.squaredNorm();
    return energy > 0 ? std::max(1 - best / energy, 0.0) : 1;
}

// A piece of the line: its power spectrum, and the noise in it.
struct Piece {
    double depth = 0;
    SamplingGrid grid;
    Eigen::ArrayXd offsets;  // per bin, from the sensor's centre [bandwidths]
    Eigen::ArrayXd power;
    Eigen::ArrayXd noise;
};

// Echoes hardly bend from one frame to the next but one: what does is noise. Its median over the
// frames is not led astray by the few in which the artery expands.
double frame_noise(const Eigen::ArrayXXcd& values, Eigen::Index bin, std::vector<double>& bends) {
    bends.clear();
    for (Eigen::Index i = 1; i + 1 < values.rows(); ++i) {
        bends.push_back(std::norm(values(i - 1, bin) - 2.0 * values(i, bin) + values(i + 1, bin)) /
                        bend_variance);
    }
    const auto middle = bends.begin() + static_cast<std::ptrdiff_t>(bends.size() / 2);
    std::nth_element(bends.begin(), middle, bends.end());
    return *middle / std::numbers::ln2;
}

std::vector<Piece> line_pieces(const LineHistory& line, const PulseDelayOptions& options) {
    const Sensor& sensor = line.settings.sensor;
    const double half = line.settings.depth(options.piece / 2 / sensor.bandwidth);
    std::vector<Piece> pieces;
    std::vector<double> bends;
    for (double z = line.first_depth() + line.dead_zone + half; z + half <= line.last_depth();
         z += half) {
        const GateSpectrum gate = gate_spectrum(line, z, half, GateWindow{1, widest_band});
        Piece piece{z, gate.grid, (gate.frequencies - sensor.centre_frequency) / sensor.bandwidth,
                    gate.values.abs2().colwise().mean().transpose(), Eigen::ArrayXd(gate.bins())};
        for (Eigen::Index j = 0; j < gate.bins(); ++j) {
            piece.noise[j] =
                std::max(frame_noise(gate.values, j, bends), least_noise_part * piece.power[j]);
        }
        if (piece.power.minCoeff() > 0) {
            pieces.push_back(std::move(piece));
        }
    }
    return pieces;
}

// |P_n H|^2 as seen through the piece's window, per bin: its periodogram's mean.
Eigen::ArrayXd expected_power(const Piece& piece, const PulseSpectra& pulses,
                              const Eigen::ArrayXcd& spectrum, double bandwidth) {
    const auto count = static_cast<Eigen::Index>(piece.grid.count);
    // The window's autocorrelation times the pulse's, transformed.
    Eigen::ArrayXd window(count);
    for (Eigen::Index n = 0; n < count; ++n) {
        window[n] = gate_window((static_cast<double>(n) + 0.5) / static_cast<double>(count), 1.0);
    }
    const Eigen::ArrayXcd power = spectrum.abs2().cast<std::complex<double>>();
    Eigen::ArrayXd out = Eigen::ArrayXd::Zero(piece.offsets.size());
    for (Eigen::Index lag = 0; lag < count; ++lag) {
        const double time = static_cast<double>(lag) * piece.grid.step() * bandwidth;
        const double overlap = (window.head(count - lag) * window.tail(count - lag)).sum();
        const std::complex<double> correlation = overlap * pulses.waveform(power, time);
        const double both = lag == 0 ? 1 : 2;
        for (Eigen::Index j = 0; j < out.size(); ++j) {
            out[j] +=
                both * (correlation * std::polar(1.0, -2 * pi * piece.offsets[j] * time)).real();
        }
    }
    return out.max(least_shape * out.maxCoeff());
}

// T of one piece with the scale s at its best.
double mismatch(const Piece& piece, const Eigen::ArrayXd& shape, double noise_left) {
    const Eigen::ArrayXd left = noise_left * piece.noise;
    const Eigen::ArrayXd signal = piece.power - piece.noise;
    double scale = std::max((signal / shape).mean(), least_first_scale * signal.maxCoeff());
    for (int k = 0; k < scale_steps; ++k) {
        const Eigen::ArrayXd weight = (shape / (scale * shape + left)).square();
        scale = std::max((weight * signal / shape).sum() / weight.sum(), least_scale_part * scale);
    }
    const Eigen::ArrayXd variance = scale * shape + left;
    return (variance.log() + (signal + left).max(least_power_part * left) / variance).sum();
}

}  // namespace

double envelope_delay(const PulseShape& shape, const RecordingSettings& settings,
                      const BasebandOptions& baseband) {
    validate(settings);
    validate(baseband);
    require(shape.order >= 0, "order", shape.order, "must be zero or more");
    return PulseSpectra(settings, baseband).delay(shape) / settings.sensor.bandwidth;
}

Eigen::ArrayXd pulse_evidence(const LineHistory& line, const SeparatedWalls& walls,
                              const BasebandOptions& baseband, const PulseDelayOptions& options) {
    validate(options);
    const PulseSpectra pulses(line.settings, baseband);
    const std::vector<Piece> pieces = line_pieces(line, options);
    const double bandwidth = line.settings.sensor.bandwidth;
    const auto tissue = [&](const PulseShape& shape, double shift) {
        double sum = 0;
        for (const Piece& piece : pieces) {
            const Eigen::ArrayXcd spectrum = pulses.spectrum(shape, shift * piece.depth);
            sum += mismatch(piece, expected_power(piece, pulses, spectrum, bandwidth),
                            options.noise_left);
        }
        return options.tissue_weight * sum;
    };
    const auto wall_evidence = [&](const PulseShape& shape, double delay, double shift) {
        double sum = 0;
        for (const SeparatedWall* wall : {&walls.near, &walls.far}) {
            const GateSpectrum& gate = wall->layered.gate;
            const Eigen::MatrixXcd echoes = gate_echoes(
                gate, pulses, pulses.spectrum(shape, shift * wall->state.depth), delay, bandwidth);
            const double left = unexplained(echoes, wall->spectrum().matrix());
            sum += std::max(static_cast<double>(gate.bins()) - spent, 0.0) *
                   std::log(std::max(left, options.floor));
        }
        return options.wall_weight * sum;
    };
    Eigen::ArrayXd evidence =
        Eigen::ArrayXd::Constant(shape_count, std::numeric_limits<double>::infinity());
    std::array<double, pulse_shapes.size()> delays{};
    for (std::size_t m = 0; m < delays.size(); ++m) {
        delays[m] = pulses.delay(pulse_shapes[m]);
    }
    for (int k = 0; k < shifts; ++k) {
        const double shift = -options.largest_shift * k / (shifts - 1);
        std::map<int, double> of_order;  // phase does not change a power spectrum
        for (std::size_t m = 0; m < pulse_shapes.size(); ++m) {
            const PulseShape& shape = pulse_shapes[m];
            if (!of_order.contains(shape.order)) {
                of_order[shape.order] = tissue(shape, shift);
            }
            double& least = evidence[static_cast<Eigen::Index>(m)];
            least = std::min(least, of_order[shape.order] + wall_evidence(shape, delays[m], shift));
        }
    }
    return evidence - evidence.minCoeff();
}

PulseDelay weigh_delays(const Eigen::ArrayXd& evidence, const RecordingSettings& settings,
                        const BasebandOptions& baseband, const PulseDelayOptions& options) {
    validate(options);
    require(evidence.size() == shape_count, "number of evidences", evidence.size(),
            detail::concatenate("must be ", shape_count));
    const PulseSpectra pulses(settings, baseband);
    const auto others = static_cast<double>(
        std::count_if(pulse_shapes.begin(), pulse_shapes.end(),
                      [](const PulseShape& s) { return s.zero_phase && s.order > 0; }));
    const auto causal =
        static_cast<double>(std::count_if(pulse_shapes.begin(), pulse_shapes.end(),
                                          [](const PulseShape& s) { return !s.zero_phase; }));
    Eigen::ArrayXd prior(shape_count);
    Eigen::ArrayXd delays(shape_count);
    PulseDelay out;
    for (Eigen::Index m = 0; m < shape_count; ++m) {
        const PulseShape& shape = pulse_shapes[static_cast<std::size_t>(m)];
        prior[m] = shape.order == 0 ? options.gaussian_prior
                   : shape.zero_phase
                       ? options.zero_phase_prior / others
                       : (1 - options.gaussian_prior - options.zero_phase_prior) / causal;
        delays[m] = pulses.delay(shape) / settings.sensor.bandwidth;
    }
    const Eigen::ArrayXd likely = prior * (-(evidence - evidence.minCoeff())).exp();
    const double sum = likely.sum();
    out.source = DelaySource::estimated;
    out.delay = (likely * delays).sum() / sum;
    // The mean is the evidence's; how sure it is, a mixture's with what was believed before, and
    // with any delay that leaves a symmetric pulse as it is.
    const Eigen::ArrayXd mixed = (1 - other_pulse) * likely / sum + other_pulse * prior;
    const double largest = largest_symmetric_delay / settings.sensor.bandwidth;
    double square = 0;
    for (Eigen::Index m = 0; m < shape_count; ++m) {
        const bool symmetric = pulse_shapes[static_cast<std::size_t>(m)].zero_phase;
        out.zero_phase += symmetric ? mixed[m] : 0;
        const double middle = symmetric ? largest / 2 : delays[m];
        square += mixed[m] * ((middle - out.delay) * (middle - out.delay) +
                              (symmetric ? largest * largest / even_variance : 0));
    }
    out.deviation = std::hypot(std::sqrt(square), least_deviation / settings.sensor.bandwidth);
    return out;
}

PulseDelay pulse_delay(const LineHistory& line, const SeparatedWalls& walls,
                       const BasebandOptions& baseband, const PulseDelayOptions& options) {
    validate(options);
    if (line.settings.sensor.pulse_delay) {
        return {DelaySource::given, *line.settings.sensor.pulse_delay, 0, 0};
    }
    if (!options.estimate) {
        return {};
    }
    return weigh_delays(pulse_evidence(line, walls, baseband, options), line.settings, baseband,
                        options);
}

}  // namespace echosieve
