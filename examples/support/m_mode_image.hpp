// An M-mode picture in the making: frames come one by one, and are averaged into columns.
#pragma once

#include <complex>
#include <cstddef>
#include <filesystem>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/core/grid.hpp"
#include "echosieve/core/recording.hpp"

namespace examples {

// Symbols
//   columns  of step frames each, rows of row_step samples each, as few as keep the picture small
//
/// What an eye tells apart.
inline constexpr double decibel_range = 40;

// A column is the mean envelope of up to frames_a_column of its frames, evenly apart: for the eye,
// and so that a long recording costs no second conditioning.

class MModeImage {
public:
    /// For `frames` frames of `samples` samples. Throws as Basebander does.
    MModeImage(std::size_t frames, std::size_t samples,
               const echosieve::RecordingSettings& settings);

    /// Whether a frame counts: others are passed over.
    [[nodiscard]] bool takes(std::size_t frame) const noexcept;
    /// Adds a frame of a recording.
    template <class T>
    void add(std::size_t frame, std::span<const T> samples) {
        if (takes(frame)) {
            add_baseband(frame, baseband(samples));
        }
    }
    /// Adds a frame's baseband on grid(); samples that are no number count as 0.
    void add_baseband(std::size_t frame, std::span<const std::complex<float>> samples);

    /// A frame's baseband, until the next call.
    template <class T>
    [[nodiscard]] std::span<const std::complex<float>> baseband(std::span<const T> samples) {
        baseband_.process(samples, std::span<std::complex<float>>(buffer_));
        return buffer_;
    }
    [[nodiscard]] const echosieve::SamplingGrid& grid() const noexcept { return baseband_.grid(); }

    [[nodiscard]] std::size_t columns() const noexcept { return counts_.size(); }
    [[nodiscard]] std::size_t rows() const noexcept { return rows_; }
    /// Time from column to column [s].
    [[nodiscard]] double column_time() const noexcept;
    /// Depth of a row's middle [m].
    [[nodiscard]] double depth(double row) const noexcept;

    /// The strongest echoes below a depth, where no ring-down is: a high percentile of the picture
    /// there, or of all of it where nothing lies below. Never 0.
    [[nodiscard]] float strongest_below(double depth) const;
    /// Decibels under `top`, decibel_range at most, one float a cell, time running fastest.
    void write(float top, const std::filesystem::path& file) const;

private:
    [[nodiscard]] float cell(std::size_t column, std::size_t row) const noexcept;

    echosieve::RecordingSettings settings_;
    echosieve::Basebander<float> baseband_;
    std::vector<std::complex<float>> buffer_;
    std::size_t step_;
    std::size_t stride_;
    std::size_t row_step_;
    std::size_t rows_;
    std::vector<std::size_t> counts_;  // frames added, of each column
    std::vector<float> sums_;          // [columns x rows]
};

}  // namespace examples
