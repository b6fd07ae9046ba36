#include "report.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <iterator>
#include <limits>
#include <utility>

#include "support/command_line.hpp"

namespace wall_study {
namespace {

const char* name_of(Simulator simulator) {
    return simulator_names[static_cast<std::size_t>(simulator)];
}

// The value below which a part of them lies, the nearest one.
double part_of(std::vector<double> values, double part) {
    if (values.empty()) {
        return std::numeric_limits<double>::quiet_NaN();
    }
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(
        std::lround(part * static_cast<double>(values.size() - 1)))];
}

// Depth errors of both walls against the true outer layers, as reported and with the pulse's delay
// left in.
void print_depths(const std::vector<Row>& rows, Simulator simulator) {
    constexpr double close = 0.3e-3;  // [m]
    std::vector<double> errors, before;
    for (const Row& row : rows) {
        if (row.kind == LineKind::artery && row.simulator == simulator && row.found) {
            for (const double error : {row.score.near_depth, row.score.far_depth}) {
                errors.push_back(std::abs(error));
                before.push_back(std::abs(error + row.delay));
            }
        }
    }
    if (errors.empty()) {
        return;
    }
    const auto within = [](const std::vector<double>& x) {
        return std::count_if(x.begin(), x.end(), [](double error) { return error <= close; });
    };
    std::printf(
        "%-7s simulator: depth error of %zu walls against the outer layer [mm], median %.3f, "
        "within "
        "0.3 %ld; with the pulse's delay left in %.3f, %ld\n",
        name_of(simulator), errors.size(), 1e3 * part_of(errors, 0.5),
        static_cast<long>(within(errors)), 1e3 * part_of(before, 0.5),
        static_cast<long>(within(before)));
}

// One kind of level: how many are close, and whether their standard deviations are what they say.
void print_level(const char* of, const std::vector<Level>& levels) {
    constexpr double close = 0.15e-3;   // what a diameter is wanted to [m]
    constexpr double another = 1.5e-3;  // no layer of the right wall is so far off [m]
    Coverage held, right;
    std::vector<double> sizes;
    double near_truth = 0;
    for (const Level& level : levels) {
        held.add(level.error, level.deviation);
        sizes.push_back(std::abs(level.error));
        if (sizes.back() < another) {
            right.add(level.error, level.deviation);
        }
        near_truth += sizes.back() <= close ? 1 : 0;
    }
    const double percent = 100 / held.count;
    std::printf(
        "  %s: error [mm] median %.3f, 95 %% %.3f, within 0.15 mm %.0f %%; within 1 standard "
        "deviation %.0f %%, within 1.96 %.1f %% (rms %.3f mm); but for the %.0f over 1.5 mm off, "
        "%.1f %%\n",
        of, 1e3 * part_of(sizes, 0.5), 1e3 * part_of(sizes, 0.95), percent * near_truth,
        percent * held.one, percent * held.two, 1e3 * held.deviation(), held.count - right.count,
        100 * right.two / std::max(right.count, 1.0));
}

void print_levels(const std::vector<Row>& rows, const std::vector<Simulator>& of,
                  const char* name) {
    std::vector<Level> diameters, depths;
    for (const Row& row : rows) {
        if (row.kind == LineKind::artery && row.found &&
            std::ranges::find(of, row.simulator) != of.end()) {
            diameters.push_back(row.levels.diameter);
            depths.push_back(row.levels.near);
            depths.push_back(row.levels.far);
        }
    }
    if (!diameters.empty()) {
        std::printf("%-7s, levels of %zu recordings:\n", name, diameters.size());
        print_level("diameter", diameters);
        print_level("depths  ", depths);
    }
}

// Errors of the layered kind over the least that they can be, see layered_bound.hpp.
void print_bounds(const std::vector<Row>& rows) {
    std::vector<double> any, steady, given, size, over, centre, over_centre;
    for (const Row& row : rows) {
        const CourseBound& bound = row.bound.distension;
        if (bound.any > 0) {
            any.push_back(1e6 * bound.any);
            steady.push_back(1e6 * bound.steady);
            given.push_back(1e6 * bound.given);
            size.push_back(1e6 * bound.size);
            centre.push_back(1e6 * bound.phase_centre);
            over_centre.push_back(row.score.distension.rms / bound.phase_centre);
            over.push_back(row.score.distension.rms / bound.any);
        }
    }
    if (!any.empty()) {
        std::printf(
            "layered simulator: bound of the distension [um rms] median %.2f, 90 %% %.2f (with the "
            "layers' strengths known %.2f, their amplitudes at rest %.2f, the course but for its "
            "size %.2f); error over bound median %.1f, 10 %% %.1f, 90 %% %.1f\n",
            part_of(any, 0.5), part_of(any, 0.9), part_of(steady, 0.5), part_of(given, 0.5),
            part_of(size, 0.5), part_of(over, 0.5), part_of(over, 0.1), part_of(over, 0.9));
        std::printf(
            "layered simulator: what the phase's centre moves by [um rms] median %.2f, 90 %% %.2f; "
            "error over it median %.1f\n",
            part_of(centre, 0.5), part_of(centre, 0.9), part_of(over_centre, 0.5));
    }
}

void print_summary(const std::vector<Row>& rows, Simulator simulator) {
    std::vector<double> errors, valid_errors;
    double worst_ten = 0, doubtful = 0, told = 0, needless = 0, drawn = 0, seconds = 0;
    for (const Row& row : rows) {
        if (row.kind != LineKind::artery || row.simulator != simulator) {
            continue;
        }
        ++drawn;
        seconds += row.seconds;
        if (row.found) {
            const double error = 1e6 * row.score.distension.rms;
            errors.push_back(error);
            valid_errors.push_back(1e6 * row.score.valid_distension.rms);
            worst_ten += error > 10 ? 1 : 0;
            doubtful += error > 10 && row.quality < 0.5 ? 1 : 0;
            told += error > 10 && flagged(row) ? 1 : 0;
            needless += error <= 10 && flagged(row) ? 1 : 0;
        }
    }
    if (drawn == 0) {
        return;
    }
    const char* name = name_of(simulator);
    std::printf(
        "%-7s simulator: %.0f recordings, walls found in %zu; distension error [um rms] median "
        "%.2f, 90 %% %.2f, largest %.2f; over 10 um %.0f, of them with quality under 0.5 %.0f, or "
        "with 1.96 deviations over 10 um %.0f (of the others %.0f); %.2f s a recording\n",
        name, drawn, errors.size(), part_of(errors, 0.5), part_of(errors, 0.9), part_of(errors, 1),
        worst_ten, doubtful, told, needless, seconds / drawn);
    std::printf(
        "%-7s simulator: over the valid frames alone [um rms] median %.2f, 90 %% %.2f, largest "
        "%.2f; over 10 um %td\n",
        name, part_of(valid_errors, 0.5), part_of(valid_errors, 0.9), part_of(valid_errors, 1),
        std::ranges::count_if(valid_errors, [](double error) { return error > 10; }));
}

// Whether standard deviations are what they say, 68.3 and 95 % of a normal error: of all frames,
// and in the median recording.
template <class Of>
void print_coverage(const std::vector<Row>& rows, const char* of, Of coverages) {
    Coverage all;
    std::vector<double> ones, twos;
    for (const Row& row : rows) {
        for (const Coverage& one : coverages(row)) {
            if (one.count > 0) {
                all.count += one.count;
                all.one += one.one;
                all.two += one.two;
                ones.push_back(100 * one.one / one.count);
                twos.push_back(100 * one.two / one.count);
            }
        }
    }
    if (all.count > 0) {
        std::printf(
            "  %s: errors within 1 standard deviation %.1f %%, within 1.96 %.1f %%; in the median "
            "recording %.1f, %.1f %%\n",
            of, 100 * all.one / all.count, 100 * all.two / all.count, part_of(ones, 0.5),
            part_of(twos, 0.5));
    }
}

void print_deviations(const std::vector<Row>& rows, Simulator simulator) {
    std::vector<Row> of;
    std::copy_if(rows.begin(), rows.end(), std::back_inserter(of),
                 [&](const Row& row) { return row.simulator == simulator && row.found; });
    if (of.empty()) {
        return;
    }
    std::printf("%-7s simulator:\n", name_of(simulator));
    print_coverage(of, "walls     ", [](const Row& row) {
        return std::array{row.near_errors.coverage, row.far_errors.coverage};
    });
    print_coverage(of, "distension",
                   [](const Row& row) { return std::array{row.distension_coverage}; });
}

// Whether quality is what it says: of the frames with quality q, a part q within 20 um.
void print_calibration(const std::vector<Row>& rows) {
    std::printf("quality of a frame's wall, frames, mean quality, part within 20 um:\n");
    for (std::size_t k = 0; k < 10; ++k) {
        QualityBin sum;
        for (const Row& row : rows) {
            sum.count += row.bins[k].count;
            sum.quality += row.bins[k].quality;
            sum.within += row.bins[k].within;
        }
        if (sum.count > 0) {
            std::printf("  %.1f to %.1f  %8.0f  %.3f  %.3f\n", 0.1 * static_cast<double>(k),
                        0.1 * static_cast<double>(k + 1), sum.count, sum.quality / sum.count,
                        sum.within / sum.count);
        }
    }
}

// False walls in each kind of line without an artery.
void print_false_walls(const std::vector<Row>& rows) {
    constexpr std::array<std::pair<LineKind, const char*>, 5> kinds{
        {{LineKind::breathing_tissue, "breathing tissue"},
         {LineKind::pulsating_tissue, "pulsating tissue"},
         {LineKind::still_tissue, "still tissue"},
         {LineKind::artery_beside, "artery beside the line"},
         {LineKind::vein, "vein"}}};
    std::ptrdiff_t all = 0;
    std::ptrdiff_t false_walls = 0;
    for (const Simulator simulator : simulators) {
        for (const auto& [kind, name] : kinds) {
            const auto is_one = [&, kind = kind](const Row& row) {
                return row.simulator == simulator && row.kind == kind;
            };
            const auto drawn = std::ranges::count_if(rows, is_one);
            const auto found = std::ranges::count_if(
                rows, [&](const Row& row) { return is_one(row) && row.found; });
            if (drawn > 0) {
                std::printf("%-7s simulator, %s: %td recordings, false walls in %td\n",
                            name_of(simulator), name, drawn, found);
            }
            all += drawn;
            false_walls += found;
        }
    }
    std::printf("without an artery: %td recordings, false walls in %td\n", all, false_walls);
}

}  // namespace

void print_report(const std::vector<Row>& rows) {
    for (const Simulator simulator : simulators) {
        print_summary(rows, simulator);
    }
    for (const Simulator simulator : simulators) {
        print_depths(rows, simulator);
        print_levels(rows, {simulator}, name_of(simulator));
    }
    print_levels(rows, {simulators.begin(), simulators.end()}, "all");
    print_bounds(rows);
    print_calibration(rows);
    for (const Simulator simulator : simulators) {
        print_deviations(rows, simulator);
    }
    print_false_walls(rows);
    std::printf("Synthetic data. %s\n", examples::notice);
}

}  // namespace wall_study
