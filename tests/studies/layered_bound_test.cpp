#include "wall_study/layered_bound.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>
#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <vector>

#include "echosieve/core/random.hpp"
#include "support/check.hpp"
#include "support/layered_line.hpp"

using namespace echosieve;
using namespace wall_study;
using detail::LayeredSource;
using test::echoes_of;
using test::Found;

namespace {

constexpr std::uint64_t seed = 7;
constexpr BoundOptions every_frame{.bandwidth = 8, .frame_rate = 40};

// A dozen frames of a hundred samples: small enough for the full covariance of all samples.
LayeredSceneOptions small() {
    LayeredSceneOptions options;
    options.settings.sampling_rate = 20e6;
    options.settings.frame_rate = 40;
    options.duration = 0.3;
    options.scatterers_per_metre = 4e3;
    return options;
}

double arrival(const LayeredSceneOptions& options, const detail::LayeredEcho& echo) {
    return options.settings.arrival(echo.depth);
}

// Re{a w(u)} by the pulse's formula.
class Wave {
public:
    explicit Wave(const LayeredSceneOptions& options)
        : envelope_(options.pulse_skew),
          length_(envelope_.length(options.settings.sensor.bandwidth)),
          frequency_(options.settings.sensor.centre_frequency) {}
    double operator()(std::complex<double> a, double u) const {
        return envelope_(u / length_) *
               (a * std::polar(1.0, 2 * std::numbers::pi * frequency_ * u)).real();
    }

private:
    detail::SkewedEnvelope envelope_;
    double length_;
    double frequency_;
};

// The far wall's layers at `time`: the last half of the walls' echoes.
Found far_layers(const LayeredScene& scene, double time) {
    const Found all = echoes_of(scene, time, LayeredSource::wall);
    return {all.begin() + static_cast<std::ptrdiff_t>(all.size() / 2), all.end()};
}

// All samples of all frames as one vector: their slopes in the courses, and their covariance.
struct Dense {
    Eigen::MatrixXd courses;     // psi
    Eigen::MatrixXd slopes;      // samples by courses
    Eigen::MatrixXd covariance;  // of all that is not the displacement
    std::vector<Eigen::Index> first;
};

Eigen::MatrixXd rhythm_covariance(const LayeredScene& scene, const WallGate& gate) {
    const LayeredSceneOptions& options = scene.options();
    const std::vector<double> onsets = scene.pulse().onsets(options.duration);
    const auto frames = static_cast<Eigen::Index>(gate.times.size());
    Eigen::MatrixXd out(frames, frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        for (Eigen::Index j = 0; j < frames; ++j) {
            const double at = gate.times[static_cast<std::size_t>(i)];
            const double to = gate.times[static_cast<std::size_t>(j)];
            const auto beats = [&](double time) {
                return detail::beats_at(onsets, options.pulse.heart_rate, time);
            };
            out(i, j) = detail::EchoRhythm::covariance(beats(at) - beats(to), at - to,
                                                       options.breathing_rate);
        }
    }
    return out;
}

Dense dense(const LayeredScene& scene, const WallGate& gate, Given given) {
    const auto frames = static_cast<Eigen::Index>(gate.frames.size());
    Dense out{cosine_courses(frames, every_frame.frame_rate, every_frame.bandwidth), {}, {}, {0}};
    for (const GateSlopes& now : gate.frames) {
        out.first.push_back(out.first.back() + now.displacement.size());
    }
    const Eigen::Index samples = out.first.back();
    out.slopes.resize(samples, out.courses.cols());
    out.covariance = gate.noise * Eigen::MatrixXd::Identity(samples, samples);
    const Eigen::MatrixXd rhythms = rhythm_covariance(scene, gate);
    const auto part = [&](Eigen::Index i) {
        const auto k = static_cast<std::size_t>(i);
        return Eigen::seqN(out.first[k], out.first[k + 1] - out.first[k]);
    };
    for (Eigen::Index i = 0; i < frames; ++i) {
        const GateSlopes& a = gate.frames[static_cast<std::size_t>(i)];
        out.slopes(part(i), Eigen::all) = a.displacement * out.courses.row(i);
        for (Eigen::Index j = 0; j < frames; ++j) {
            const GateSlopes& b = gate.frames[static_cast<std::size_t>(j)];
            out.covariance(part(i), part(j)) += a.tissue * b.tissue.transpose();
            if (given != Given::strengths) {
                out.covariance(part(i), part(j)) += rhythms(i, j) * a.layers * b.layers.transpose();
            }
            if (given != Given::amplitudes) {
                out.covariance(part(i), part(j)) += a.amplitudes * b.amplitudes.transpose();
            }
        }
    }
    return out;
}

GateInformation information_of(const WallGate& gate, const Eigen::MatrixXd& courses) {
    GateInformation out(courses, gate.rhythms, gate.noise);
    for (std::size_t i = 0; i < gate.frames.size(); ++i) {
        out.add(static_cast<Eigen::Index>(i), gate.frames[i]);
    }
    return out;
}

}  // namespace

