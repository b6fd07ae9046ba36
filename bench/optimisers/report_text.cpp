#include "report_text.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <map>
#include <ostream>
#include <sstream>
#include <stdexcept>
#include <utility>

#include "echo_fit.hpp"
#include "head_to_head.hpp"

namespace bench {
namespace {

std::string formatted(const char* format, double value) {
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), format, value);
    return text.data();
}
std::string count(double value) {
    return std::isfinite(value) ? formatted("%.0f", value) : "–";
}
std::string time(double seconds) {
    if (!std::isfinite(seconds)) {
        return "–";
    }
    return seconds < 1e-3 ? formatted("%.3g µs", 1e6 * seconds)
                          : formatted("%.3g ms", 1e3 * seconds);
}
std::string percent(double part) {
    // 100 % is said of all runs only.
    return formatted("%.0f %%", std::floor(100 * part + 1e-9));
}
std::string full_name(const Method& method) {
    return method.library + ", " + method.name;
}

// Lines of 120 characters at most.
void write_paragraph(std::ostream& out, const std::string& text) {
    std::istringstream words(text);
    std::size_t length = 0;
    for (std::string word; words >> word;) {
        if (length > 0 && length + 1 + word.size() > 120) {
            out << '\n';
            length = 0;
        }
        out << (length > 0 ? " " : "") << word;
        length += (length > 0 ? 1 : 0) + word.size();
    }
    out << "\n\n";
}

std::ofstream opened(const std::filesystem::path& file) {
    std::ofstream out(file);
    if (!out) {
        throw std::runtime_error("can't write " + file.string());
    }
    return out;
}

void write_pictures(const std::string& name, std::ostream& out) {
    out << "![Runs that reached the target, by evaluations](pictures/" << name
        << "_evaluations.png)\n\n![Runs that reached the target, by time](pictures/" << name
        << "_time.png)\n\n";
}

void write_head_to_head(const Tournament& t, ProblemKind kind, std::ostream& out) {
    out << "| | best of echosieve | best of the others | ratio of the medians | ratio, median over "
           "the problems | against the best other one of each problem "
           "|\n|---|---|---|---|---|---|\n";
    for (const Measure measure : {Measure::evaluations, Measure::seconds}) {
        const HeadToHead h = head_to_head(t, kind, measure);
        if (h.ours == t.methods.size() || h.other == t.methods.size()) {
            continue;
        }
        const auto text = [&](double x) {
            return measure == Measure::evaluations ? count(x) : time(x);
        };
        out << (measure == Measure::evaluations ? "| Evaluations | " : "| Processor time | ")
            << t.methods[h.ours].name << ": " << text(h.our_total) << " | "
            << full_name(t.methods[h.other]) << ": " << text(h.other_total) << " | "
            << formatted("%.2f", h.ratio) << " | " << formatted("%.2f", h.median_ratio) << " | "
            << formatted("%.2f", h.best_ratio) << " |\n";
    }
    out << '\n';
}

// Rows of problems by their number of echoes, or all of a kind in one column.
std::vector<std::pair<std::string, std::vector<std::size_t>>> classes(const Tournament& t,
                                                                      ProblemKind kind) {
    std::map<std::size_t, std::vector<std::size_t>> by_echoes;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        if (t.problems[p].kind == kind) {
            by_echoes[t.problems[p].fit ? t.problems[p].fit->echoes() : 0].push_back(p);
        }
    }
    std::vector<std::pair<std::string, std::vector<std::size_t>>> out;
    for (const auto& [echoes, members] : by_echoes) {
        out.emplace_back(echoes == 0   ? "success"
                         : echoes == 1 ? "1 echo"
                                       : std::to_string(echoes) + " echoes",
                         members);
    }
    return out;
}

void write_methods(const Tournament& t, ProblemKind kind, std::ostream& out) {
    const auto columns = classes(t, kind);
    out << "| method |";
    for (const auto& [name, members] : columns) {
        out << ' ' << name << " |";
    }
    out << " evaluations | expected evaluations | time |\n|---|";
    for (std::size_t k = 0; k < columns.size() + 3; ++k) {
        out << "---|";
    }
    out << '\n';
    for (const std::size_t m : ranking(t, kind, Measure::evaluations)) {
        const bool ours = is_ours(t.methods[m]);
        out << (ours ? "| **" : "| ") << full_name(t.methods[m]) << (ours ? "** |" : " |");
        for (const auto& [name, members] : columns) {
            Total part;
            for (const std::size_t p : members) {
                const Score one = score(t.records[m][p]);
                part.runs += one.runs;
                part.successes += one.successes;
            }
            out << ' ' << percent(part.rate()) << " |";
        }
        const Total all = total(t, m, kind);
        out << ' ' << count(all.evaluations) << " | " << count(all.expected_evaluations) << " | "
            << time(all.seconds) << " |\n";
    }
    out << '\n';
}

