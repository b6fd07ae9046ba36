// wall_study: recordings drawn at random from three simulators, tracked with no hand work and
// scored against the truth; and recordings without an artery, in which nothing may be found.
#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "support/command_line.hpp"
#include "support/event_kinds.hpp"
#include "support/options.hpp"
#include "support/parallel.hpp"
#include "support/results.hpp"
#include "wall_study/effects.hpp"
#include "wall_study/reliability.hpp"
#include "wall_study/report.hpp"
#include "wall_study/row.hpp"

namespace {

using namespace wall_study;

struct Orders {
    std::uint64_t first = 1;
    std::size_t count = 100;
    std::size_t empty = 25;
    std::size_t threads = 1;
    std::vector<std::string> simulators{simulator_names.begin(), simulator_names.end()};
    std::string event;
    std::string details;
    std::string picture;
    Changes changes;
    DrawOptions draw;
    TrackOptions track;
};

// Lines without an artery in turn; which, depends on what the simulator can draw.
LineKind empty_kind(Simulator simulator, std::size_t k) {
    constexpr std::array all{LineKind::breathing_tissue, LineKind::pulsating_tissue,
                             LineKind::artery_beside, LineKind::vein, LineKind::still_tissue};
    constexpr std::size_t of_other_simulators = 2;  // the first ones
    return all[k % (simulator == Simulator::layered ? all.size() : of_other_simulators)];
}

std::vector<Row> rows_of(const Orders& orders) {
    std::vector<Row> rows;
    for (const Simulator simulator : simulators) {
        const std::string name = simulator_names[static_cast<std::size_t>(simulator)];
        if (std::ranges::find(orders.simulators, name) == orders.simulators.end()) {
            continue;
        }
        for (std::size_t k = 0; k < orders.count + orders.empty; ++k) {
            Row row;
            row.simulator = simulator;
            row.seed = orders.first + k;
            row.kind =
                k < orders.count ? LineKind::artery : empty_kind(simulator, k - orders.count);
            rows.push_back(row);
        }
    }
    return rows;
}

void study(const Orders& orders) {
    const std::filesystem::path details = orders.details;
    std::optional<examples::Results> results;
    if (!orders.details.empty()) {
        results.emplace(examples::one_file(details));
    }
    std::vector<Row> rows = rows_of(orders);
    examples::for_each_in_parallel(rows.size(), orders.threads, "studying", [&](std::size_t k) {
        study_recording(rows[k], orders.draw, orders.track, orders.changes);
    });
    if (results) {
        write_details(rows, results->stage(details.filename().string()));
        results->commit();
    }
    if (!orders.picture.empty()) {
        const std::filesystem::path picture = orders.picture;
        examples::Results drawn(examples::one_file(picture));
        const std::filesystem::path scratch = drawn.hidden_folder() / "reliability";
        std::filesystem::create_directory(scratch);
        draw_reliability(rows, scratch, drawn.stage(picture.filename().string()));
        drawn.commit();
    }
    print_report(rows);
}

}  // namespace

int main(int argc, char** argv) {
    examples::CommandLine line(
        "wall_study",
        "Tracks recordings drawn at random from three simulators and scores them against the "
        "truth.");
    Orders orders;
    constexpr examples::CountLimits recordings{.least = 0, .most = 1'000'000};  // weeks of work
    CLI::App& app = line.app();
    examples::add_count(app, "--first", orders.first, {.least = 0},
                        "Number of the first recording");
    examples::add_count(app, "--recordings", orders.count, recordings,
                        "With an artery, per simulator");
    examples::add_count(app, "--without-artery", orders.empty, recordings,
                        "Without one, per simulator");
    app.add_option("--simulator", orders.simulators, "Which ones, separated by commas")
        ->delimiter(',')
        ->check(CLI::IsMember(simulator_names))
        ->capture_default_str();
    examples::add_number(
        app, "--seconds",
        [&](double seconds) {
            constexpr double longest = 60;  // a recording is tracked as a whole
            require(seconds > 0 && seconds <= longest, "--seconds", seconds,
                    detail::concatenate("must lie in (0, ", longest, "] [s]"));
            orders.draw.duration = seconds;
        },
        "Length of a recording [s]")
        ->default_str(detail::concatenate(orders.draw.duration));
    examples::add_number(app, "--event-probability", orders.draw.event_probability,
                         "Of each kind of event");
    app.add_option("--event", orders.event,
                   "The one kind of event that happens, in every recording")
        ->check(CLI::IsMember(examples::event_kinds()));
    app.add_option("--without", orders.changes.without,
                   "Effects of layered lines that are switched off, separated by commas")
        ->delimiter(',')
        ->check(CLI::IsMember(effect_names()));
    examples::add_number(app, "--least-confidence", orders.track.confidence.least_confidence,
                         "Of each wall; 0 to calibrate the confidence anew");
    app.add_flag("--sensor-size", orders.changes.sensor_size,
                 "Tells the tracker the sensor's size, where the simulator has one: volume");
    examples::add_count(app, "--threads", orders.threads, {.most = examples::most_threads},
                        "Recordings worked on at once");
    app.add_option("--details", orders.details, "CSV file with a row a recording");
    app.add_option("--picture", orders.picture,
                   "PNG file: quality against the part of frames within 20 um");
    return line.run(argc, argv, [&] {
        if (!orders.event.empty()) {
            orders.draw.only_event = examples::event_kinds().at(orders.event);
        }
        study(orders);
        return 0;
    });
}
