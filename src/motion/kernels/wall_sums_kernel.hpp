// What the kernels of the wall's model work on. All numbers of a bin lie side by side with those of
// the other bins: an element is `stride` real parts and `stride` imaginary ones, stride a whole
// number of registers of every set.
#pragma once

#include <cstddef>

#include "kernels/choose.hpp"

namespace echosieve::kernels {

/// Points of Lagrange's polynomial between rows of a table.
inline constexpr std::size_t row_points = 6;

/// A row of a table between its rows: sum_m weight[m] table[m].
struct BetweenRows {
    const double* table;  ///< the first of `row_points` elements
    double weight[row_points];
};

struct BetweenRowsTask {
    const BetweenRows* rows;
    std::size_t count;
    std::size_t stride;
    double* out;  ///< [count] elements
};

/// Tissue and what stands still taken out of the sums of a wall's sheet, bin by bin.
///   M = gram (Toeplitz: M_k,k+l = gram_l) - s^H s / g + diag(precision) = L L^H
///   x = L^-1 (cross - s^H w / g), y = L^-1 (projection - s^H u / g)
///   R = sheet - w^H w / g - x^H x, r = wall - w^H u / g - x^H y
struct TissueTask {
    std::size_t layers;
    std::size_t sheet;
    std::size_t stride;
    const double* gram;          ///< [layers] elements
    const double* projection;    ///< [layers] elements
    const double* cross;         ///< [layers x sheet] elements, a layer's together
    const double* still_tissue;  ///< s, [layers] elements
    const double* still_wall;    ///< w, [sheet] elements
    const double* sheet_gram;    ///< [sheet (sheet + 1) / 2] elements, row by row, upper
    const double* wall;          ///< [sheet] elements
    const double* still;         ///< u, an element
    const double* still_gram;    ///< g, [stride] numbers
    const double* precision;     ///< [layers x stride] numbers
    double* factor;              ///< L, [layers (layers + 1) / 2] elements, row by row, lower
    double* reduced;             ///< x, [sheet x layers] elements, a column of the sheet together
    double* projected;           ///< y, [layers] elements
    double* sheet_left;          ///< R, as sheet_gram
    double* wall_left;           ///< r, [sheet] elements
    double* quadratic;           ///< |y|^2 + |u|^2 / g, [stride] numbers
};

/// Sums over bins, the sheet's pulses D given:
///   gram_kl = sum conj(D_k) R_kl D_l, projection_k = sum conj(D_k) r_k
struct PulseTask {
    std::size_t sheet;
    std::size_t stride;
    const double* pulses;      ///< D, [sheet] elements, 0 beyond the bins
    const double* sheet_left;  ///< R
    const double* wall_left;   ///< r
    double* gram;              ///< [sheet (sheet + 1) / 2] complex, row by row, upper
    double* projection;        ///< [sheet] complex
};

/// The sheet's equations, A = gram + diag(precision) = U^H U and y = U^-H projection.
struct SheetTask {
    std::size_t sheet;
    std::size_t stride;  ///< numbers of a row, more than `sheet`, whole registers of every set
    const double* gram;  ///< [sheet (sheet + 1) / 2] complex, row by row, upper
    const double* projection;  ///< [sheet] complex
    const double* precision;   ///< [sheet] numbers
    /// [sheet] rows: the real parts of U's row, y's after them at `sheet`, then the imaginary parts
    double* factor;
};

ECHOSIEVE_DECLARE_KERNEL(between_rows, BetweenRowsTask)
ECHOSIEVE_DECLARE_KERNEL(take_out_tissue, TissueTask)
ECHOSIEVE_DECLARE_KERNEL(weigh_pulses, PulseTask)
ECHOSIEVE_DECLARE_KERNEL(factor_sheet, SheetTask)

}  // namespace echosieve::kernels
