// limits_study: Monte Carlo studies of the library's estimates beside the least errors that any
// unbiased estimate can have, as Markdown tables and as columns for pictures.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include "echosieve/correlate/bound.hpp"
#include "echosieve/io/csv.hpp"
#include "limits_study/studies.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/parallel.hpp"
#include "support/results.hpp"
#include "support/standard_streams.hpp"

namespace {

using namespace limits_study;

// The files of the pictures' columns, if they are asked for.
using Columns = std::optional<examples::Results>;

void print_head(const char* title, const std::vector<StudyPoint>& points, const char* first) {
    examples::flush_output();  // hours of work must not go on for an output that is lost
    std::printf("\n## %s\n\n| %s |", title, first);
    for (const Scatter& scatter : points[0].scatters) {
        std::printf(" %s |", scatter.name);
    }
    std::printf(" largest bias | within 68 %% | within 95 %% | outliers |\n|---|");
    for (std::size_t k = 0; k < points[0].scatters.size() + 4; ++k) {
        std::printf("---|");
    }
    std::printf("\n");
}

// rms error over the bound, with the half width of its 95 % interval; the other columns hold the
// worst of all parameters.
void print_point(const std::string& first, const StudyPoint& point) {
    std::printf("| %s |", first.c_str());
    double bias = 0;
    double low68 = 1, high68 = 0, low95 = 1, high95 = 0;
    for (const Scatter& s : point.scatters) {
        std::printf(" %.3f +- %.3f |", s.ratio, s.interval);
        bias = std::max(bias, std::abs(s.bias));
        low68 = std::min(low68, s.within_68);
        high68 = std::max(high68, s.within_68);
        low95 = std::min(low95, s.within_95);
        high95 = std::max(high95, s.within_95);
    }
    std::printf(" %.3f | %.1f to %.1f | %.1f to %.1f | %zu of %zu |\n", bias, 100 * low68,
                100 * high68, 100 * low95, 100 * high95, point.outliers, point.trials);
}

std::string decibels(double value) {
    char text[32];
    std::snprintf(text, sizeof text, "%.1f", value);
    return text;
}

void one_echo_table(bool chirped, const StudyOptions& options, const Columns& columns) {
    std::vector<StudyPoint> points;
    for (const double db : {-5.0, -2.5, 0.0, 2.5, 5.0, 7.5, 10.0, 15.0, 20.0, 30.0, 40.0}) {
        points.push_back(one_echo(db, chirped, options));
    }
    print_head(
        chirped ? "One chirped echo, six parameters unknown" : "One echo, five parameters unknown",
        points, "signal to noise [dB]");
    for (const StudyPoint& point : points) {
        print_point(decibels(point.decibels), point);
    }
    // The least ratio from which on all parameters keep within 1.2 of the bound.
    double from = std::nan("");
    for (std::size_t k = points.size(); k-- > 0;) {
        bool good = points[k].outliers == 0;
        for (const Scatter& s : points[k].scatters) {
            good = good && s.ratio <= 1.2;
        }
        if (!good) {
            break;
        }
        from = points[k].decibels;
    }
    std::printf("\nAll within 1.2 of the bound, no outlier: from %.1f dB on.\n", from);
    if (columns) {
        echosieve::CsvWriter table(
            columns->stage(chirped ? "chirped_echo.csv" : "one_echo.csv"),
            {{"decibels", 1}, {"arrival", 4}, {"frequency", 4}, {"bandwidth", 4}, {"phase", 4}});
        for (const StudyPoint& p : points) {
            table.row({p.decibels, p.scatters[0].ratio, p.scatters[1].ratio, p.scatters[2].ratio,
                       p.scatters[4].ratio});
        }
        table.commit();
    }
}

void two_frames_table(const StudyOptions& options) {
    std::vector<StudyPoint> points;
    for (const double db : {5.0, 10.0, 15.0, 20.0, 30.0, 40.0}) {
        points.push_back(two_frames(db, options));
    }
    print_head("Displacement between two frames, by the phase of the fitted echoes", points,
               "signal to noise [dB]; bound [um]");
    for (const StudyPoint& point : points) {
        char text[64];
        std::snprintf(text, sizeof text, "%.0f; %.4f", point.decibels,
                      1e6 * echosieve::displacement(point.scatters[0].bound, 1540));
        print_point(text, point);
    }
}

void overlap_table(bool shared, const StudyOptions& options, const Columns& columns) {
    std::vector<StudyPoint> points;
    for (const double db : {20.0, 30.0}) {
        for (const double separation : {0.3e-6, 0.5e-6, 1e-6, 2e-6}) {
            points.push_back(shared ? shared_shapes(separation, db, options)
                                    : two_echoes(separation, db, options));
        }
    }
    print_head(shared ? "Two overlapping echoes, shapes unknown, shared over 100 frames"
                      : "Two overlapping echoes of known shape",
               points, "signal to noise [dB]; apart [us]; mean bound [ns]");
    for (const StudyPoint& point : points) {
        char text[64];
        std::snprintf(text, sizeof text, "%.0f; %.1f; %.2f", point.decibels, 1e6 * point.separation,
                      1e9 * point.scatters[0].bound);
        print_point(text, point);
    }
    if (columns) {
        echosieve::CsvWriter table(
            columns->stage(shared ? "shared_shapes.csv" : "known_shapes.csv"),
            {{"decibels", 1}, {"separation_us", 3}, {"bound_ns", 4}, {"ratio", 4}});
        for (const StudyPoint& p : points) {
            table.row(
                {p.decibels, 1e6 * p.separation, 1e9 * p.scatters[0].bound, p.scatters[0].ratio});
        }
        table.commit();
    }
}

void study(const StudyOptions& options, std::size_t gates, const std::string& folder) {
    Columns columns;
    if (!folder.empty()) {
        columns.emplace(echosieve::FileSetPlan{
            folder,
            "limits_study",
            {"one_echo.csv", "chirped_echo.csv", "known_shapes.csv", "shared_shapes.csv"}});
    }
    one_echo_table(false, options, columns);
    one_echo_table(true, options, columns);
    two_frames_table(options);
    overlap_table(false, options, columns);
    overlap_table(true, options, columns);
    std::printf("\n## False alarms in noise alone\n\n| asked | found | gates |\n|---|---|---|\n");
    for (const double probability : {0.05, 0.01}) {
        const FalseAlarms alarms = false_alarms(probability, gates, options);
        std::printf("| %.3f | %.4f | %zu |\n", alarms.asked, alarms.found, alarms.gates);
    }
    if (columns) {
        columns->commit();
    }
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "limits_study",
        "Monte Carlo studies of estimates beside their Cramer-Rao bounds; Markdown to the standard "
        "output.");
    StudyOptions options;
    std::size_t gates = 20000;
    std::string folder;
    CLI::App& app = line.app();
    // Ten million trials of one point take a day.
    examples::add_count(app, "--trials", options.trials, {.most = 10'000'000}, "A point");
    examples::add_count(app, "--gates", gates, {.most = 1'000'000'000}, "Of noise alone");
    examples::add_count(app, "--threads", options.threads, {.most = examples::most_threads},
                        "Trials at a time");
    app.add_flag("--float", options.single_precision, "Samples in single precision");
    app.add_option("--columns", folder, "Folder for the columns of the pictures");
    return line.run(argc, argv, [&] {
        study(options, gates, folder);
        return 0;
    });
}
