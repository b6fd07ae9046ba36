// compare_methods: the library's way and the customary ones on the same synthetic recordings.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <map>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "compare_methods/methods.hpp"
#include "compare_methods/pictures.hpp"
#include "compare_methods/scenes.hpp"
#include "compare_methods/table.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "support/command_line.hpp"
#include "support/options.hpp"
#include "support/parallel.hpp"
#include "support/plot.hpp"
#include "support/results.hpp"

namespace {

using namespace compare_methods;

// One recording, and the slot for what the methods make of it.
struct Job {
    const Case* setting = nullptr;
    std::uint64_t seed = 0;
    Outcomes outcomes;
    double true_rms = 0;
};

double true_rms(const echosieve::Truth& truth) {
    double sum = 0, square = 0;
    for (const echosieve::WallDepths& w : truth.walls) {
        sum += w.far_inner - w.near_inner;
    }
    const double count = static_cast<double>(truth.walls.size());
    for (const echosieve::WallDepths& w : truth.walls) {
        const double d = w.far_inner - w.near_inner - sum / count;
        square += d * d;
    }
    return std::sqrt(square / count);
}

void run(std::vector<Job>& jobs, std::size_t threads) {
    examples::for_each_in_parallel(jobs.size(), threads, "comparing", [&](std::size_t k) {
        const echosieve::SyntheticRecording made = jobs[k].setting->make(jobs[k].seed);
        jobs[k].outcomes = run_methods(made);
        jobs[k].true_rms = true_rms(made.truth);
    });
}

std::vector<SweepRows> compare(const std::vector<Sweep>& sweeps, std::size_t seeds,
                               std::size_t threads) {
    std::vector<Job> jobs;
    std::map<std::string, std::size_t> first_job;  // of the cases that are one recording
    for (const Sweep& sweep : sweeps) {
        for (const Case& setting : sweep.cases) {
            if (first_job.emplace(setting.same_as, jobs.size()).second) {
                for (std::uint64_t seed = 1; seed <= seeds; ++seed) {
                    jobs.push_back({&setting, seed, {}, 0});
                }
            }
        }
    }
    run(jobs, threads);
    std::vector<SweepRows> result;
    for (const Sweep& sweep : sweeps) {
        SweepRows rows{sweep, {}};
        for (const Case& setting : sweep.cases) {
            Row row;
            for (std::size_t s = 0; s < seeds; ++s) {
                const Job& job = jobs[first_job.at(setting.same_as) + s];
                row.seeds.push_back(job.outcomes);
                row.true_rms.push_back(job.true_rms);
            }
            rows.rows.push_back(std::move(row));
        }
        result.push_back(std::move(rows));
    }
    return result;
}

struct Orders {
    std::string out = "docs";
    std::string details;
    std::size_t seeds = 5;
    std::size_t threads = 1;
    bool no_pictures = false;
};

// The table is the last: it shows the pictures.
echosieve::FileSetPlan results_of(const Orders& orders, const std::vector<Sweep>& sweeps) {
    echosieve::FileSetPlan plan{orders.out, "compare_methods", {}};
    for (const Sweep& sweep : sweeps) {
        if (!orders.no_pictures && !sweep.picture.empty()) {
            plan.files.push_back("pictures/" + sweep.picture);
        }
    }
    plan.files.emplace_back("comparison.md");
    return plan;
}

// Whether a file of that name lies among the other results.
bool is_result(const std::filesystem::path& file, const Orders& orders) {
    namespace fs = std::filesystem;
    const fs::path folder = fs::weakly_canonical(fs::absolute(orders.out) / "");
    const fs::path place = fs::weakly_canonical(fs::absolute(file));
    return place == fs::weakly_canonical(folder / "comparison.md") ||
           place.parent_path() == fs::weakly_canonical(folder / "pictures");
}

void compare(const Orders& orders) {
    if (!orders.no_pictures && !examples::has_gnuplot()) {
        throw std::runtime_error(
            "gnuplot was not found: install it (package gnuplot-nox), or pass --no-pictures");
    }
    const std::vector<Sweep> sweeps = all_sweeps();
    examples::Results results(results_of(orders, sweeps));
    const std::filesystem::path details = orders.details;
    std::optional<examples::Results> csv;
    if (!orders.details.empty()) {
        echosieve::require(!is_result(details, orders), "--details", orders.details,
                           "is the name of another result");
        csv.emplace(examples::one_file(details));
    }
    const std::vector<SweepRows> rows = compare(sweeps, orders.seeds, orders.threads);
    write_table(rows, orders.seeds, results.stage("comparison.md"));
    if (!orders.no_pictures) {
        draw_pictures(rows, results);
    }
    if (csv) {
        write_details(rows, csv->stage(details.filename().string()));
        csv->commit();
    }
    results.commit();
    std::printf("Comparison in %s.\n",
                echosieve::printable((std::filesystem::path(orders.out) / "comparison.md").string())
                    .c_str());
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "compare_methods",
        "Compares the library's way with the customary ones on synthetic recordings with known "
        "truth: writes comparison.md, and its pictures in a folder pictures.");
    Orders orders;
    CLI::App& app = line.app();
    app.add_option("--out", orders.out, "Folder to write to")->capture_default_str();
    app.add_option("--details", orders.details, "Also write a CSV: one row a recording and method");
    examples::add_count(app, "--seeds", orders.seeds, {.most = 1000}, "Recordings a setting");
    examples::add_count(app, "--threads", orders.threads, {.most = examples::most_threads},
                        "Recordings at a time");
    app.add_flag("--no-pictures", orders.no_pictures, "Write the table only");
    return line.run(argc, argv, [&] {
        compare(orders);
        return 0;
    });
}
