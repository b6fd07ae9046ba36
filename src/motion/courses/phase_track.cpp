#include "motion/courses/phase_track.hpp"

#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

#include "echosieve/core/detail/whole_number.hpp"
#include "motion/line/line.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/slow_time.hpp"

namespace echosieve {

namespace {

// The first gate's centre may lie above the end of the dead zone by this: most of the gate is below
// [m].
constexpr double above_dead_zone = 0.5e-3;

double first_gate_depth(const LineHistory& line, const PhaseTrackOptions& options) {
    return line.first_depth() + std::max(options.first_offset, line.dead_zone - above_dead_zone);
}

}  // namespace

Eigen::ArrayXXcd matched_lines(const LineHistory& line, double line_smoothing) {
    // A Gaussian band of standard deviation s [Hz] is a Gaussian of 1 / (2 pi s) in time.
    const Sensor& sensor = line.settings.sensor;
    const double s = sensor.bandwidth / 2 / std::sqrt(2 * std::numbers::ln2);
    const double fast = line.grid.sampling_rate / (2 * std::numbers::pi * s);
    const double slow =
        line_smoothing * line.settings.frame_rate * usual_centre / sensor.centre_frequency;
    Eigen::ArrayXXcd lines(line.samples.rows(), line.samples.cols());
    for (Eigen::Index i = 0; i < lines.rows(); ++i) {
        const Eigen::ArrayXcd row = line.samples.row(i);
        lines.row(i) = gaussian_smooth<std::complex<double>>(row, fast);
    }
    for (Eigen::Index k = 0; k < lines.cols(); ++k) {
        const Eigen::ArrayXcd column = lines.col(k);
        lines.col(k) = gaussian_smooth<std::complex<double>>(column, slow);
    }
    return lines;
}

namespace {

constexpr double least_settled_gain = 1.1;  // of what follows a track, for another to be believed

// u of the products R of successive frames, smoothed first.
Eigen::ArrayXd displacement(const Eigen::ArrayXcd& products, double sigma, double phase_per_metre) {
    const Eigen::ArrayXcd smooth = gaussian_smooth<std::complex<double>>(products, sigma);
    Eigen::ArrayXd u(products.size() + 1);
    u[0] = 0;
    for (Eigen::Index i = 1; i < u.size(); ++i) {
        u[i] = u[i - 1] - std::arg(smooth[i - 1]) / phase_per_metre;
    }
    return u;
}

Eigen::ArrayXXcd turned_back(const Eigen::Ref<const Eigen::ArrayXXcd>& gate,
                             const Eigen::ArrayXd& u, double phase_per_metre) {
    return gate.colwise() *
           (std::complex<double>(0, phase_per_metre) * u.cast<std::complex<double>>()).exp();
}

// One gate's track, and what of its power follows it.
struct GateTrack {
    Eigen::ArrayXd displacement;
    double power = 0;
    double following = 0;
};

template <class Gate>
GateTrack track_gate(const Gate& gate, double sigma, double phase_per_metre) {
    const Eigen::Index frames = gate.rows();
    const Eigen::ArrayXcd correlation =
        (gate.topRows(frames - 1).conjugate() * gate.bottomRows(frames - 1)).rowwise().sum();
    GateTrack track{displacement(correlation, sigma, phase_per_metre), gate.abs2().sum()};
    Eigen::ArrayXXcd aligned = turned_back(gate, track.displacement, phase_per_metre);
    // Against what the gate holds in the mean, noise does not add up over the frames.
    const Eigen::ArrayXcd likeness =
        (aligned.matrix() * aligned.colwise().mean().matrix().adjoint()).array();
    const Eigen::ArrayXd settled =
        track.displacement -
        unwrapped_phase(gaussian_smooth<std::complex<double>>(likeness, sigma)) / phase_per_metre;
    Eigen::ArrayXXcd again = turned_back(gate, settled, phase_per_metre);
    if (again.colwise().mean().abs2().sum() >
        least_settled_gain * aligned.colwise().mean().abs2().sum()) {
        track.displacement = settled;
        aligned = std::move(again);
    }
    track.following = static_cast<double>(frames) * aligned.colwise().mean().abs2().sum();
    return track;
}

// The tracks of a line, into rows `begin` and on of all.
class RunTracker {
public:
    RunTracker(const PhaseTrackOptions& options, PhaseTracks& tracks)
        : options_(options),
          tracks_(tracks),
          power_(Eigen::ArrayXd::Zero(tracks.depths.size())),
          following_(power_) {}

