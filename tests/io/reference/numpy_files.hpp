// Files as NumPy writes them, byte by byte; written by numpy_files.py, not by hand.
// clang-format off
#pragma once

#include <string_view>

namespace echosieve::test {

inline constexpr std::string_view int16_v1{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3), }                                                          \012\000\000\001\000\376\377\377\177\000\200,\001", 140};
inline constexpr std::string_view int16_v2{
    "\223NUMPY\002\000t\000\000\000{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3), }                                                        \012\000\000\001\000\376\377\377\177\000\200,\001", 140};
inline constexpr std::string_view int16_v3{
    "\223NUMPY\003\000t\000\000\000{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3), }                                                        \012\000\000\001\000\376\377\377\177\000\200,\001", 140};
inline constexpr std::string_view float32_v1{
    "\223NUMPY\001\000v\000{'descr': '<f4', 'fortran_order': False, 'shape': (3, 2), }                                                          \012\000\000\000\077`B\242\215\346\261a\177\253\252\252>\000\000\000\200\001\000\000\000", 152};
inline constexpr std::string_view float32_v2{
    "\223NUMPY\002\000t\000\000\000{'descr': '<f4', 'fortran_order': False, 'shape': (3, 2), }                                                        \012\000\000\000\077`B\242\215\346\261a\177\253\252\252>\000\000\000\200\001\000\000\000", 152};
inline constexpr std::string_view one_sample{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (1, 1), }                                                          \012\377\177", 130};
inline constexpr std::string_view float64{
    "\223NUMPY\001\000v\000{'descr': '<f8', 'fortran_order': False, 'shape': (3, 2), }                                                          \012\000\000\000\000\000\000\340\077\000\000\000\000LH\264\271\000\000\000\300<6\354G\000\000\000`UU\325\077\000\000\000\000\000\000\000\200\000\000\000\000\000\000\2406", 176};
inline constexpr std::string_view big_endian_int16{
    "\223NUMPY\001\000v\000{'descr': '>i2', 'fortran_order': False, 'shape': (2, 3), }                                                          \012\000\000\000\001\377\376\177\377\200\000\001,", 140};
inline constexpr std::string_view big_endian_float32{
    "\223NUMPY\001\000v\000{'descr': '>f4', 'fortran_order': False, 'shape': (3, 2), }                                                          \012\077\000\000\000\215\242B`\177a\261\346>\252\252\253\200\000\000\000\000\000\000\001", 152};
inline constexpr std::string_view uint8{
    "\223NUMPY\001\000v\000{'descr': '|u1', 'fortran_order': False, 'shape': (1, 3), }                                                          \012\001\002\003", 131};
inline constexpr std::string_view uint16{
    "\223NUMPY\001\000v\000{'descr': '<u2', 'fortran_order': False, 'shape': (2, 3), }                                                          \012\000\000\001\000\376\377\377\177\000\200,\001", 140};
inline constexpr std::string_view boolean{
    "\223NUMPY\001\000v\000{'descr': '|b1', 'fortran_order': False, 'shape': (2, 3), }                                                          \012\000\001\000\001\000\001", 134};
inline constexpr std::string_view complex64{
    "\223NUMPY\001\000v\000{'descr': '<c8', 'fortran_order': False, 'shape': (1, 3), }                                                          \012\000\000\300\077\000\000\000\300\000\000\000\000\000\000\200>\010\345<\236\000\000@@", 152};
inline constexpr std::string_view unicode_text{
    "\223NUMPY\001\000v\000{'descr': '<U2', 'fortran_order': False, 'shape': (1, 2), }                                                          \012a\000\000\000b\000\000\000c\000\000\000\000\000\000\000", 144};
inline constexpr std::string_view structured{
    "\223NUMPY\001\000v\000{'descr': [('a', '<i2'), ('b', '<f4')], 'fortran_order': False, 'shape': (1, 1), }                                   \012\001\000\000\000\000@", 134};
inline constexpr std::string_view fortran{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': True, 'shape': (2, 3), }                                                           \012\000\000\377\177\001\000\000\200\376\377,\001", 140};
inline constexpr std::string_view scalar{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (), }                                                              \012\007\000", 130};
inline constexpr std::string_view one_dimension{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (3,), }                                                            \012\000\000\001\000\376\377", 134};
inline constexpr std::string_view three_dimensions{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (1, 2, 3), }                                                       \012\000\000\001\000\376\377\377\177\000\200,\001", 140};
inline constexpr std::string_view no_frames{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (0, 3), }                                                          \012", 128};
inline constexpr std::string_view no_samples{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (2, 0), }                                                          \012", 128};
inline constexpr std::string_view written_int16{
    "\223NUMPY\001\000v\000{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3), }                                                          \012\000\000\001\000\376\377\377\177\000\200,\001", 140};
inline constexpr std::string_view written_float32{
    "\223NUMPY\001\000v\000{'descr': '<f4', 'fortran_order': False, 'shape': (3, 2), }                                                          \012\000\000\000\077`B\242\215\346\261a\177\253\252\252>\000\000\000\200\001\000\000\000", 152};
inline constexpr std::string_view written_complex64{
    "\223NUMPY\001\000v\000{'descr': '<c8', 'fortran_order': False, 'shape': (1, 3), }                                                          \012\000\000\300\077\000\000\000\300\000\000\000\000\000\000\200>\010\345<\236\000\000@@", 152};

}  // namespace echosieve::test