TEST_CASE("the slopes of a wall's gate are those of its echoes") {
    LayeredSceneOptions options = small();
    options.scatterers_per_metre = 0;
    const LayeredScene scene(options, seed);
    const LayeredScene still(test::without_change(options), seed);
    const WallGate gate = wall_gate(scene, seed, true, every_frame);
    REQUIRE(gate.frames.size() == 12);
    const std::size_t frame = 5;
    const GateSlopes& slopes = gate.frames[frame];
    const Wave wave(options);
    const Found now = far_layers(scene, gate.times[frame]);
    const Found rest = far_layers(still, gate.times[frame]);
    REQUIRE(slopes.layers.cols() == static_cast<Eigen::Index>(rest.size()));
    constexpr double step = 1e-9;  // [m]
    const double later = 2 * step / options.settings.sound_speed;
    const double largest = slopes.displacement.cwiseAbs().maxCoeff();
    for (Eigen::Index k = 0; k < slopes.displacement.size(); ++k) {
        const double time = slopes.start + static_cast<double>(k) / options.settings.sampling_rate;
        double difference = 0;
        for (std::size_t l = 0; l < now.size(); ++l) {
            const double u = time - arrival(options, now[l]);
            difference += (wave(now[l].amplitude, u - later) - wave(now[l].amplitude, u + later)) /
                          (2 * step);
            const auto column = static_cast<Eigen::Index>(l);
            CHECK_WITHIN(slopes.layers(k, column),
                         options.strength_change * wave(rest[l].amplitude, u), 1e-12);
            // The second part is the echo a quarter of a turn on.
            CHECK_WITHIN(
                slopes.amplitudes(k, 2 * column + 1),
                wave({-now[l].amplitude.imag(), now[l].amplitude.real()}, u) / std::numbers::sqrt2,
                1e-12);
        }
        // Second derivatives jump where a pulse begins and ends.
        constexpr double rounding = 1e-5;
        CHECK_WITHIN(slopes.displacement[k], difference, rounding * largest);
    }
}

TEST_CASE("the bound of a layered line is that of all samples' full covariance") {
    const LayeredScene scene(small(), seed);
    const WallGate gate = wall_gate(scene, seed, true, every_frame);
    REQUIRE(gate.frames.front().tissue.cols() > 4);
    for (const Given given : {Given::nothing, Given::strengths, Given::amplitudes}) {
        CAPTURE(static_cast<int>(given));
        const Dense all = dense(scene, gate, given);
        const Eigen::MatrixXd information =
            all.slopes.transpose() * all.covariance.llt().solve(all.slopes);
        const Eigen::MatrixXd expected = information.inverse();
        const Eigen::MatrixXd found = information_of(gate, all.courses).covariance(given);
        // What the rhythms' factor leaves of their variance, 1e-6, over noise of 1e-2.
        constexpr double left = 1e-3;
        CHECK((found - expected).norm() < left * expected.norm());
    }
}

