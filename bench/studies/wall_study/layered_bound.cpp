#include "layered_bound.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <utility>

#include "echosieve/atoms/gabor.hpp"
#include "echosieve/core/error.hpp"

namespace wall_study {
namespace {

using namespace echosieve;
using detail::LayeredEcho;
using detail::LayeredSource;

constexpr double rhythm_left = 1e-6;  // of a rhythm's variance: far below what noise hides

// A scene's pulse and its derivative.
class Pulse {
public:
    explicit Pulse(const LayeredSceneOptions& options)
        : envelope_(options.pulse_skew),
          length_(envelope_.length(options.settings.sensor.bandwidth)),
          frequency_(options.settings.sensor.centre_frequency) {}

    [[nodiscard]] double length() const noexcept { return length_; }
    // w(u).
    [[nodiscard]] std::complex<double> operator()(double u) const noexcept {
        return envelope_(u / length_) * unit_phasor(frequency_ * u);
    }
    // w'(u): of the envelope's waves, and of the carrier.
    [[nodiscard]] std::complex<double> slope(double u) const noexcept {
        const double x = u / length_;
        if (!(x > 0 && x < 1)) {
            return 0;
        }
        constexpr std::complex<double> i{0, 1};
        std::complex<double> rise = 0;
        for (int m = -detail::SkewedEnvelope::highest; m <= detail::SkewedEnvelope::highest; ++m) {
            const double turn = std::numbers::pi * m;
            rise +=
                envelope_.waves()[static_cast<std::size_t>(m + detail::SkewedEnvelope::highest)] *
                i * turn * std::polar(1.0, turn * x);
        }
        return (rise / length_ + envelope_(x) * 2.0 * std::numbers::pi * frequency_ * i) *
               unit_phasor(frequency_ * u);
    }

private:
    detail::SkewedEnvelope envelope_;
    double length_;
    double frequency_;
};

// A wall's echoes, and the tissue's that may lie on them.
struct GateEchoes {
    std::vector<LayeredEcho> wall;
    std::vector<LayeredEcho> tissue;
};

// Which of a scene's echoes belong to a gate, by their place among those of their source.
class GateChoice {
public:
    GateChoice(const LayeredScene& scene, double reach, bool far) {
        const WallDepths walls = scene.walls(0);
        const double middle = (walls.near_inner + walls.far_inner) / 2;
        const double outer = far ? walls.far_outer : walls.near_outer;
        scene.for_each_echo(0, [&](const LayeredEcho& echo) {
            if (echo.source == LayeredSource::wall) {
                wall_.push_back((echo.depth > middle) == far);
            } else if (echo.source == LayeredSource::tissue) {
                tissue_.push_back((echo.depth > middle) == far &&
                                  std::abs(echo.depth - outer) < reach);
                power_ += std::norm(echo.amplitude);
            }
        });
        power_ /= std::max(static_cast<double>(tissue_.size()), 1.0);
    }

    // Mean square of a tissue echo's amplitude.
    [[nodiscard]] double power() const noexcept { return power_; }
    [[nodiscard]] GateEchoes of(const LayeredScene& scene, double time) const {
        GateEchoes out;
        std::size_t wall = 0;
        std::size_t tissue = 0;
        scene.for_each_echo(time, [&](const LayeredEcho& echo) {
            if (echo.source == LayeredSource::wall && wall_[wall++]) {
                out.wall.push_back(echo);
            } else if (echo.source == LayeredSource::tissue && tissue_[tissue++]) {
                out.tissue.push_back(echo);
            }
        });
        return out;
    }

private:
    std::vector<bool> wall_;
    std::vector<bool> tissue_;
    double power_ = 0;
};

// Writes the slopes of one frame. The sensor's samples from the first echo's arrival to the last
// one's end: none beyond holds anything of them.
class SlopeWriter {
public:
    SlopeWriter(const LayeredSceneOptions& options, double tissue_power)
        : options_(options), pulse_(options), tissue_(std::sqrt(tissue_power)) {}

