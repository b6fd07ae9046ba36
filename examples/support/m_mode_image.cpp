#include "support/m_mode_image.hpp"

#include <algorithm>
#include <cmath>

#include "support/plot.hpp"

namespace examples {
namespace {

// Finer in depth than the tracking needs, for the eye.
constexpr echosieve::BasebandOptions fine = {.cutoff = 1.1, .rate = 12};

constexpr std::size_t most_columns = 2000;      // as wide as a screen
constexpr std::size_t most_rows = 1200;         // and as high
constexpr std::size_t frames_a_column = 8;      // smooth enough for the eye
constexpr double strongest_percentile = 0.995;  // a wall's echo fills a hundredth of the picture

}  // namespace

MModeImage::MModeImage(std::size_t frames, std::size_t samples,
                       const echosieve::RecordingSettings& settings)
    : settings_(settings),
      baseband_(settings, samples, fine),
      buffer_(baseband_.grid().count),
      step_(std::max<std::size_t>(1, (frames + most_columns - 1) / most_columns)),
      stride_((step_ + frames_a_column - 1) / frames_a_column),
      row_step_(std::max<std::size_t>(1, (grid().count + most_rows - 1) / most_rows)),
      rows_(grid().count / row_step_),
      counts_(frames / step_),
      sums_(counts_.size() * rows_) {}

bool MModeImage::takes(std::size_t frame) const noexcept {
    return frame / step_ < counts_.size() && frame % step_ % stride_ == 0;
}

void MModeImage::add_baseband(std::size_t frame, std::span<const std::complex<float>> samples) {
    const std::size_t column = frame / step_;
    ++counts_[column];
    for (std::size_t row = 0; row < rows_; ++row) {
        float sum = 0;
        for (std::size_t k = row * row_step_; k < (row + 1) * row_step_; ++k) {
            sum += std::abs(samples[k]);
        }
        sums_[column * rows_ + row] += std::isfinite(sum) ? sum / static_cast<float>(row_step_) : 0;
    }
}

double MModeImage::column_time() const noexcept {
    return static_cast<double>(step_) / settings_.frame_rate;
}

double MModeImage::depth(double row) const noexcept {
    const double middle = 0.5 * static_cast<double>(row_step_ - 1);
    return settings_.depth(grid().time(row * static_cast<double>(row_step_) + middle));
}

float MModeImage::cell(std::size_t column, std::size_t row) const noexcept {
    const auto count = static_cast<float>(std::max<std::size_t>(1, counts_[column]));
    return sums_[column * rows_ + row] / count;
}

float MModeImage::strongest_below(double depth) const {
    constexpr float silent = 1e-30F;
    std::vector<float> cells;
    std::size_t first = 0;
    while (first < rows_ && this->depth(static_cast<double>(first)) < depth) {
        ++first;
    }
    for (std::size_t row = first < rows_ ? first : 0; row < rows_; ++row) {
        for (std::size_t column = 0; column < columns(); ++column) {
            cells.push_back(cell(column, row));
        }
    }
    if (cells.empty()) {
        return silent;
    }
    const auto place =
        static_cast<std::ptrdiff_t>(strongest_percentile * static_cast<double>(cells.size() - 1));
    std::ranges::nth_element(cells, cells.begin() + place);
    return std::max(cells[static_cast<std::size_t>(place)], silent);
}

void MModeImage::write(float top, const std::filesystem::path& file) const {
    PlotFile out(file);
    std::vector<float> line(columns());
    for (std::size_t row = 0; row < rows_; ++row) {
        for (std::size_t column = 0; column < columns(); ++column) {
            const double level = 20 * std::log10(std::max(cell(column, row) / top, 1e-6F));
            line[column] = static_cast<float>(std::clamp(level, -decibel_range, 0.0));
        }
        out.stream().write(reinterpret_cast<const char*>(line.data()),
                           static_cast<std::streamsize>(line.size() * sizeof(float)));
    }
    out.close();
}

}  // namespace examples
