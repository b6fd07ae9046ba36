// compare_methods: the library's way and the customary ones on the same synthetic recordings.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "compare_methods/methods.hpp"
#include "compare_methods/pictures.hpp"
#include "compare_methods/scenes.hpp"
#include "compare_methods/table.hpp"
#include "support/parallel.hpp"

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

}  // namespace

int main(int argc, char** argv) {
    CLI::App app{
        "Compares the library's way with the customary ones on synthetic recordings with known "
        "truth: writes comparison.md, and its pictures in a folder pictures.\n"
        "Research use: not a medical device, not for diagnosis."};
    std::string out = "docs";
    std::string details;
    std::size_t seeds = 5;
    std::size_t threads = 1;
    bool no_pictures = false;
    app.add_option("--out", out, "Folder to write to")->capture_default_str();
    app.add_option("--details", details, "Also write a CSV: one row a recording and method");
    app.add_option("--seeds", seeds, "Recordings a setting")
        ->check(CLI::Range(1, 1000))
        ->capture_default_str();
    app.add_option("--threads", threads, "Recordings at a time")
        ->check(CLI::Range(1, 256))
        ->capture_default_str();
    app.add_flag("--no-pictures", no_pictures, "Write the table only");
    CLI11_PARSE(app, argc, argv);

    try {
        std::filesystem::create_directories(out);
        const std::vector<SweepRows> rows = compare(all_sweeps(), seeds, threads);
        write_table(rows, seeds, out);
        if (!details.empty()) {
            write_details(rows, details);
        }
        if (!no_pictures) {
            draw_pictures(rows, std::filesystem::path(out) / "pictures");
        }
        std::printf("Comparison in %s.\n",
                    (std::filesystem::path(out) / "comparison.md").string().c_str());
    } catch (const std::exception& problem) {
        std::fprintf(stderr, "compare_methods: %s\n", problem.what());
        return 1;
    }
    return 0;
}
