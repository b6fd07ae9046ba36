#include "tables.hpp"

#include <cstdio>
#include <nlohmann/json.hpp>
#include <string>

#include "echosieve/io/files.hpp"
#include "support/command_line.hpp"

namespace track_artery {
namespace {

void write_json(const nlohmann::ordered_json& object, const std::filesystem::path& file) {
    echosieve::AtomicFile out(file);
    out.stream() << object.dump(2) << '\n';
    out.commit();
}

}  // namespace

echosieve::CsvWriter motion_table(const std::filesystem::path& file) {
    return {file,
            {{"time_s", 6},
             {"near_wall_m", 9},
             {"near_wall_std_m", 9},
             {"far_wall_m", 9},
             {"far_wall_std_m", 9},
             {"diameter_m", 9},
             {"valid", 0},
             {"quality", 4}}};
}

void write_frame(const echosieve::FrameMotion& m, echosieve::CsvWriter& table) {
    table.row({m.time, m.near_wall, m.near_wall_std, m.far_wall, m.far_wall_std, m.diameter,
               m.valid ? 1.0 : 0.0, m.quality});
}

nlohmann::ordered_json summary_head(const Job& job, const echosieve::RecordingSettings& s) {
    nlohmann::ordered_json settings = {
        {"sampling_rate", s.sampling_rate}, {"frame_rate", s.frame_rate},
        {"start_time", s.start_time},       {"centre_frequency", s.sensor.centre_frequency},
        {"bandwidth", s.sensor.bandwidth},  {"sound_speed", s.sound_speed}};
    if (s.sensor.pulse_delay) {
        settings["pulse_delay"] = *s.sensor.pulse_delay;
    }
    nlohmann::ordered_json summary;
    summary["notice"] = examples::notice;
    examples::write_run(job.run, summary);
    summary["recording"] = echosieve::printable(job.samples.string());
    summary["settings"] = settings;
    return summary;
}

nlohmann::ordered_json pulse_delay_json(const echosieve::PulseDelay& pulse) {
    nlohmann::ordered_json json = {{"source", std::string(echosieve::describe(pulse.source))},
                                   {"delay_s", pulse.delay}};
    if (pulse.source == echosieve::DelaySource::estimated) {
        json["delay_std_s"] = pulse.deviation;
        json["zero_phase_probability"] = pulse.zero_phase;
    }
    return json;
}

void print_pulse_delay(const echosieve::PulseDelay& pulse,
                       const echosieve::RecordingSettings& settings) {
    std::printf("Taken off both for the pulse's delay, %s: %.2f mm, standard deviation %.2f mm.\n",
                std::string(echosieve::describe(pulse.source)).c_str(),
                1e3 * settings.depth(pulse.delay), 1e3 * settings.depth(pulse.deviation));
}

void put_in_place(const Job& job, examples::Results& results, const nlohmann::ordered_json& summary,
                  bool followed) {
    if (followed || !results.stands("motion.csv")) {
        write_json(summary, results.stage("summary.json"));
        results.commit();
        return;
    }
    const std::filesystem::path file = job.folder / "summary_failed.json";
    write_json(summary, file);
    std::fprintf(stderr,
                 "track_artery: the results in %s are those of an earlier run, and stay as they "
                 "are; this run's summary is %s\n",
                 echosieve::printable(job.folder.string()).c_str(),
                 echosieve::printable(file.string()).c_str());
}

}  // namespace track_artery
