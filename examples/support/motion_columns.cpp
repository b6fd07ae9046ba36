#include "support/motion_columns.hpp"

#include <algorithm>
#include <ostream>

#include "support/picture_parts.hpp"
#include "support/plot.hpp"

namespace examples {
namespace {

constexpr std::size_t panel_columns = 1400;  // pixels of a panel

void write_range(const ColumnRange& range, double unit, double mean, std::size_t valid,
                 std::ostream& out) {
    if (valid == 0) {
        out << " NaN NaN NaN";
        return;
    }
    out << ' ' << unit * (range.smallest - mean) << ' ' << unit * (range.largest - mean) << ' '
        << unit * range.deviation / static_cast<double>(valid);
}

}  // namespace

void ColumnRange::add(double value, double deviation_of_it, bool first) {
    smallest = first ? value : std::min(smallest, value);
    largest = first ? value : std::max(largest, value);
    deviation += deviation_of_it;
}

MotionColumns::MotionColumns(std::size_t frames)
    : step_(std::max<std::size_t>(1, (frames + panel_columns - 1) / panel_columns)) {
    columns_.reserve(frames / step_ + 1);
}

void MotionColumns::add(const echosieve::FrameMotion& motion) {
    if (taken_ % step_ == 0) {
        columns_.emplace_back();
        columns_.back().start = motion.time;
    }
    ++taken_;
    Column& column = columns_.back();
    ++column.frames;
    column.quality += motion.quality;
    column.least_quality = std::min(column.least_quality, motion.quality);
    if (!motion.valid) {
        return;
    }
    const bool first = column.valid == 0;
    column.near.add(motion.near_wall, motion.near_wall_std, first);
    column.far.add(motion.far_wall, motion.far_wall_std, first);
    column.diameter.add(motion.diameter, motion.diameter_std, first);
    ++column.valid;
    ++valid_;
    near_ += motion.near_wall;
    far_ += motion.far_wall;
}

void MotionColumns::write(const std::filesystem::path& file) const {
    PlotFile table(file);
    std::ostream& out = table.stream();
    out.precision(9);
    const auto valid = static_cast<double>(std::max<std::size_t>(1, valid_));
    for (const Column& column : columns_) {
        const double quality = column.quality / static_cast<double>(column.frames);
        out << column.start;
        write_range(column.near, 1e6, near_ / valid, column.valid, out);
        write_range(column.far, 1e6, far_ / valid, column.valid, out);
        write_range(column.diameter, 1e3, 0, column.valid, out);
        out << ' ' << quality << ' ' << column.least_quality << ' '
            << (quality < low_quality ? 1 : 0) << ' ' << 1e3 * near_ / valid << ' '
            << 1e3 * far_ / valid << '\n';
    }
    table.close();
}

}  // namespace examples