    // `rest`: the same echoes at rest's strength, s the change.
    [[nodiscard]] GateSlopes operator()(const GateEchoes& echoes, const GateEchoes& rest) const {
        const RecordingSettings& settings = options_.settings;
        double first = std::numeric_limits<double>::infinity();
        double last = -first;
        for (const auto* kind : {&echoes.wall, &echoes.tissue}) {
            for (const LayeredEcho& echo : *kind) {
                first = std::min(first, settings.arrival(echo.depth));
                last = std::max(last, settings.arrival(echo.depth) + pulse_.length());
            }
        }
        const double rate = settings.sampling_rate;
        const double start = std::ceil((first - settings.start_time) * rate);
        const auto samples = static_cast<Eigen::Index>((last - settings.start_time) * rate - start);
        const auto layers = static_cast<Eigen::Index>(rest.wall.size());
        const auto tissue = static_cast<Eigen::Index>(echoes.tissue.size());
        GateSlopes out{settings.start_time + start / rate, Eigen::VectorXd::Zero(samples),
                       Eigen::MatrixXd(samples, layers), Eigen::MatrixXd(samples, 2 * layers),
                       Eigen::MatrixXd(samples, 2 * tissue)};
        for (Eigen::Index k = 0; k < samples; ++k) {
            const double time = out.start + static_cast<double>(k) / rate;
            const auto since = [&](const LayeredEcho& echo) {
                return time - settings.arrival(echo.depth);
            };
            const auto write = [k](Eigen::MatrixXd& to, Eigen::Index of, std::complex<double> w) {
                to(k, 2 * of) = w.real() / std::numbers::sqrt2;
                to(k, 2 * of + 1) = -w.imag() / std::numbers::sqrt2;
            };
            for (Eigen::Index l = 0; l < layers; ++l) {
                const LayeredEcho& now = echoes.wall[static_cast<std::size_t>(l)];
                const LayeredEcho& still = rest.wall[static_cast<std::size_t>(l)];
                out.displacement[k] -=
                    2 / settings.sound_speed * (now.amplitude * pulse_.slope(since(now))).real();
                out.layers(k, l) =
                    options_.strength_change * (still.amplitude * pulse_(since(still))).real();
                write(out.amplitudes, l, now.amplitude * pulse_(since(now)));
            }
            for (Eigen::Index j = 0; j < tissue; ++j) {
                write(out.tissue, j,
                      tissue_ * pulse_(since(echoes.tissue[static_cast<std::size_t>(j)])));
            }
        }
        return out;
    }

private:
    const LayeredSceneOptions& options_;
    Pulse pulse_;
    double tissue_;
};

Eigen::MatrixXd rhythm_covariance(const LayeredScene& scene, const std::vector<double>& times) {
    const LayeredSceneOptions& options = scene.options();
    const std::vector<double> onsets = scene.pulse().onsets(options.duration);
    const auto count = static_cast<Eigen::Index>(times.size());
    Eigen::VectorXd beats(count);
    for (Eigen::Index i = 0; i < count; ++i) {
        beats[i] =
            detail::beats_at(onsets, options.pulse.heart_rate, times[static_cast<std::size_t>(i)]);
    }
    Eigen::MatrixXd out(count, count);
    for (Eigen::Index i = 0; i < count; ++i) {
        for (Eigen::Index j = 0; j < count; ++j) {
            const double apart =
                times[static_cast<std::size_t>(i)] - times[static_cast<std::size_t>(j)];
            out(i, j) =
                detail::EchoRhythm::covariance(beats[i] - beats[j], apart, options.breathing_rate);
        }
    }
    return out;
}

// Covariances of xi, and the true course's part of it.
struct WallCovariances {
    Eigen::MatrixXd courses;  // psi, without the means
    Eigen::MatrixXd any;
    Eigen::MatrixXd steady;
    Eigen::MatrixXd given;
    Eigen::VectorXd course;
    double phase_centre = 0;
};

double rms_of(const Eigen::MatrixXd& centred, const Eigen::MatrixXd& covariance) {
    const double trace = (centred * covariance).cwiseProduct(centred).sum();
    return std::sqrt(std::max(trace, 0.0) / static_cast<double>(centred.rows()));
}

// Of a course known but for size and level: what of the information lies in those two directions.
Eigen::MatrixXd of_size(const WallCovariances& wall) {
    Eigen::MatrixXd two = Eigen::MatrixXd::Zero(wall.course.size(), 2);
    two(0, 0) = 1;
    two.col(1) = wall.course;
    const Eigen::MatrixXd information = two.transpose() * wall.any.llt().solve(two);
    return two * information.llt().solve(two.transpose());
}

}  // namespace

Eigen::MatrixXd low_rank_factor(const Eigen::MatrixXd& covariance, double left) {
    const Eigen::Index count = covariance.rows();
    Eigen::VectorXd variance = covariance.diagonal();
    const double enough = left * variance.maxCoeff();
    Eigen::MatrixXd out(count, count);
    Eigen::Index rank = 0;
    Eigen::Index at = 0;
    while (rank < count && variance.maxCoeff(&at) > enough) {
        out.col(rank) =
            (covariance.col(at) - out.leftCols(rank) * out.row(at).head(rank).transpose()) /
            std::sqrt(variance[at]);
        variance -= out.col(rank).cwiseAbs2();
        ++rank;
    }
    return out.leftCols(rank);
}

Eigen::MatrixXd cosine_courses(Eigen::Index frames, double frame_rate, double bandwidth) {
    const double length = static_cast<double>(frames) / frame_rate;
    const auto count = std::min(frames, static_cast<Eigen::Index>(2 * bandwidth * length) + 1);
    Eigen::MatrixXd out(frames, count);
    for (Eigen::Index i = 0; i < frames; ++i) {
        for (Eigen::Index k = 0; k < count; ++k) {
            out(i, k) = std::cos(std::numbers::pi * static_cast<double>(k) *
                                 (static_cast<double>(i) + 0.5) / static_cast<double>(frames));
        }
    }
    return out;
}

GateInformation::GateInformation(Eigen::MatrixXd courses, Eigen::MatrixXd rhythms, double noise)
    : courses_(std::move(courses)), rhythms_(std::move(rhythms)), noise_(noise) {
    require(courses_.rows() == rhythms_.rows(), "frames of the rhythms", rhythms_.rows(),
            "must be as many as those of the courses");
    require(noise > 0, "noise", noise, "must be positive");
}

// Unknowns of a column of the slopes: displacement, layers, tissue.
Eigen::Index GateInformation::count_of(Eigen::Index column) const {
    return column == 0 ? courses_.cols() : column <= layers_ ? rhythms_.cols() : 1;
}

void GateInformation::add(Eigen::Index frame, const GateSlopes& slopes) {
    layers_ = slopes.layers.cols();
    const Eigen::Index still = slopes.amplitudes.cols() + slopes.tissue.cols();
    const Eigen::Index unknown = courses_.cols() + layers_ * rhythms_.cols() + still;
    if (information_.size() == 0) {
        information_ = Eigen::MatrixXd::Zero(unknown, unknown);
    }
    Eigen::MatrixXd all(slopes.displacement.size(), 1 + layers_ + still);
    all << slopes.displacement, slopes.layers, slopes.amplitudes, slopes.tissue;
    const Eigen::MatrixXd gram = all.transpose() * all / noise_;
    const Eigen::MatrixXd course = courses_.row(frame).transpose();
    const Eigen::MatrixXd rhythm = rhythms_.row(frame).transpose();
    const Eigen::MatrixXd one = Eigen::MatrixXd::Ones(1, 1);
    const auto over = [&](Eigen::Index column) -> const Eigen::MatrixXd& {
        return column == 0 ? course : column <= layers_ ? rhythm : one;
    };
    Eigen::Index row = 0;
    for (Eigen::Index a = 0; a < all.cols(); row += count_of(a), ++a) {
        Eigen::Index column = 0;
        for (Eigen::Index b = 0; b <= a; column += count_of(b), ++b) {
            information_.block(row, column, count_of(a), count_of(b)).noalias() +=
                gram(a, b) * over(a) * over(b).transpose();
        }
    }
}

Eigen::MatrixXd GateInformation::covariance(Given given) const {
    const Eigen::Index courses = courses_.cols();
    const Eigen::Index strengths = layers_ * rhythms_.cols();
    // Unknowns beside xi, in order: those that are given leave a gap.
    const Eigen::Index from = given == Given::strengths    ? 0
                              : given == Given::amplitudes ? strengths
                                                           : 0;
    const Eigen::Index gap = given == Given::strengths    ? strengths
                             : given == Given::amplitudes ? 2 * layers_
                                                          : 0;
    std::vector<Eigen::Index> others;
    for (Eigen::Index k = 0; k < information_.rows() - courses; ++k) {
        if (k < from || k >= from + gap) {
            others.push_back(courses + k);
        }
    }
    const Eigen::MatrixXd full = information_.selfadjointView<Eigen::Lower>();
    const auto count = static_cast<Eigen::Index>(others.size());
    const Eigen::MatrixXd cross = full(others, Eigen::seqN(0, courses));
    const Eigen::MatrixXd rest = full(others, others) + Eigen::MatrixXd::Identity(count, count);
    const Eigen::MatrixXd left =
        full.topLeftCorner(courses, courses) - cross.transpose() * rest.llt().solve(cross);
    return left.llt().solve(Eigen::MatrixXd::Identity(courses, courses));
}

WallGate wall_gate(const LayeredScene& scene, std::uint64_t seed, bool far,
                   const BoundOptions& options) {
    LayeredSceneOptions still = scene.options();
    still.strength_change = 0;
    const LayeredScene rest(still, seed);
    const RecordingSettings& settings = scene.options().settings;
    // Tissue further out does not lie on the wall's echoes.
    const GateChoice choice(scene, settings.depth(Pulse(still).length()), far);
    const SlopeWriter slopes(scene.options(), choice.power());
    const double step = std::max(1.0, std::round(settings.frame_rate / options.frame_rate));
    WallGate out;
    out.noise = std::pow(10, -scene.options().snr_decibels / 10) / step;
    for (double i = 0; i < scene.options().duration * settings.frame_rate; i += step) {
        out.times.push_back(i / settings.frame_rate);
        out.frames.push_back(
            slopes(choice.of(scene, out.times.back()), choice.of(rest, out.times.back())));
    }
    out.rhythms = low_rank_factor(rhythm_covariance(scene, out.times), rhythm_left);
    return out;
}

double phase_centre(const WallGate& gate) {
    const Eigen::Index layers = gate.frames.front().layers.cols();
    const Eigen::Index frames = gate.rhythms.rows();
    Eigen::MatrixXd pull(frames, layers);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const GateSlopes& now = gate.frames[static_cast<std::size_t>(i)];
        pull.row(i) = now.displacement.transpose() * now.layers / now.displacement.squaredNorm();
    }
    double square = 0;
    for (Eigen::Index l = 0; l < layers; ++l) {
        const Eigen::MatrixXd moved = pull.col(l).asDiagonal() * gate.rhythms;
        square += (moved.rowwise() - moved.colwise().mean()).squaredNorm();
    }
    return std::sqrt(square / static_cast<double>(frames));
}