    // Of a line that is in contact all the time.
    void track(LineHistory line, std::size_t begin) {
        const double phase_per_metre = line.phase_per_metre(line.settings.sensor.centre_frequency);
        const double sigma = options_.phase_smoothing * line.settings.frame_rate;
        const Eigen::ArrayXd all = line_motion(line, options_);
        line.samples = turned_back(line.samples, all, phase_per_metre);
        const Eigen::ArrayXXcd lines = matched_lines(line, options_.line_smoothing);
        for (Eigen::Index g = 0; g < tracks_.depths.size(); ++g) {
            const auto [from, to] = line.gate(tracks_.depths[g], options_.half_gate);
            GateTrack track = track_gate(lines.middleCols(from, to - from), sigma, phase_per_metre);
            power_[g] += track.power;
            following_[g] += track.following;
            Eigen::ArrayXd& u = track.displacement;
            u += all;
            tracks_.displacement.col(g).segment(static_cast<Eigen::Index>(begin), line.frames()) =
                u - u.mean();
        }
    }

    [[nodiscard]] Eigen::ArrayXd coherence() const {
        return (power_ > 0).select(following_ / power_.max(least_divisor), 0.0);
    }

private:
    const PhaseTrackOptions& options_;
    PhaseTracks& tracks_;
    Eigen::ArrayXd power_;      // of each gate, over all runs
    Eigen::ArrayXd following_;  // the part of it that follows the gate's track
};

}  // namespace

Eigen::ArrayXd line_motion(const LineHistory& line, const PhaseTrackOptions& options) {
    const Eigen::Index frames = line.frames();
    const Eigen::Index first = line.gate(first_gate_depth(line, options), options.half_gate).first;
    const auto below = line.samples.rightCols(line.samples.cols() - first);
    const Eigen::ArrayXcd product =
        (below.topRows(frames - 1).conjugate() * below.bottomRows(frames - 1)).rowwise().sum();
    return displacement(product, options.phase_smoothing * line.settings.frame_rate,
                        line.phase_per_metre(line.settings.sensor.centre_frequency));
}

Eigen::MatrixXd leading_plane(const Eigen::ArrayXXd& tracks, const Eigen::ArrayXd& weight) {
    const Eigen::MatrixXd weighted = tracks.rowwise() * weight.transpose();
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(weighted.transpose() * weighted);
    Eigen::MatrixXd plane = weighted * solver.eigenvectors().rightCols(2);
    for (Eigen::Index k = 0; k < 2; ++k) {
        const double norm = plane.col(k).norm();
        if (norm > 0) {
            plane.col(k) /= norm;
        }
    }
    return plane;
}

PhaseTracks phase_tracks(const LineHistory& line, const PhaseTrackOptions& options) {
    validate(options);
    const double first = first_gate_depth(line, options);
    const double last = line.last_depth() - options.half_gate;
    const Eigen::Index gates = held_whole(std::floor((last - first) / options.spacing) + 1,
                                          Eigen::Index{0}, Eigen::Index{most_counted});
    const Eigen::Index frames = line.frames();
    PhaseTracks tracks{Eigen::ArrayXd::LinSpaced(
                           gates, first, first + static_cast<double>(gates - 1) * options.spacing),
                       Eigen::ArrayXXd::Zero(frames, gates),
                       Eigen::ArrayXd::Zero(gates),
                       {},
                       options.half_gate};
    if (gates == 0 || frames < 2) {
        return tracks;
    }
    tracks.runs = line.runs();
    RunTracker tracker(options, tracks);
    for (const FrameRun& run : tracks.runs) {
        tracker.track({line.samples.middleRows(static_cast<Eigen::Index>(run.first),
                                               static_cast<Eigen::Index>(run.count)),
                       line.grid,
                       line.settings,
                       {},
                       {},
                       0,
                       line.dead_zone},
                      run.first);
    }
    tracks.coherence = tracker.coherence();
    return tracks;
}

}  // namespace echosieve
