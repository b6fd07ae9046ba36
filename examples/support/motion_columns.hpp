// A long motion, in as many columns as a screen shows: the range of each quantity in a column.
#pragma once

#include <cstddef>
#include <filesystem>
#include <vector>

#include "echosieve/motion/artery_motion.hpp"

namespace examples {

/// Of one quantity, over the valid frames of a column.
struct ColumnRange {
    double smallest = 0;
    double largest = 0;
    double deviation = 0;  ///< sum of the frames' standard deviations

    void add(double value, double deviation_of_it, bool first);
};

class MotionColumns {
public:
    /// For `frames` frames.
    explicit MotionColumns(std::size_t frames);

    /// The next frame.
    void add(const echosieve::FrameMotion& motion);

    /// For gnuplot, a line a column: time; of near wall, far wall [um, about the mean] and diameter
    /// [mm] each smallest, largest, mean standard deviation; mean quality, smallest quality,
    /// whether the mean is low. Without valid frames all but the time and the qualities are NaN.
    void write(const std::filesystem::path& file) const;

private:
    struct Column {
        double start = 0;
        std::size_t frames = 0;
        std::size_t valid = 0;
        double quality = 0;  // sum
        double least_quality = 1;
        ColumnRange near, far, diameter;
    };

    std::size_t step_;
    std::size_t taken_ = 0;
    std::size_t valid_ = 0;
    double near_ = 0;  // sums over valid frames
    double far_ = 0;
    std::vector<Column> columns_;
};

}  // namespace examples