TEST_CASE("linearised estimates by maximum likelihood reach the bound of a layered line") {
    const LayeredSceneOptions options = small();
    const LayeredScene scene(options, seed);
    const LayeredScene still(test::without_change(options), seed);
    const WallGate gate = wall_gate(scene, seed, true, every_frame);
    const Dense all = dense(scene, gate, Given::amplitudes);
    const Eigen::MatrixXd bound = information_of(gate, all.courses).covariance(Given::amplitudes);
    const Eigen::MatrixXd weighed = all.covariance.llt().solve(all.slopes);
    const Eigen::MatrixXd estimator =
        (all.slopes.transpose() * weighed).llt().solve(weighed.transpose());
    const std::vector<double> onsets = scene.pulse().onsets(options.duration);
    const Wave wave(options);
    constexpr double moved = 1e-6;  // what is to be found: a course of one cosine [m]
    RandomStream random(1);
    constexpr int trials = 400;
    double square = 0;
    for (int trial = 0; trial < trials; ++trial) {
        std::vector<detail::EchoRhythm> rhythms(far_layers(still, 0).size(),
                                                detail::EchoRhythm(random));
        for (detail::EchoRhythm& rhythm : rhythms) {
            rhythm = detail::EchoRhythm(random);
        }
        const Eigen::VectorXd tissue = Eigen::VectorXd::NullaryExpr(
            gate.frames.front().tissue.cols(), [&] { return random.normal(); });
        Eigen::VectorXd samples(all.first.back());
        for (std::size_t i = 0; i < gate.frames.size(); ++i) {
            const GateSlopes& now = gate.frames[i];
            const double course = moved * all.courses(static_cast<Eigen::Index>(i), 1);
            detail::LayeredState state;
            state.time = gate.times[i];
            state.beats = detail::beats_at(onsets, options.pulse.heart_rate, state.time);
            const Found rest = far_layers(still, state.time);
            const Eigen::VectorXd speckle = now.tissue * tissue;
            for (Eigen::Index k = 0; k < now.displacement.size(); ++k) {
                const double time =
                    now.start + static_cast<double>(k) / options.settings.sampling_rate;
                double sum = speckle[k] + std::sqrt(gate.noise) * random.normal();
                for (std::size_t l = 0; l < rest.size(); ++l) {
                    const double u = time - arrival(options, rest[l]);
                    const double strength =
                        1 + options.strength_change * rhythms[l](state, options.breathing_rate);
                    sum += strength * wave(rest[l].amplitude,
                                           u - 2 * course / options.settings.sound_speed) -
                           wave(rest[l].amplitude, u);
                }
                samples[all.first[i] + k] = sum;
            }
        }
        Eigen::VectorXd error = estimator * samples;
        error[1] -= moved;
        square += error.squaredNorm() / trials;
    }
    CAPTURE(std::sqrt(bound.trace()));
    // Five courses: the mean square of 400 trials strays by sqrt(2 / 2000), 3 %, and as much more
    // as one course weighs over the others.
    constexpr double stray = 0.15;
    CHECK_WITHIN_RELATIVE(square, bound.trace(), stray);
}

TEST_CASE("of layers that are known, in noise alone, the bound is that of a delay") {
    LayeredSceneOptions options = test::without_change(small());
    options.scatterers_per_metre = 0;
    const LayeredScene scene(options, seed);
    const WallGate gate = wall_gate(scene, seed, false, every_frame);
    const auto frames = static_cast<Eigen::Index>(gate.frames.size());
    const Eigen::MatrixXd found = information_of(gate, Eigen::MatrixXd::Identity(frames, frames))
                                      .covariance(Given::amplitudes);
    for (Eigen::Index i = 0; i < frames; ++i) {
        const double slope = gate.frames[static_cast<std::size_t>(i)].displacement.squaredNorm();
        CHECK_WITHIN_RELATIVE(found(i, i), gate.noise / slope, 1e-9);
    }
}

