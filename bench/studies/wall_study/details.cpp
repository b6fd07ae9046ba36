#include <algorithm>
#include <cstddef>
#include <string>
#include <vector>

#include "echosieve/io/csv.hpp"
#include "report.hpp"

namespace wall_study {
namespace {

struct Column {
    const char* name;
    int decimals;
    double (*value)(const Row&);
};
const std::vector<Column> columns = {
    {"simulator", 0, [](const Row& r) { return static_cast<double>(r.simulator); }},
    {"artery", 0, [](const Row& r) { return r.kind == LineKind::artery ? 1.0 : 0.0; }},
    {"seed", 0, [](const Row& r) { return static_cast<double>(r.seed); }},
    {"found", 0, [](const Row& r) { return r.found ? 1.0 : 0.0; }},
    {"error_um", 3, [](const Row& r) { return 1e6 * r.score.distension.rms; }},
    {"valid_error_um", 3, [](const Row& r) { return 1e6 * r.score.valid_distension.rms; }},
    {"gain_error", 4, [](const Row& r) { return r.score.distension.gain_error; }},
    {"near_um", 3, [](const Row& r) { return 1e6 * r.score.near.rms; }},
    {"far_um", 3, [](const Row& r) { return 1e6 * r.score.far.rms; }},
    {"near_within", 4, [](const Row& r) { return r.near_errors.within; }},
    {"far_within", 4, [](const Row& r) { return r.far_errors.within; }},
    {"near_std_um", 3, [](const Row& r) { return 1e6 * r.near_errors.coverage.deviation(); }},
    {"far_std_um", 3, [](const Row& r) { return 1e6 * r.far_errors.coverage.deviation(); }},
    {"distension_std_um", 3, [](const Row& r) { return 1e6 * r.distension_coverage.deviation(); }},
    {"near_gain_um", 3, [](const Row& r) { return 1e6 * r.near_errors.parts.gain; }},
    {"far_gain_um", 3, [](const Row& r) { return 1e6 * r.far_errors.parts.gain; }},
    {"near_rest_um", 3, [](const Row& r) { return 1e6 * r.near_errors.parts.rest; }},
    {"far_rest_um", 3, [](const Row& r) { return 1e6 * r.far_errors.parts.rest; }},
    {"near_noise_um", 4, [](const Row& r) { return 1e6 * r.near.noise_std; }},
    {"far_noise_um", 4, [](const Row& r) { return 1e6 * r.far.noise_std; }},
    {"near_scatter_um", 3, [](const Row& r) { return 1e6 * r.near.share_scatter; }},
    {"far_scatter_um", 3, [](const Row& r) { return 1e6 * r.far.share_scatter; }},
    {"near_phi", 3, [](const Row& r) { return r.near.separability; }},
    {"far_phi", 3, [](const Row& r) { return r.far.separability; }},
    {"near_presence", 4, [](const Row& r) { return r.near.presence; }},
    {"far_presence", 4, [](const Row& r) { return r.far.presence; }},
    {"near_depth_mm", 3, [](const Row& r) { return 1e3 * r.score.near_depth; }},
    {"far_depth_mm", 3, [](const Row& r) { return 1e3 * r.score.far_depth; }},
    {"delay_error_mm", 3, [](const Row& r) { return 1e3 * r.delay_error; }},
    {"delay_std_mm", 3, [](const Row& r) { return 1e3 * r.delay_deviation; }},
    {"level_error_mm", 4, [](const Row& r) { return 1e3 * r.levels.diameter.error; }},
    {"level_std_mm", 4, [](const Row& r) { return 1e3 * r.levels.diameter.deviation; }},
    {"near_level_error_mm", 4, [](const Row& r) { return 1e3 * r.levels.near.error; }},
    {"near_level_std_mm", 4, [](const Row& r) { return 1e3 * r.levels.near.deviation; }},
    {"far_level_error_mm", 4, [](const Row& r) { return 1e3 * r.levels.far.error; }},
    {"far_level_std_mm", 4, [](const Row& r) { return 1e3 * r.levels.far.deviation; }},
    {"bound_um", 4, [](const Row& r) { return 1e6 * r.bound.distension.any; }},
    {"steady_bound_um", 4, [](const Row& r) { return 1e6 * r.bound.distension.steady; }},
    {"given_bound_um", 4, [](const Row& r) { return 1e6 * r.bound.distension.given; }},
    {"phase_centre_um", 4, [](const Row& r) { return 1e6 * r.bound.distension.phase_centre; }},
    {"size_bound_um", 4, [](const Row& r) { return 1e6 * r.bound.distension.size; }},
    {"valid_part", 4,
     [](const Row& r) {
         return static_cast<double>(r.score.valid) /
                std::max(static_cast<double>(r.score.measured), 1.0);
     }},
    {"quality", 4, [](const Row& r) { return r.quality; }},
    {"near_own_um", 3, [](const Row& r) { return 1e6 * r.near.own_motion; }},
    {"far_own_um", 3, [](const Row& r) { return 1e6 * r.far.own_motion; }},
    {"near_fast_um", 3, [](const Row& r) { return 1e6 * r.near.fast_motion; }},
    {"far_fast_um", 3, [](const Row& r) { return 1e6 * r.far.fast_motion; }},
    {"near_share_um", 1, [](const Row& r) { return 1e6 * r.near.pulse_share; }},
    {"far_share_um", 1, [](const Row& r) { return 1e6 * r.far.pulse_share; }},
    {"near_share_std_um", 2, [](const Row& r) { return 1e6 * r.near.share_deviation; }},
    {"far_share_std_um", 2, [](const Row& r) { return 1e6 * r.far.share_deviation; }},
    {"near_bulk", 3, [](const Row& r) { return r.near.bulk_share; }},
    {"far_bulk", 3, [](const Row& r) { return r.far.bulk_share; }},
    {"near_evidence", 0, [](const Row& r) { return r.near.evidence; }},
    {"far_evidence", 0, [](const Row& r) { return r.far.evidence; }},
    {"near_residual", 4, [](const Row& r) { return r.near.residual; }},
    {"far_residual", 4, [](const Row& r) { return r.far.residual; }},
    {"near_line_um", 2, [](const Row& r) { return 1e6 * r.near.tissue_line; }},
    {"far_line_um", 2, [](const Row& r) { return 1e6 * r.far.tissue_line; }},
    {"near_confidence", 4, [](const Row& r) { return r.near.confidence; }},
    {"far_confidence", 4, [](const Row& r) { return r.far.confidence; }},
    {"frequency_mhz", 1, [](const Row& r) { return 1e-6 * r.frequency; }},
    {"share", 3, [](const Row& r) { return r.share; }},
    {"distension_um", 0, [](const Row& r) { return 1e6 * r.distension; }},
    {"over_tissue_db", 1, [](const Row& r) { return r.over_tissue; }},
    {"snr_db", 1, [](const Row& r) { return r.snr; }},
    {"kind", 0, [](const Row& r) { return static_cast<double>(r.kind); }},
    {"seconds", 3, [](const Row& r) { return r.seconds; }}};
}  // namespace

void write_details(const std::vector<Row>& rows, const std::filesystem::path& file) {
    std::vector<CsvColumn> heads;
    for (const Column& column : columns) {
        heads.push_back({column.name, column.decimals});
    }
    std::vector<std::string> signs;  // the heads refer to their names
    for (const char* wall : {"near", "far"}) {
        for (std::size_t k = 0; k < wall_sign_count; ++k) {
            signs.push_back(detail::concatenate(wall, "_sign_", k));
        }
    }
    for (const std::string& sign : signs) {
        heads.push_back({sign, 5});
    }
    CsvWriter table(file, heads);
    for (const Row& row : rows) {
        std::vector<double> values;
        for (const Column& column : columns) {
            values.push_back(column.value(row));
        }
        values.insert(values.end(), row.near_signs.begin(), row.near_signs.end());
        values.insert(values.end(), row.far_signs.begin(), row.far_signs.end());
        table.row(values);
    }
    table.commit();
}

}  // namespace wall_study
