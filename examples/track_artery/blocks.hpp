// track_artery on a recording followed in blocks, read piece by piece.
#pragma once

#include "echosieve/io/recording_file.hpp"
#include "outputs.hpp"
#include "support/results.hpp"
#include "support/tracking_options.hpp"

namespace track_artery {

/// Reads, tracks, writes motion.csv, blocks.csv and summary.json; returns the exit status as run()
/// does. Says what is unusual. Throws what the library throws.
int run_in_blocks(const Job& job, echosieve::RecordingReader& reader, examples::Results& results,
                  examples::Warnings& warnings);

}  // namespace track_artery
