// What make_recording is asked for, and how it is done.
#pragma once

#include <CLI/CLI.hpp>
#include <cstdint>
#include <string>

#include "echosieve/synthesis/lines.hpp"
#include "echosieve/synthesis/render.hpp"
#include "echosieve/synthesis/scene.hpp"

namespace make_recording {

/// What the command line says.
struct Orders {
    std::string name;
    std::uint64_t seed = 1;
    bool as_float = false;
    std::string simulator = "section";
    std::string drawn;
    bool fine = false;
    double event_probability = 0;
    std::string only_event;
    double heart_rate = 66;  ///< [1/min]
    std::string drop_kind = "zeros";
    echosieve::SceneOptions scene;
    echosieve::RenderOptions render;
    echosieve::LinesPlan lines;
    double start_depth = scene.settings.depth(scene.settings.start_time);
};

void add_options(CLI::App& app, Orders& orders);

/// Makes the recording and writes its files. Throws what the library throws.
void make(Orders orders);

}  // namespace make_recording
