#include "support/result_tables.hpp"

#include <cmath>
#include <cstddef>
#include <fstream>
#include <string>
#include <system_error>

#include "echosieve/io/files.hpp"
#include "support/number_table.hpp"
#include "support/text.hpp"

namespace examples {
namespace {

using echosieve::CsvColumn;
using echosieve::FileError;
using Path = std::filesystem::path;
using Row = std::vector<double>;

const std::vector<CsvColumn> motion_columns = {
    {"time_s", 6},     {"near_wall_m", 9},    {"near_wall_std_m", 9},
    {"far_wall_m", 9}, {"far_wall_std_m", 9}, {"diameter_m", 9},
    {"valid", 0},      {"quality", 4},        {"diameter_std_m", 9}};
const std::vector<CsvColumn> truth_columns = {{"time_s", 6},       {"near_inner_m", 9},
                                              {"near_outer_m", 9}, {"far_inner_m", 9},
                                              {"far_outer_m", 9},  {"dropped", 0}};

std::string header_of(const std::vector<CsvColumn>& columns) {
    std::string header;
    for (const CsvColumn& column : columns) {
        header += header.empty() ? "" : ",";
        header += column.name;
    }
    return header;
}

bool flag(double value, const std::string& column, std::size_t row, const Path& file) {
    if (value != 0 && value != 1) {
        throw FileError(file, "row " + std::to_string(row + 1) + ": " + column +
                                  " must be 0 or 1, is " + std::to_string(value));
    }
    return value == 1;
}

// Both tables are of the same frames: their times have six decimals.
void check_times(double motion, double truth, std::size_t row, const Path& file) {
    constexpr double rounding = 1.5e-6;  // [s]
    if (!(std::abs(motion - truth) <= rounding)) {
        throw FileError(file, "row " + std::to_string(row + 1) + " is of " +
                                  std::to_string(motion) + " s, that of the truth of " +
                                  std::to_string(truth) + " s");
    }
}

// Depths of a frame, behind its time: those of the truth are all known, those of a valid frame too.
void check_depths(const Row& row, std::size_t count, std::size_t number, const Path& file) {
    for (std::size_t k = 1; k <= count; ++k) {
        if (!std::isfinite(row[k])) {
            throw FileError(file, "row " + std::to_string(number + 1) + ", column " +
                                      std::to_string(k + 1) + ": the depth is not known");
        }
    }
}

}  // namespace

echosieve::CsvWriter motion_table(const Path& file) {
    return {file, motion_columns};
}

bool is_motion_table(const Path& file) {
    if (std::error_code ignored; !std::filesystem::is_regular_file(file, ignored)) {
        return false;
    }
    std::ifstream in(file);
    std::string first;
    std::getline(in, first);
    return first == header_of(motion_columns);
}

void write_frame(const echosieve::FrameMotion& m, echosieve::CsvWriter& table) {
    table.row({m.time, m.near_wall, m.near_wall_std, m.far_wall, m.far_wall_std, m.diameter,
               m.valid ? 1.0 : 0.0, m.quality, m.diameter_std});
}

void write_blocks(const std::vector<echosieve::BlockRecord>& blocks, const Path& file) {
    echosieve::AtomicFile out(file);
    out.stream() << "start_s,end_s,status,origin,seam,fitted_first,fitted_frames,usable_frames,"
                    "valid_frames,quality,near_depth_m,far_depth_m,near_offset_m,far_offset_m,"
                    "near_jump_m,far_jump_m,misfit_m\n";
    for (const echosieve::BlockRecord& b : blocks) {
        out.stream() << text_of("%.6f,%.6f,\"", b.start, b.end) << describe(b.status) << "\","
                     << describe(b.origin) << ',' << describe(b.seam)
                     << text_of(",%zu,%zu,%zu,%zu,%.4f,", b.fitted_first, b.fitted_count, b.usable,
                                b.valid, b.quality)
                     << text_of("%.9f,%.9f,%.9f,%.9f,%.9f,%.9f,%.9f\n", b.near_depth, b.far_depth,
                                b.near_offset, b.far_offset, b.near_jump, b.far_jump, b.misfit);
    }
    out.commit();
}

void write_truth(const echosieve::Truth& truth, const Path& file) {
    echosieve::CsvWriter table(file, truth_columns);
    for (std::size_t i = 0; i < truth.times.size(); ++i) {
        const echosieve::WallDepths& w = truth.walls[i];
        table.row({truth.times[i], w.near_inner, w.near_outer, w.far_inner, w.far_outer,
                   truth.dropped[i] ? 1.0 : 0.0});
    }
    table.commit();
}

void write_beats(const echosieve::Truth& truth, const Path& file) {
    echosieve::CsvWriter onsets(file, {{"onset_s", 4}});
    for (const double onset : truth.onsets) {
        onsets.row({onset});
    }
    onsets.commit();
}

MotionAndTruth read_motion_and_truth(const Path& motion_file, const Path& truth_file) {
    const std::vector<Row> motion = read_table(motion_file, header_of(motion_columns));
    const std::vector<Row> truth = read_table(truth_file, header_of(truth_columns));
    if (motion.size() != truth.size()) {
        throw FileError(motion_file, "has " + std::to_string(motion.size()) +
                                         " rows, the truth has " + std::to_string(truth.size()));
    }
    MotionAndTruth both;
    bool any = false;
    for (std::size_t i = 0; i < truth.size(); ++i) {
        const Row& m = motion[i];
        const Row& t = truth[i];
        check_times(m[0], t[0], i, motion_file);
        check_depths(t, 4, i, truth_file);
        both.motion.near.push_back(m[1]);
        both.motion.far.push_back(m[3]);
        both.motion.valid.push_back(flag(m[6], "valid", i, motion_file));
        both.truth.walls.push_back({t[1], t[2], t[3], t[4]});
        both.truth.dropped.push_back(flag(t[5], "dropped", i, truth_file));
        if (both.motion.valid.back()) {
            check_depths(m, 5, i, motion_file);
        }
        any = any || (both.motion.valid.back() && !both.truth.dropped.back());
    }
    if (!any) {
        throw FileError(motion_file, "has no valid frame that was not dropped: nothing to compare");
    }
    return both;
}

}  // namespace examples
