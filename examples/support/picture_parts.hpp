// What the pictures of a motion have in common: how they look, the caution, how they are made.
#pragma once

#include <filesystem>
#include <ostream>
#include <string>
#include <vector>

#include "support/m_mode_image.hpp"
#include "support/results.hpp"

namespace examples {

/// Quality below which stretches are marked.
inline constexpr double low_quality = 0.5;

/// A folder for gnuplot's files, in the results' hidden one.
[[nodiscard]] std::filesystem::path picture_folder(const Results& results);

/// Colours, and the caution as label 1 at the bottom of what is drawn.
void begin_script(std::ostream& script);

/// Writes image.bin, scaled by the strongest echoes below the dead zone [m], and says in the script
/// how it is drawn: `plot 'image.bin' @image`. Returns the scale's top.
float place_image(const MModeImage& image, double dead_zone, const std::filesystem::path& folder,
                  std::ostream& script);

/// A gnuplot variable that holds a text.
void set_text(std::ostream& script, const std::string& variable, const std::string& text);

/// The text in lines of at most `width` characters, broken at blanks.
[[nodiscard]] std::string wrapped(const std::string& text, std::size_t width);

/// Draws `script`, a file in the folder, and puts the pictures among the results. Throws
/// std::runtime_error if gnuplot fails or a picture is not whole.
void make_pictures(const std::filesystem::path& folder, const std::string& script,
                   const std::vector<std::string>& names, const Results& results);

}  // namespace examples
