#include "pictures.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <ostream>
#include <string>

#include "support/plot.hpp"

namespace compare_methods {
namespace {

namespace fs = std::filesystem;

constexpr double lowest = 0.8;      // of the axis [um]
constexpr double highest = 4500;    // [um]
constexpr double largest = 2000;    // errors above it are drawn there [um]
constexpr double not_found = 3200;  // where a setting without an artery is marked [um]
constexpr std::array<const char*, methods.size()> colours = {"#d55e00", "#e69f00", "#999999",
                                                             "#0072b2", "#009e73"};
constexpr std::array<int, methods.size()> points = {5, 4, 9, 13, 7};

double shown(double metres) {
    return std::clamp(1e6 * metres, lowest, largest);
}

// Per setting: place, median, best, worst [um]; the place alone, where the median is "not found".
void write_method(const SweepRows& rows, std::size_t method, double shift, const fs::path& file) {
    examples::PlotFile table(file);
    std::ostream& out = table.stream();
    for (std::size_t k = 0; k < rows.rows.size(); ++k) {
        const Spread s = distension_spread(rows.rows[k], method);
        const double x = rows.sweep.cases[k].value + shift;
        if (std::isfinite(s.median)) {
            // A bar up to the mark of "not found" tells that a seed was.
            const double worst = std::isfinite(s.worst) ? shown(s.worst) : not_found;
            out << x << ' ' << shown(s.median) << ' ' << shown(s.best) << ' ' << worst << " NaN\n";
        } else {
            out << x << " NaN NaN NaN " << not_found << '\n';
        }
    }
    table.close();
}

void draw_sweep(const SweepRows& rows, const fs::path& scratch, std::ostream& out) {
    double first = rows.sweep.cases.front().value;
    double last = first;
    for (const Case& c : rows.sweep.cases) {
        first = std::min(first, c.value);
        last = std::max(last, c.value);
    }
    const double range = last - first;
    const std::string stem = fs::path(rows.sweep.picture).stem().string();
    const std::string truth = stem + "_truth.txt";
    examples::PlotFile truth_file(scratch / truth);
    for (std::size_t k = 0; k < rows.rows.size(); ++k) {
        truth_file.stream() << rows.sweep.cases[k].value << ' '
                            << shown(median_true_rms(rows.rows[k])) << '\n';
    }
    truth_file.close();
    out << "set output " << examples::plot_quoted(rows.sweep.picture) << '\n'
        << "set title "
        << examples::plot_quoted(rows.sweep.title +
                                 ": error of the distension, median with best and worst of " +
                                 std::to_string(rows.rows.front().seeds.size()) + " seeds")
        << "\nset xlabel " << examples::plot_quoted(rows.sweep.axis) << '\n'
        << "set xrange [" << first - 0.06 * range << ':' << last + 0.06 * range << "]\n"
        << "set xtics (";
    for (std::size_t k = 0; k < rows.sweep.cases.size(); ++k) {
        out << (k > 0 ? ", " : "") << rows.sweep.cases[k].value;
    }
    out << ")\nplot " << examples::plot_quoted(truth)
        << " using 1:2 with lines linewidth 1.5 dashtype 2 linecolor rgb '#444444' title 'no "
           "motion reported'";
    for (std::size_t m = 0; m < methods.size(); ++m) {
        const fs::path file = scratch / (stem + std::to_string(m) + ".txt");
        const double middle = (static_cast<double>(methods.size()) - 1) / 2;
        write_method(rows, m, 0.007 * range * (static_cast<double>(m) - middle), file);
        const std::string name = examples::plot_quoted(file.filename().string());
        const std::string colour = std::string(" linecolor rgb '") + colours[m] + "'";
        const std::string mark = " pointtype " + std::to_string(points[m]) + " pointsize 1.5";
        out << ", \\\n  " << name << " using 1:2:3:4 with yerrorbars linewidth 1 pointsize 0"
            << colour << " notitle, \\\n  " << name << " using 1:2 with linespoints linewidth "
            << (m == layers ? 3 : 1.8) << mark << colour << " title '" << methods[m].name
            << "', \\\n  " << name << " using 1:5 with points pointtype 2 pointsize 2 linewidth 2"
            << colour << " notitle";
    }
    out << '\n';
}

constexpr const char* style = R"(
set encoding utf8
set terminal pngcairo size 1200,760 font 'DejaVu Sans,15' background rgb 'white'
set border 3 linewidth 1.2
set tics out nomirror
set grid ytics linecolor rgb '#dddddd'
set logscale y
set ylabel 'rms error of the distension [µm]'
set ytics (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, '≥ 2000' 2000)
set key outside right top Left reverse samplen 2 spacing 1.3
set errorbars 0
)";

}  // namespace

void draw_pictures(const std::vector<SweepRows>& sweeps, examples::Results& results) {
    const fs::path scratch = results.hidden_folder() / "plots";
    fs::create_directory(scratch);
    examples::PlotFile script(scratch / "comparison.gp");
    std::ostream& out = script.stream();
    out << style << "set yrange [" << lowest << ':' << highest << "]\n"
        << "set ytics add ('not found' " << not_found << ")\n";
    std::vector<std::string> pictures;
    for (const SweepRows& rows : sweeps) {
        if (!rows.sweep.picture.empty()) {
            draw_sweep(rows, scratch, out);
            pictures.push_back(rows.sweep.picture);
        }
    }
    out << "set output\n";
    script.close();
    examples::draw(scratch, "comparison.gp", pictures);
    for (const std::string& picture : pictures) {
        fs::rename(scratch / picture, results.stage("pictures/" + picture));
    }
}

}  // namespace compare_methods