void write_problems(const Tournament& t, ProblemKind kind,
                    const std::vector<EchoReference>& references, std::ostream& out) {
    const bool fits = kind == ProblemKind::echo_fit;
    const std::size_t ours = best(t, kind, Measure::evaluations, true);
    const std::string name = ours < t.methods.size() ? t.methods[ours].name : "echosieve";
    out << "| problem | unknowns |" << (fits ? " minimum | starts that end there |" : " minimum |")
        << ' ' << name
        << ": success | evaluations | time | other of fewest evaluations | other of "
           "least time |\n|---|---|---|"
        << (fits ? "---|" : "") << "---|---|---|---|---|\n";
    std::size_t index = 0;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        const Problem& problem = t.problems[p];
        if (problem.kind != kind) {
            continue;
        }
        out << "| " << problem.name << " | " << problem.dimension() << " | "
            << formatted("%.6g", problem.least) << " | ";
        if (fits) {
            const EchoReference& reference = references[index++];
            out << formatted("%.1f %%", 100 * static_cast<double>(reference.hits) /
                                            static_cast<double>(reference.starts))
                << " | ";
        }
        const Score mine = ours < t.methods.size() ? score(t.records[ours][p]) : Score{};
        const auto fewest = least(t, p, Measure::evaluations, false);
        const auto fastest = least(t, p, Measure::seconds, false);
        const auto whose = [&](const std::pair<double, std::size_t>& x, const std::string& text) {
            return std::isfinite(x.first) ? text + " (" + full_name(t.methods[x.second]) + ")"
                                          : std::string("–");
        };
        out << mine.successes << " of " << mine.runs << " | " << count(mine.evaluations) << " | "
            << time(mine.seconds) << " | " << whose(fewest, count(fewest.first)) << " | "
            << whose(fastest, time(fastest.first)) << " |\n";
    }
    out << '\n';
}

// Where the best of ours fails or is beaten.
void write_shortfalls(const Tournament& t, ProblemKind kind, std::ostream& out) {
    std::vector<std::string> lines;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        if (t.problems[p].kind != kind) {
            continue;
        }
        for (const Measure measure : {Measure::evaluations, Measure::seconds}) {
            const auto ours = least(t, p, measure, true);
            const auto other = least(t, p, measure, false);
            if (!(other.first < ours.first)) {
                continue;
            }
            const auto text = [&](double x) {
                return measure == Measure::evaluations ? count(x) + " evaluations" : time(x);
            };
            lines.push_back("- " + t.problems[p].name + ": " + full_name(t.methods[other.second]) +
                            " needs " + text(other.first) +
                            (std::isfinite(ours.first)
                                 ? ", the best of ours, " + t.methods[ours.second].name + ", " +
                                       text(ours.first)
                                 : ", none of ours succeeds in half its runs"));
        }
    }
    if (lines.empty()) {
        write_paragraph(out,
                        "On none of these problems does a method of another library need fewer "
                        "evaluations or less time, in the median, than the best of ours on "
                        "that problem.");
        return;
    }
    write_paragraph(out,
                    "Problems on which another library's method is ahead of the best of ours on "
                    "that problem, in the median:");
    for (const std::string& line : lines) {
        out << line << '\n';
    }
    out << '\n';
}

void write_kind(const Tournament& t, ProblemKind kind, const std::vector<EchoReference>& references,
                std::ostream& out) {
    write_paragraph(out,
                    "Every method, by its median over the problems; \"expected\" is the number "
                    "of evaluations of all runs over the number of successes.");
    write_methods(t, kind, out);
    write_paragraph(out,
                    "Every problem. The last columns name the method of the other libraries "
                    "that is best on that problem alone.");
    write_problems(t, kind, references, out);
    write_shortfalls(t, kind, out);
}

}  // namespace

std::vector<std::string> beaten_references(const Tournament& t) {
    std::vector<std::string> out;
    for (std::size_t p = 0; p < t.problems.size(); ++p) {
        const Problem& problem = t.problems[p];
        if (problem.equalities > 0) {
            continue;  // whose tolerance lets points below the minimum pass
        }
        double least_value = problem.least - (problem.target - problem.least);
        std::string who;
        for (std::size_t m = 0; m < t.methods.size(); ++m) {
            for (const RunRecord& record : t.records[m][p]) {
                if (record.best < least_value) {
                    least_value = record.best;
                    who = full_name(t.methods[m]);
                }
            }
        }
        if (!who.empty()) {
            out.push_back(problem.name + ": " + who + " found " + formatted("%.10g", least_value) +
                          ", the reference is " + formatted("%.10g", problem.least));
        }
    }
    return out;
}

