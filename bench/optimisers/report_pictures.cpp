#include "report_pictures.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <map>
#include <stdexcept>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "scratch_folder.hpp"
#include "support/plot.hpp"

namespace bench {
namespace {

namespace fs = std::filesystem;
using examples::plot_quoted;

constexpr std::size_t most_curves = 8;
constexpr std::size_t most_ours = 3;
constexpr std::array<const char*, most_curves> colours = {
    "#0072b2", "#56b4e9", "#009e73", "#d55e00", "#e69f00", "#cc79a7", "#7a5c3e", "#999999"};

constexpr const char* style = R"(
set encoding utf8
set terminal pngcairo size 1200,760 font 'DejaVu Sans,15' background rgb 'white'
set border 3 linewidth 1.2
set tics out nomirror
set grid ytics linecolor rgb '#dddddd'
set key outside right top Left reverse samplen 2 spacing 1.3
)";

// A name in gnuplot's enhanced text.
std::string enhanced(const Method& method) {
    std::string out;
    for (const char c : method.library + ": " + method.name) {
        out += (c == '_' ? "\\_" : std::string(1, c));
    }
    return is_ours(method) ? "{/:Bold " + out + "}" : out;
}

// Ours first, then the best of each other library, and then the next ones, by their medians.
std::vector<std::size_t> shown(const Tournament& t, ProblemKind kind, Measure measure) {
    const std::vector<std::size_t> order = ranking(t, kind, measure);
    std::vector<std::size_t> ours;
    std::vector<std::size_t> firsts;
    std::vector<std::size_t> others;
    std::map<std::string, int> seen;
    for (const std::size_t m : order) {
        if (is_ours(t.methods[m])) {
            if (ours.size() < most_ours) {
                ours.push_back(m);
            }
        } else if (seen[t.methods[m].library]++ == 0) {
            firsts.push_back(m);
        } else {
            others.push_back(m);
        }
    }
    std::vector<std::size_t> out = std::move(ours);
    for (const auto& more : {firsts, others}) {
        for (const std::size_t m : more) {
            if (out.size() < most_curves) {
                out.push_back(m);
            }
        }
    }
    return out;
}

// Steps of the part of all runs on problems of that kind that succeeded by x. All problems have the
// same weight; those that the method does not take are failures.
struct Curves {
    ProblemKind kind;
    Measure measure;
    double last;  // of the axis
};
void write_curve(const Tournament& t, std::size_t method, const Curves& curves,
                 const fs::path& file) {
    const auto [kind, measure, last] = curves;
    std::vector<std::pair<double, double>> steps;
    double problems = 0;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        if (t.problems[p].kind != kind) {
            continue;
        }
        problems += 1;
        for (const RunRecord& record : t.records[method][p]) {
            if (record.success) {
                steps.emplace_back(measure == Measure::evaluations
                                       ? static_cast<double>(record.evaluations)
                                       : 1e3 * record.seconds,
                                   1 / static_cast<double>(t.records[method][p].size()));
            }
        }
    }
    std::ranges::sort(steps);
    std::ofstream out(file);
    double sum = 0;
    for (const auto& [x, weight] : steps) {
        out << x << ' ' << 100 * sum / problems << '\n';
        sum += weight;
        out << x << ' ' << 100 * sum / problems << '\n';
    }
    out << last << ' ' << 100 * sum / problems << '\n';
}

void draw_curves(const Tournament& t, Curves curves, const fs::path& scratch,
                 const std::string& picture, std::ofstream& out) {
    const auto [kind, measure, last] = curves;
    const bool evaluations = measure == Measure::evaluations;
    const double first = evaluations ? 3 : 1e-3;
    out << "set output " << plot_quoted(picture) << "\nset title '" << title(kind)
        << ": runs that reached the target'\nset xlabel "
        << (evaluations ? "'evaluations'" : "'processor time [ms]'")
        << "\nset ylabel 'part of the runs [%]'\nset logscale x\nset xrange [" << first << ':'
        << last << "]\nset yrange [0:101]\n"
        << (evaluations ? "set format x '%.0f'\n" : "set format x '%g'\n") << "plot ";
    const std::vector<std::size_t> methods = shown(t, kind, measure);
    for (std::size_t k = 0; k < methods.size(); ++k) {
        const Method& method = t.methods[methods[k]];
        const fs::path file = scratch / (picture + std::to_string(k) + ".txt");
        write_curve(t, methods[k], curves, file);
        out << (k > 0 ? ", \\\n  " : "") << plot_quoted(file.filename().string())
            << " using 1:2 with lines linewidth " << (is_ours(method) ? 3 : 1.8)
            << " linecolor rgb '" << colours[k] << "' title " << plot_quoted(enhanced(method));
    }
    out << "\nunset logscale x\nset format x '%g'\n";
}

// Methods, those of most successes last: at the top of the picture.
std::vector<std::size_t> by_success(const Tournament& t) {
    std::vector<std::size_t> order;
    for (std::size_t m = 0; m < t.methods.size(); ++m) {
        order.push_back(m);
    }
    const auto successes = [&](std::size_t m) {
        return std::array{total(t, m, ProblemKind::echo_fit).rate(),
                          total(t, m, ProblemKind::published).rate(),
                          total(t, m, ProblemKind::constrained).rate()};
    };
    std::ranges::stable_sort(
        order, [&](std::size_t a, std::size_t b) { return successes(a) < successes(b); });
    return order;
}

