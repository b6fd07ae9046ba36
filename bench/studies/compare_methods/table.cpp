#include "table.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <limits>
#include <set>
#include <stdexcept>
#include <string>

namespace compare_methods {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

// The middle value; of an even number the mean of the two, infinite if either is.
double median(std::vector<double> values) {
    if (values.empty()) {
        return std::numeric_limits<double>::quiet_NaN();
    }
    std::sort(values.begin(), values.end());
    const std::size_t half = values.size() / 2;
    return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

double distension_error(const Outcome& outcome) {
    return outcome.found ? outcome.score.distension.rms : infinite;
}

std::string number(const char* format, double value) {
    char buffer[64];
    std::snprintf(buffer, sizeof buffer, format, value);
    return buffer;
}

std::string micrometres(double metres) {
    return number("%.1f", 1e6 * metres);
}

// "4.2 (9.8)": median and worst; in place of the worst how often it was not found, if it ever was.
std::string cell(const Spread& spread, std::size_t seeds) {
    const std::string missing =
        "not found in " + std::to_string(spread.not_found) + " of " + std::to_string(seeds);
    if (!std::isfinite(spread.median)) {
        return missing;
    }
    return micrometres(spread.median) + " (" +
           (spread.not_found > 0 ? missing : micrometres(spread.worst)) + ")";
}

// Median over the seeds of gated by hand over layers, in the same recordings.
std::string ratio(const Row& row) {
    std::vector<double> ratios;
    for (const Outcomes& o : row.seeds) {
        // Not found by the layers is a ratio of 0: the gate was infinitely better.
        ratios.push_back(
            o[layers].found ? distension_error(o[by_hand]) / o[layers].score.distension.rms : 0);
    }
    return number("%.2f", median(ratios));
}

void write_sweep(const SweepRows& rows, std::ofstream& out) {
    out << "\n## " << rows.sweep.title << "\n\n";
    if (!rows.sweep.picture.empty()) {
        out << "![" << rows.sweep.title << ": error of each method](pictures/" << rows.sweep.picture
            << ")\n\n";
    }
    out << "| " << rows.sweep.axis;
    for (const Method& method : methods) {
        out << " | " << method.name;
    }
    out << " | gated by hand / layers | true motion |\n|---|---|---|---|---|---|---|---|\n";
    for (std::size_t k = 0; k < rows.rows.size(); ++k) {
        const Row& row = rows.rows[k];
        out << "| " << rows.sweep.cases[k].setting;
        for (std::size_t m = 0; m < methods.size(); ++m) {
            out << " | " << cell(distension_spread(row, m), row.seeds.size());
        }
        out << " | " << ratio(row) << " | " << micrometres(median_true_rms(row)) << " |\n";
    }
}

// Each recording once, though several sweeps share the base.
std::vector<const Outcomes*> all_outcomes(const std::vector<SweepRows>& sweeps) {
    std::vector<const Outcomes*> all;
    std::set<std::string> seen;
    for (const SweepRows& rows : sweeps) {
        for (std::size_t k = 0; k < rows.rows.size(); ++k) {
            if (seen.insert(rows.sweep.cases[k].same_as).second) {
                for (const Outcomes& o : rows.rows[k].seeds) {
                    all.push_back(&o);
                }
            }
        }
    }
    return all;
}

void write_overview(const std::vector<SweepRows>& sweeps, std::ofstream& out) {
    const auto all = all_outcomes(sweeps);
    out << "\n## All " << all.size() << " recordings\n\n"
        << "Distension: rms error. Gain: how much too large or small the distension is, without "
           "its sign. Depth: error\nagainst the outer layer, the worse wall. Medians and worst "
           "values are over the recordings in which the method\nfound an artery.\n\n"
        << "| method | distension [um] | worst | gain [%] | worst | depth [mm] | worst | valid "
           "frames | not found |\n|---|---|---|---|---|---|---|---|---|\n";
    for (std::size_t m = 0; m < methods.size(); ++m) {
        std::vector<double> rms, gain, depth;
        double measured = 0, valid = 0;
        for (const Outcomes* o : all) {
            const Outcome& outcome = (*o)[m];
            if (!outcome.found) {
                continue;
            }
            const examples::Score& s = outcome.score;
            rms.push_back(1e6 * s.distension.rms);
            gain.push_back(100 * std::abs(s.distension.gain_error));
            depth.push_back(1e3 * std::fmax(std::abs(s.near_depth), std::abs(s.far_depth)));
            measured += static_cast<double>(s.measured);
            valid += static_cast<double>(s.valid);
        }
        out << "| " << methods[m].name;
        if (rms.empty()) {
            out << " | not found | | | | | | | " << all.size() << " |\n";
            continue;
        }
        const auto pair = [&](const char* format, const std::vector<double>& x) {
            out << " | " << number(format, median(x)) << " | "
                << number(format, *std::max_element(x.begin(), x.end()));
        };
        pair("%.1f", rms);
        pair("%.1f", gain);
        pair("%.2f", depth);
        out << " | " << number("%.1f %%", 100 * valid / measured) << " | "
            << all.size() - rms.size() << " |\n";
    }
}

}  // namespace

Spread distension_spread(const Row& row, std::size_t method) {
    std::vector<double> errors;
    Spread spread;
    for (const Outcomes& o : row.seeds) {
        errors.push_back(distension_error(o[method]));
        spread.not_found += o[method].found ? 0 : 1;
    }
    const auto [best, worst] = std::minmax_element(errors.begin(), errors.end());
    spread.best = *best;
    spread.worst = *worst;
    spread.median = median(errors);
    return spread;
}

double median_true_rms(const Row& row) {
    return median(row.true_rms);
}

void write_table(const std::vector<SweepRows>& sweeps, std::size_t seeds,
                 const std::filesystem::path& file) {
    std::ofstream out(file);
    out << "# Methods compared on synthetic recordings\n\n"
           "Written by `bash bench/studies/compare_methods.sh`. rms error of the distension [um], "
           "mean "
           "removed, against the better of\ninner and outer layer, over the frames that were not "
           "dropped: median over "
        << seeds << " seeds, and the worst in brackets. \"Not\nfound\" means that the method "
        << "reported no artery; it counts as infinitely wrong. The ratio is the median over the\n"
           "seeds of the two errors in the same recording: above 1 the layers are nearer to the "
           "truth, 0 means that they found\nno artery. \"True motion\" is the rms of the "
           "distension itself: what a method that reports no motion would score.\nOne property is "
           "swept at a time about the base scene (make_recording's defaults, 2.5 s, 1000 frames/s, "
           "40 MHz).\n\n";
    for (const Method& method : methods) {
        out << "- **" << method.name << "**: " << method.description << "\n";
    }
    for (const SweepRows& rows : sweeps) {
        write_sweep(rows, out);
    }
    write_overview(sweeps, out);
    out.close();
    if (!out) {
        throw std::runtime_error("comparison.md can't be written; is the disk full?");
    }
}

void write_details(const std::vector<SweepRows>& sweeps, const std::filesystem::path& file) {
    std::ofstream out(file);
    out << "sweep,setting,seed,method,found,near_rms_m,far_rms_m,distension_rms_m,gain_error,"
           "near_depth_m,far_depth_m,valid,measured,true_rms_m,reason\n";
    for (const SweepRows& rows : sweeps) {
        for (std::size_t k = 0; k < rows.rows.size(); ++k) {
            for (std::size_t s = 0; s < rows.rows[k].seeds.size(); ++s) {
                for (std::size_t m = 0; m < methods.size(); ++m) {
                    const Outcome& o = rows.rows[k].seeds[s][m];
                    out << rows.sweep.title << ',' << rows.sweep.cases[k].setting << ',' << s + 1
                        << ",\"" << methods[m].name << "\"," << (o.found ? 1 : 0) << ','
                        << o.score.near.rms << ',' << o.score.far.rms << ','
                        << o.score.distension.rms << ',' << o.score.distension.gain_error << ','
                        << o.score.near_depth << ',' << o.score.far_depth << ',' << o.score.valid
                        << ',' << o.score.measured << ',' << rows.rows[k].true_rms[s] << ",\""
                        << o.reason << "\"\n";
                }
            }
        }
    }
    out.close();
    if (!out) {
        throw std::runtime_error("the details can't be written; is the disk full?");
    }
}

}  // namespace compare_methods