void print_summary(const Tournament& t) {
    for (const ProblemKind kind :
         {ProblemKind::echo_fit, ProblemKind::published, ProblemKind::constrained}) {
        if (!any_of_kind(t, kind)) {
            continue;
        }
        std::printf("%s\n%-36s %8s %12s %12s %10s\n", title(kind), "method", "success",
                    "evaluations", "expected", "time");
        for (const std::size_t m : ranking(t, kind, Measure::evaluations)) {
            const Total all = total(t, m, kind);
            std::printf("%-36s %8s %12s %12s %10s\n", full_name(t.methods[m]).c_str(),
                        percent(all.rate()).c_str(), count(all.evaluations).c_str(),
                        count(all.expected_evaluations).c_str(), time(all.seconds).c_str());
        }
        for (const Measure measure : {Measure::evaluations, Measure::seconds}) {
            const HeadToHead h = head_to_head(t, kind, measure);
            if (h.ours < t.methods.size() && h.other < t.methods.size()) {
                std::printf(
                    "%s: %s against %s: ratio of medians %.2f, median ratio %.2f, against "
                    "the best of each problem %.2f\n",
                    measure == Measure::evaluations ? "evaluations" : "time",
                    t.methods[h.ours].name.c_str(), full_name(t.methods[h.other]).c_str(), h.ratio,
                    h.median_ratio, h.best_ratio);
            }
        }
        std::printf("\n");
    }
    for (const std::string& line : beaten_references(t)) {
        std::printf("REFERENCE BEATEN: %s\n", line.c_str());
    }
}