void write_success(const Tournament& t, const std::vector<std::size_t>& order,
                   const fs::path& file) {
    std::ofstream data(file);
    for (std::size_t row = 0; row < order.size(); ++row) {
        for (std::size_t p = 0; p < t.problems.size(); ++p) {
            const Score one = score(t.records[order[row]][p]);
            data << p << ' ' << row << ' ';
            if (one.runs == 0) {
                data << "NaN\n";
            } else {
                data << 100 * static_cast<double>(one.successes) / static_cast<double>(one.runs)
                     << '\n';
            }
        }
    }
}

// White lines between the fields.
void draw_fields(const Tournament& t, std::size_t rows, std::ofstream& out) {
    for (std::size_t p = 1; p < t.problems.size(); ++p) {
        const bool edge = t.problems[p].kind != t.problems[p - 1].kind;
        const double x = static_cast<double>(p) - 0.5;
        out << "set arrow from " << x << ", graph 0 to " << x
            << ", graph 1 nohead front linecolor rgb '" << (edge ? "#000000" : "#eeeeee")
            << "' linewidth " << (edge ? 2 : 1) << '\n';
    }
    for (std::size_t row = 1; row < rows; ++row) {
        const double y = static_cast<double>(row) - 0.5;
        out << "set arrow from graph 0, first " << y << " to graph 1, first " << y
            << " nohead front linecolor rgb '#eeeeee' linewidth 1\n";
    }
}

void draw_success(const Tournament& t, const fs::path& scratch, const std::string& picture,
                  std::ofstream& out) {
    const std::vector<std::size_t> order = by_success(t);
    const fs::path file = scratch / (picture + ".txt");
    write_success(t, order, file);
    const std::size_t rows = order.size();
    const std::size_t columns = t.problems.size();
    out << "set terminal pngcairo size " << 460 + 26 * columns << ',' << 330 + 26 * rows
        << " font 'DejaVu Sans,13' background rgb 'white'\nset output " << plot_quoted(picture)
        << "\nset title 'Runs that reached the target [%]; grey: not made for such a problem'\n"
           "unset xlabel\nunset ylabel\nset border 0\nset tics scale 0\nunset grid\nunset key\n"
           "set palette defined (0 '#ffffff', 100 '#0072b2')\n"
           "set cbrange [0:100]\nset colorbox\nset cbtics 25\n"
           "set xrange [-0.5:"
        << static_cast<double>(columns) - 0.5
        << "]\nset yrange [-0.5:" << static_cast<double>(rows) - 0.5
        << "]\nset object 1 rectangle from graph 0, graph 0 to graph 1, graph 1 behind fillcolor "
           "rgb "
           "'#cccccc' fillstyle solid noborder\nset xtics rotate by 90 right (";
    for (std::size_t p = 0; p < columns; ++p) {
        out << (p > 0 ? ", " : "") << plot_quoted(t.problems[p].name) << ' ' << p;
    }
    out << ")\nset ytics (";
    for (std::size_t row = 0; row < rows; ++row) {
        const Method& method = t.methods[order[row]];
        out << (row > 0 ? ", " : "") << plot_quoted(enhanced(method)) << ' ' << row;
    }
    out << ")\n";
    draw_fields(t, rows, out);
    out << "plot " << plot_quoted(file.filename().string())
        << " using 1:2:3 with image pixels notitle\n";
}

}  // namespace

void draw_pictures(const Tournament& t, const fs::path& folder) {
    if (!examples::has_gnuplot()) {
        throw std::runtime_error("gnuplot was not found: install it (package gnuplot-nox)");
    }
    fs::create_directories(folder);
    const ScratchFolder scratch(folder);
    const std::string script = "optimisers.gp";
    std::vector<std::string> pictures;
    const auto next = [&](const char* name) { return pictures.emplace_back(name); };
    std::ofstream out(scratch.path() / script);
    out << style;
    for (const auto& [kind, evaluations, time] :
         {std::tuple(ProblemKind::echo_fit, "optimisers_evaluations.png", "optimisers_time.png"),
          std::tuple(ProblemKind::published, "optimisers_published_evaluations.png",
                     "optimisers_published_time.png"),
          std::tuple(ProblemKind::constrained, "optimisers_constrained_evaluations.png",
                     "optimisers_constrained_time.png")}) {
        if (any_of_kind(t, kind)) {
            draw_curves(t, {kind, Measure::evaluations, static_cast<double>(t.options.budget)},
                        scratch.path(), next(evaluations), out);
            draw_curves(t, {kind, Measure::seconds, 1e3 * t.options.seconds}, scratch.path(),
                        next(time), out);
        }
    }
    draw_success(t, scratch.path(), next("optimisers_success.png"), out);
    out << "set output\n";
    out.close();
    examples::draw(scratch.path(), script, pictures);
    for (const std::string& picture : pictures) {
        fs::rename(scratch.path() / picture, folder / picture);
    }
}

}  // namespace bench