namespace {

WallCovariances wall_covariances(const LayeredScene& scene, std::uint64_t seed, bool far,
                                 const BoundOptions& options) {
    const WallGate gate = wall_gate(scene, seed, far, options);
    const auto frames = static_cast<Eigen::Index>(gate.frames.size());
    const double rate = static_cast<double>(frames) / scene.options().duration;
    const Eigen::MatrixXd courses = cosine_courses(frames, rate, options.bandwidth);
    GateInformation information(courses, gate.rhythms, gate.noise);
    Eigen::VectorXd truth(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        information.add(i, gate.frames[static_cast<std::size_t>(i)]);
        const WallDepths now = scene.walls(gate.times[static_cast<std::size_t>(i)]);
        truth[i] = far ? now.far_outer : now.near_outer;
    }
    WallCovariances out{courses.rowwise() - courses.colwise().mean(),
                        information.covariance(),
                        information.covariance(Given::strengths),
                        information.covariance(Given::amplitudes),
                        {},
                        phase_centre(gate)};
    truth.array() -= truth.mean();
    // Cosines are orthogonal over the frames.
    out.course =
        (courses.transpose() * truth).cwiseQuotient(courses.colwise().squaredNorm().transpose());
    return out;
}

CourseBound course_bound(const WallCovariances& wall) {
    return {rms_of(wall.courses, wall.any), rms_of(wall.courses, wall.steady),
            rms_of(wall.courses, wall.given), rms_of(wall.courses, of_size(wall)),
            wall.phase_centre};
}

}  // namespace

LayeredBound layered_bound(const LayeredScene& scene, std::uint64_t seed,
                           const BoundOptions& options) {
    LayeredBound out{course_bound(wall_covariances(scene, seed, false, options)),
                     course_bound(wall_covariances(scene, seed, true, options)),
                     {}};
    for (double CourseBound::*part : {&CourseBound::any, &CourseBound::steady, &CourseBound::given,
                                      &CourseBound::size, &CourseBound::phase_centre}) {
        out.distension.*part = std::hypot(out.near.*part, out.far.*part);
    }
    return out;
}

}  // namespace wall_study