TEST_CASE("what more is known lowers the bound, and louder noise or tissue raises it") {
    LayeredSceneOptions options = small();
    const LayeredBound bound = layered_bound(LayeredScene(options, seed), seed, every_frame);
    CHECK(bound.distension.any > bound.distension.steady);
    CHECK(bound.distension.any > bound.distension.given);
    CHECK(bound.distension.any > bound.distension.size);
    CHECK_WITHIN_RELATIVE(bound.distension.any, std::hypot(bound.near.any, bound.far.any), 1e-12);
    CHECK(bound.far.phase_centre > 0);
    options.snr_decibels -= 10;
    CHECK(layered_bound(LayeredScene(options, seed), seed, every_frame).distension.any >
          2 * bound.distension.any);
    options.snr_decibels += 10;
    options.scatterers_per_metre = 0;
    const LayeredBound clear = layered_bound(LayeredScene(options, seed), seed, every_frame);
    CHECK(clear.distension.any < bound.distension.any);
}

TEST_CASE("walls move by little above the bound's bandwidth") {
    const BoundOptions usual;
    LayeredSceneOptions options;
    options.duration = 2.5;
    const LayeredScene scene(options, seed);
    const auto frames = static_cast<Eigen::Index>(options.duration * usual.frame_rate);
    const Eigen::MatrixXd courses = cosine_courses(frames, usual.frame_rate, usual.bandwidth);
    Eigen::VectorXd depth(frames);
    for (Eigen::Index i = 0; i < frames; ++i) {
        depth[i] = scene.walls(static_cast<double>(i) / usual.frame_rate).near_outer;
    }
    depth.array() -= depth.mean();
    const Eigen::VectorXd parts =
        (courses.transpose() * depth).cwiseQuotient(courses.colwise().squaredNorm().transpose());
    CHECK((depth - courses * parts).norm() < 0.01 * depth.norm());
}

TEST_CASE("a phase's centre follows the layers that pull at it") {
    WallGate gate;
    gate.rhythms = Eigen::MatrixXd(2, 1);
    gate.rhythms << 1, -1;
    GateSlopes slopes;
    slopes.displacement = Eigen::Vector2d(2, 0);
    slopes.layers = Eigen::MatrixXd(2, 1);
    slopes.layers << 1, 5;  // a half in the slope's direction, and what does not move it
    gate.frames = {slopes, slopes};
    CHECK_WITHIN(phase_centre(gate), 0.5, 1e-15);
    gate.rhythms << 1, 1;  // always alike: no motion
    CHECK_WITHIN(phase_centre(gate), 0.0, 1e-15);
}

TEST_CASE("a covariance of few directions has a factor of few columns") {
    Eigen::MatrixXd few(30, 2);
    for (Eigen::Index i = 0; i < few.rows(); ++i) {
        few.row(i) << std::cos(0.3 * static_cast<double>(i)),
            std::sin(0.1 * static_cast<double>(i));
    }
    const Eigen::MatrixXd covariance = few * few.transpose();
    const Eigen::MatrixXd factor = low_rank_factor(covariance, 1e-9);
    CHECK(factor.cols() == 2);
    CHECK((factor * factor.transpose() - covariance).cwiseAbs().maxCoeff() < 1e-9);
    const Eigen::MatrixXd courses = cosine_courses(50, 100, 10);
    CHECK(courses.cols() == 11);  // 2 * 10 Hz * 0.5 s, and the constant
    CHECK_WITHIN(courses.col(3).dot(courses.col(7)), 0.0, 1e-12);
    CHECK_THROWS_AS(GateInformation(courses, factor, 1), InvalidInput);
    CHECK_THROWS_AS(GateInformation(courses, courses, 0), InvalidInput);
}
