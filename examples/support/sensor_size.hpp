// The size of a simulated sensor's face, as a tracker is told it.
#pragma once

#include "echosieve/core/recording.hpp"

namespace examples {

/// Of the scene options that have a face of some size; a section and a line have none.
template <class Options>
void note_sensor_size(const Options& options, echosieve::Sensor& sensor) {
    if constexpr (requires { options.sensor_half_length; }) {
        sensor.width = 2 * options.sensor_half_width;
        sensor.length = 2 * options.sensor_half_length;
    }
}

}  // namespace examples