namespace {

void write_rules(const Tournament& t, std::ostream& out) {
    const auto number = [](double x) { return formatted("%g", x); };
    out << "# Optimisers compared\n\n";
    write_paragraph(
        out,
        "Written by `bash bench/optimisers/report.sh`. The library's optimisers beside those of "
        "general-purpose libraries, on fits of overlapping echoes and on published problems. Every "
        "run has the same budget, " +
            number(static_cast<double>(t.options.budget)) + " evaluations and " +
            number(1e3 * t.options.seconds) + " ms of processor time, and there are " +
            number(static_cast<double>(t.options.seeds)) + " runs (seeds) a problem; after " +
            number(static_cast<double>(t.options.hopeless)) +
            " failures and no success the rest of them is left out. A run succeeds when it comes "
            "upon "
            "a point of the box whose value is at most the target, and ends there. A method that "
            "ends "
            "by itself before is begun anew, from another random start, until target or budget.");
    write_paragraph(
        out,
        "An evaluation is one point at which the objective is asked, with or without derivatives: "
        "each point of a batch counts, and each point of a numeric difference; a point asked for "
        "twice in a row (the value, then the derivatives) counts once. Times are processor times "
        "of the thread that runs the method, the objective's part included. A failure counts as "
        "infinite; \"–\" is an infinite median: fewer than half the runs succeed. Figures of a "
        "method are medians over its runs, and of several problems medians over these. Ratios are "
        "the others' figure over ours: above 1 ours needs less.");
}

void write_echo_fits(const Tournament& t, const std::vector<EchoReference>& references,
                     std::ostream& out) {
    out << "## Echo fits\n\n";
    write_paragraph(
        out,
        "One to six overlapping Gabor echoes (arrival, centre frequency and bandwidth of each "
        "unknown) on one complex frame of 64 to 96 samples at 8 MHz, 4 MHz of centre and 1 MHz of "
        "bandwidth; arrivals anywhere in the gate, spectra within 10 % of the sensor's. Name of a "
        "problem: echoes, spacing of neighbours, peak amplitude of the weakest over the standard "
        "deviation of the noise in the real part of a sample. The amplitudes are projected out; "
        "they are normal a priori with their true deviation (without that, crowded fits have no "
        "minimum: echoes move onto each other with amplitudes that grow without bound). All "
        "methods see the unit cube. Those that can use them get the exact gradient, or residuals "
        "and Jacobian. Ours may also ask for many points at once, which are computed side by side "
        "in vector registers, and for J'J and J'r without the Jacobian: that shortens their time, "
        "not their count.");
    const std::vector<std::string> beaten = beaten_references(t);
    write_paragraph(
        out,
        "The target is the minimum known and a millionth of it. The minimum is the least value "
        "that a bounded Levenberg-Marquardt of the bench itself found from the truth and from " +
            formatted("%g",
                      references.empty() ? 0 : static_cast<double>(references.front().starts)) +
            " other starts; the table of problems says which part of these ended there. " +
            (beaten.empty() ? "No method found less."
                            : "**Methods found less, so that the target was too easy:**"));
    for (const std::string& line : beaten) {
        out << "- " << line << (line == beaten.back() ? "\n\n" : "\n");
    }
    write_head_to_head(t, ProblemKind::echo_fit, out);
    out << "![Runs that reached the target, by "
           "evaluations](pictures/optimisers_evaluations.png)\n\n"
           "![Runs that reached the target, by time](pictures/optimisers_time.png)\n\n"
           "![Success of each method on each problem](pictures/optimisers_success.png)\n\n";
    write_kind(t, ProblemKind::echo_fit, references, out);
}

void write_published(const Tournament& t, const std::vector<EchoReference>& references,
                     std::ostream& out) {
    out << "## Published problems\n\n";
    write_paragraph(
        out,
        "Test functions of two to six unknowns with known minima (tests/optimise/problems.hpp "
        "names the sources); the target lies 1e-8 above the minimum. Gradients are formed by "
        "central differences, whose points count. Where the minimum lies in the middle of the "
        "published box (sphere, Rastrigin, Ackley, Griewank), the box is moved by 7 % of its width "
        "and more, another part in each coordinate: some methods look into the middle first.");
    write_head_to_head(t, ProblemKind::published, out);
    write_pictures("optimisers_published", out);
    write_kind(t, ProblemKind::published, references, out);
}

void write_constrained(const Tournament& t, const std::vector<EchoReference>& references,
                       std::ostream& out) {
    out << "## Published problems under constraints\n\n";
    write_paragraph(
        out,
        "Definitions and sources: tests/optimise/constrained_problems.hpp (CEC 2006) and "
        "hock_schittkowski.hpp (the book's free coordinates in a wide box). A point counts if "
        "it is feasible, inequalities to 1e-8, equalities to 1e-4; the target lies 1e-4 above "
        "the minimum. Constraints are evaluated beside the value and not counted; slopes are "
        "central differences.");
    write_head_to_head(t, ProblemKind::constrained, out);
    write_pictures("optimisers_constrained", out);
    write_kind(t, ProblemKind::constrained, references, out);
}

void write_settings(const Tournament& t, std::ostream& out) {
    out << "## Settings\n\n| method | settings |\n|---|---|\n";
    for (const Method& method : t.methods) {
        out << "| " << full_name(method) << " | " << method.settings << " |\n";
    }
    out << "\n## What to bear in mind\n\n"
           "- Ceres treats bounds by projection: where one is active at the minimum, as in most\n"
           "  crowded fits here, it stops about 1e-4 of the value short of it, which the target "
           "does\n"
           "  not accept. With a transform in place of the bounds it creeps there for another "
           "reason:\n"
           "  the transform's slope vanishes.\n"
           "- dlib's global search is made for objectives that take seconds. Its own work,\n"
           "  milliseconds a point, uses up the time of a run.\n"
           "- Settings of the others are what their manuals recommend or the best of a few that "
           "were\n"
           "  tried on the echo fits; ours were tuned on the same problems.\n"
           "- Times depend on the machine and on what else it does; counts don't, except for runs\n"
           "  that the time limit ended.\n";
}

}  // namespace

void write_page(const Tournament& t, const std::vector<EchoReference>& references,
                const std::filesystem::path& file) {
    std::ofstream out = opened(file);
    write_rules(t, out);
    write_echo_fits(t, references, out);
    write_published(t, references, out);
    if (any_of_kind(t, ProblemKind::constrained)) {
        write_constrained(t, references, out);
    }
    write_settings(t, out);
}

void write_table(const Tournament& t, const std::filesystem::path& file) {
    std::ofstream out = opened(file);
    out << "library,method,kind,problem,unknowns,runs,successes,median_evaluations,"
           "expected_evaluations,median_seconds\n";
    out.precision(6);
    for (std::size_t m = 0; m < t.methods.size(); ++m) {
        for (std::size_t p = 0; p < t.problems.size(); ++p) {
            const Score one = score(t.records[m][p]);
            if (one.runs > 0) {
                out << t.methods[m].library << ",\"" << t.methods[m].name << "\",\""
                    << title(t.problems[p].kind) << "\",\"" << t.problems[p].name << "\","
                    << t.problems[p].dimension() << ',' << one.runs << ',' << one.successes << ','
                    << one.evaluations << ',' << one.expected_evaluations << ',' << one.seconds
                    << '\n';
            }
        }
    }
}

}  // namespace bench
