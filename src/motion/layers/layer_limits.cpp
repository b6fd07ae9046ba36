#include "echosieve/motion/layer_limits.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/Eigenvalues>
#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <string_view>
#include <variant>
#include <vector>

#include "echosieve/core/detail/domain.hpp"
#include "echosieve/core/error.hpp"
#include "motion/layers/layer_covariances.hpp"
#include "motion/layers/layer_information.hpp"
#include "motion/layers/two_layers.hpp"
#include "motion/line/numbers.hpp"
#include "motion/line/plain.hpp"

namespace echosieve {

namespace {

// What rounding leaves of correlations that were computed, and of a spectrum times a factor.
constexpr double correlation_rounding = 1e-12;
constexpr double waveform_rounding = 1e-9;

Eigen::Index index(std::size_t n) {
    return static_cast<Eigen::Index>(n);
}

LayeredBins bins_of(const LayerSetting& setting) {
    const Eigen::Index layers = index(setting.layers.size());
    const Eigen::Index frames = index(setting.layers[0].displacement.size());
    LayeredBins out;
    out.wave_numbers = array_of(setting.frequencies) * (4 * std::numbers::pi / setting.sound_speed);
    out.noise = setting.noise;
    out.weight = Eigen::ArrayXd::Ones(frames);
    if (!setting.weights.empty()) {
        out.weight = array_of(setting.weights);
    }
    out.spectra.resize(layers, out.bins());
    out.displacement.resize(frames, layers);
    for (Eigen::Index l = 0; l < layers; ++l) {
        const MovingLayer& layer = setting.layers[static_cast<std::size_t>(l)];
        out.displacement.col(l) = array_of(layer.displacement);
        for (Eigen::Index f = 0; f < out.bins(); ++f) {
            out.spectra(l, f) = layer.spectrum[static_cast<std::size_t>(f)];
        }
    }
    return out;
}

std::vector<Eigen::ArrayXXd> correlations_of(const LayerSetting& setting) {
    const Eigen::Index frames = index(setting.layers[0].displacement.size());
    std::vector<Eigen::ArrayXXd> out;
    for (const MovingLayer& layer : setting.layers) {
        out.emplace_back(Eigen::ArrayXXd::Ones(frames, frames));
        if (!layer.correlation.empty()) {
            out.back() = array_of(layer.correlation).reshaped(frames, frames);
        }
    }
    return out;
}

Eigen::MatrixXd information_of(const LayerSetting& setting, LayerSpectra spectra) {
    const LayeredBins bins = bins_of(setting);
    switch (spectra) {
        case LayerSpectra::known:
            return known_information(bins);
        case LayerSpectra::shared:
            return shared_information(bins);
        case LayerSpectra::random:
            return random_information(bins, correlations_of(setting));
        case LayerSpectra::free:
            break;
    }
    return free_information(bins);
}

LayerCovariances covariances_of(const Eigen::MatrixXd& information, const Eigen::ArrayXd& weight,
                                const LayerAssumptions& assumptions) {
    if (const auto* given = std::get_if<GivenCourses>(&assumptions.courses)) {
        Eigen::ArrayXXd courses(weight.size(), index(given->courses.size()));
        for (Eigen::Index m = 0; m < courses.cols(); ++m) {
            courses.col(m) = array_of(given->courses[static_cast<std::size_t>(m)]);
        }
        return with_given_courses(information, weight, courses);
    }
    if (const auto* given = std::get_if<GivenShares>(&assumptions.courses)) {
        Eigen::MatrixXd shares(index(given->shares.size()), index(given->shares[0].size()));
        for (Eigen::Index l = 0; l < shares.rows(); ++l) {
            shares.row(l) =
                array_of(given->shares[static_cast<std::size_t>(l)]).matrix().transpose();
        }
        return with_given_shares(information, weight, shares);
    }
    return with_free_courses(information, weight);
}

void require_finite(std::span<const double> values, std::string_view name) {
    for (const double x : values) {
        require(std::isfinite(x), name, x, "must be finite");
    }
}

void require_size(std::size_t size, std::size_t wanted, std::string_view name) {
    if (size != wanted) {
        require(false, name, size, detail::concatenate("must be as many as ", wanted));
    }
}

void require_positive(double x, std::string_view name) {
    require(x > 0 && std::isfinite(x), name, x, "must be positive and finite");
}

void require_weights(std::span<const double> weights, std::size_t frames) {
    if (!weights.empty()) {
        require_size(weights.size(), frames, "weights");
        for (const double w : weights) {
            require_positive(w, "weight");
        }
    }
}

// Symmetric, 1 on the diagonal, of a random sequence.
void require_correlation(const std::vector<double>& correlation, std::size_t frames) {
    require_size(correlation.size(), frames * frames, "correlation");
    require_finite(correlation, "correlation");
    const Eigen::Index size = index(frames);
    Eigen::MatrixXd rho = array_of(correlation).reshaped(size, size).matrix();
    const double skew = (rho - rho.transpose()).cwiseAbs().maxCoeff();
    require(skew <= correlation_rounding, "correlation's asymmetry", skew, "must be 0");
    const double off = (rho.diagonal().array() - 1).abs().maxCoeff();
    require(off <= correlation_rounding, "correlation of a frame with itself less 1", off,
            "must be 0");
    rho.diagonal().array() += correlation_rounding * static_cast<double>(frames);
    require(Eigen::LLT<Eigen::MatrixXd>(rho).info() == Eigen::Success, "correlation", frames,
            "frames': must be positive semidefinite");
}

void require_layer(const MovingLayer& layer, std::size_t bins, std::size_t frames,
                   LayerSpectra spectra) {
    require_size(layer.spectrum.size(), bins, "spectrum");
    double power = 0;
    for (const std::complex<double>& s : layer.spectrum) {
        power += std::norm(s);
    }
    require_positive(power, "power of the spectrum");
    require_size(layer.displacement.size(), frames, "displacement");
    require_finite(layer.displacement, "displacement");
    if (!layer.correlation.empty()) {
        require(spectra == LayerSpectra::random, "correlation", layer.correlation.size(),
                "is for random spectra alone");
        require_correlation(layer.correlation, frames);
    }
}

void require_line(const LayerSetting& line, LayerSpectra spectra) {
    const std::size_t bins = line.frequencies.size(), layers = line.layers.size();
    require(layers >= 1, "layers", layers, "must be at least 1");
    const std::size_t frames = line.layers[0].displacement.size();
    require(frames >= 2, "frames", frames, "must be at least 2");
    detail::require_at_most(layers, most_layer_unknowns, "layers");
    detail::require_at_most(frames, most_layer_unknowns / layers, "frames");
    require(bins >= 1, "frequencies", bins, "must be at least 1");
    detail::require_at_most(bins, most_layer_bins, "frequencies");
    for (const double f : line.frequencies) {
        require_positive(f, "frequency");
    }
    require_positive(line.noise, "noise");
    require_positive(line.sound_speed, "sound_speed");
    require_weights(line.weights, frames);
    for (const MovingLayer& layer : line.layers) {
        require_layer(layer, bins, frames, spectra);
    }
}

// All spectra are multiples of the first.
void require_one_waveform(const Eigen::ArrayXXcd& spectra) {
    const Eigen::VectorXcd first = spectra.row(0).matrix().transpose();
    for (Eigen::Index l = 1; l < spectra.rows(); ++l) {
        const Eigen::VectorXcd other = spectra.row(l).matrix().transpose();
        const Eigen::VectorXcd rest = other - first * (first.dot(other) / first.squaredNorm());
        const double part = rest.norm() / other.norm();
        require(part <= waveform_rounding, "part of a shared spectrum that is not the first's",
                part, "must be 0");
    }
}

void require_courses(const LayerAssumptions& assumptions, std::size_t layers, std::size_t frames) {
    if (const auto* given = std::get_if<GivenCourses>(&assumptions.courses)) {
        require(!given->courses.empty(), "courses", 0, "must be at least 1");
        detail::require_at_most(given->courses.size(), most_layer_unknowns / layers, "courses");
        for (const std::vector<double>& course : given->courses) {
            require_size(course.size(), frames, "course");
            require_finite(course, "course");
        }
    }
    if (const auto* given = std::get_if<GivenShares>(&assumptions.courses)) {
        require_size(given->shares.size(), layers, "shares");
        const std::size_t courses = given->shares[0].size();
        require(courses >= 1, "courses", courses, "must be at least 1");
        detail::require_at_most(courses, layers, "courses");
        for (const std::vector<double>& share : given->shares) {
            require_size(share.size(), courses, "shares of a layer");
            require_finite(share, "share");
        }
    }
}

void require_domain(std::span<const LayerSetting> lines, const LayerAssumptions& assumptions) {
    require(!lines.empty(), "lines", lines.size(), "must be at least 1");
    for (const LayerSetting& line : lines) {
        require_line(line, assumptions.spectra);
        require_size(line.layers.size(), lines[0].layers.size(), "layers of a line");
        require_size(line.layers[0].displacement.size(), lines[0].layers[0].displacement.size(),
                     "frames of a line");
        require(line.weights == lines[0].weights, "weights of a line", line.weights.size(),
                "must be those of the first");
        if (assumptions.spectra == LayerSpectra::shared) {
            require_one_waveform(bins_of(line).spectra);
        }
    }
    require_courses(assumptions, lines[0].layers.size(), lines[0].layers[0].displacement.size());
}

// Least angle first.
void find_nearest(const LayeredBins& bins, Eigen::Index layer, LayerLimit& out) {
    out.nearest = static_cast<std::size_t>(layer);
    for (Eigen::Index other = 0; other < bins.layers(); ++other) {
        if (other != layer) {
            const double angle = separability_angle(bins, layer, other);
            if (out.nearest == static_cast<std::size_t>(layer) || angle < out.angle) {
                out.angle = angle;
                out.nearest = static_cast<std::size_t>(other);
            }
        }
    }
}

double regression_deviation(const Eigen::MatrixXd& covariance, const Eigen::VectorXd& course) {
    const double squares = course.squaredNorm();
    return squares > 0 ? std::sqrt(course.dot(covariance * course)) / squares : infinite;
}

void set_worst(const Eigen::MatrixXd& covariance, const Eigen::VectorXd& apart,
               const Eigen::ArrayXd& root_weight, LayerLimit& out) {
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> parts(covariance);
    const Eigen::VectorXd worst = parts.eigenvectors().rightCols(1);
    out.worst_part = parts.eigenvalues()[covariance.rows() - 1] / covariance.trace();
    const double along = worst.dot(apart);
    out.worst_overlap = apart.squaredNorm() > 0 ? along * along / apart.squaredNorm() : 0;
    const Eigen::ArrayXd course = worst.array() / root_weight;
    out.worst_course = vector_of(course / course.matrix().norm());
}

LayerLimit limit_of(const LayeredBins& bins, Eigen::Index layer, const Eigen::MatrixXd& covariance,
                    double known, bool keep) {
    LayerLimit out;
    const Eigen::Index frames = bins.frames();
    find_nearest(bins, layer, out);
    out.known_rms = known;
    out.deviation.assign(static_cast<std::size_t>(frames), infinite);
    out.rms = out.gain_std = infinite;
    out.borrowed_std = bins.layers() > 1 ? infinite : 0;
    if (covariance.size() == 0) {
        return out;
    }
    const Eigen::ArrayXd root = bins.weight.sqrt();
    const Eigen::ArrayXd course = bins.displacement.col(layer);
    const Eigen::VectorXd apart =
        evened(bins, course - bins.displacement.col(static_cast<Eigen::Index>(out.nearest)));
    out.deviation = vector_of(covariance.diagonal().array().max(0).sqrt() / root);
    out.rms = std::sqrt(covariance.trace() / bins.weight.sum());
    out.gain_std = regression_deviation(covariance, evened(bins, course));
    if (bins.layers() > 1) {
        out.borrowed_std = regression_deviation(covariance, apart);
    }
    set_worst(covariance, apart, root, out);
    if (keep) {
        const Eigen::MatrixXd plain = root.inverse().matrix().asDiagonal() * covariance *
                                      root.inverse().matrix().asDiagonal();
        out.covariance.assign(plain.data(), plain.data() + plain.size());
    }
    return out;
}

}  // namespace

double separability_angle(std::span<const double> first, std::span<const double> second,
                          double centre_frequency, double sound_speed,
                          std::span<const double> weights) {
    require(!first.empty(), "frames", first.size(), "must be at least 1");
    require_size(second.size(), first.size(), "frames of the second layer");
    require_finite(first, "displacement");
    require_finite(second, "displacement");
    require_weights(weights, first.size());
    require_positive(centre_frequency, "centre_frequency");
    require_positive(sound_speed, "sound_speed");
    const Eigen::ArrayXd apart = array_of(first) - array_of(second);
    Eigen::ArrayXd weight = Eigen::ArrayXd::Ones(apart.size());
    if (!weights.empty()) {
        weight = array_of(weights);
    }
    return 4 * std::numbers::pi * centre_frequency / sound_speed *
           deviation_over_frames(apart, weight);
}

std::vector<LayerLimit> layer_limits(std::span<const LayerSetting> lines,
                                     const LayerAssumptions& assumptions) {
    require_domain(lines, assumptions);
    // Unknown spectra are told by nothing else.
    const bool told_by_motion =
        assumptions.spectra == LayerSpectra::free || assumptions.spectra == LayerSpectra::shared;
    const LayeredBins bins = bins_of(lines[0]);
    Eigen::MatrixXd information = information_of(lines[0], assumptions.spectra);
    Eigen::ArrayXd known = Eigen::ArrayXd::Zero(bins.layers());  // 1 / variance
    bool coincide = true;                                        // on all lines
    for (const LayerSetting& line : lines) {
        const LayeredBins here = bins_of(line);
        coincide = coincide && layers_coincide(here);
        if (&line != lines.data()) {
            information += information_of(line, assumptions.spectra);
        }
        for (Eigen::Index l = 0; l < known.size(); ++l) {
            known[l] += 1 / std::pow(known_deviation(here, l), 2);
        }
    }
    LayerCovariances covariances = covariances_of(information, bins.weight, assumptions);
    if (told_by_motion && coincide) {
        covariances.forget();
    }
    std::vector<LayerLimit> out;
    for (Eigen::Index l = 0; l < bins.layers(); ++l) {
        const auto which = static_cast<std::size_t>(l);
        out.push_back(limit_of(bins, l, covariances.of[which], 1 / std::sqrt(known[l]),
                               assumptions.covariance));
        if (!covariances.share_std.empty()) {
            out.back().share_std = covariances.share_std[which];
        }
    }
    return out;
}

std::vector<LayerLimit> layer_limits(const LayerSetting& setting,
                                     const LayerAssumptions& assumptions) {
    return layer_limits(std::span(&setting, 1), assumptions);
}

TwoLayerEstimate two_layer_estimate(const LayerSetting& setting) {
    require_domain(std::span(&setting, 1), {});
    require(setting.layers.size() == 2, "layers", setting.layers.size(), "must be 2");
    const TwoLayerLimit found = small_angle_limit(bins_of(setting));
    return {found.angle, found.borrowed_std, found.rms};
}

}  // namespace echosieve
