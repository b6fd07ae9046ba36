#include "echosieve/io/npy.hpp"

#include <bit>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "echosieve/core/error.hpp"
#include "echosieve/io/files.hpp"
#include "folder.hpp"
#include "locale.hpp"
#include "reference/numpy_files.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;

namespace fs = std::filesystem;

namespace {

// The arrays of reference/numpy_files.py.
const std::vector<std::int16_t> counts = {0, 1, -2, 32767, -32768, 300};
const std::vector<float> values = {0.5F, -1e-30F, 3.0e38F, 1.0F / 3.0F, -0.0F, 1e-45F};
const std::vector<std::complex<float>> analytic = {{1.5F, -2}, {0, 0.25F}, {-1e-20F, 3}};

// A file with a header of our own, format 1.0.
std::string with_header(const std::string& header, std::size_t bytes) {
    std::string text("\x93NUMPY\x01\x00", 8);
    text += static_cast<char>(header.size() & 0xFF);
    text += static_cast<char>(header.size() >> 8);
    return text + header + std::string(bytes, '\0');
}

}  // namespace

TEST_CASE("a file that asks for more than there is memory is refused before any is taken") {
    const Folder folder("hole");
    const fs::path file = folder.path / "x.npy";
    const std::string header =
        "{'descr': '<i2', 'fortran_order': False, 'shape': (1000000000, 500), }";
    std::string start = "\x93NUMPY";
    start += {'\x01', '\x00', '\x76', '\x00'};
    start += header + std::string(117 - header.size(), ' ') + '\n';
    write_bytes(file, start);
    std::error_code error;
    fs::resize_file(file, 128 + 2 * std::uintmax_t{1000000000} * 500, error);
    if (error) {
        return;  // this file system has no room for a hole of a terabyte
    }
    CHECK(contains(message_of([&] { static_cast<void>(read_npy(file)); }), "GB of memory"));
}

TEST_CASE("files that NumPy wrote are read bit by bit") {
    const Folder folder("numpy");
    const auto file = folder.path / "x.npy";
    for (const std::string_view bytes : {int16_v1, int16_v2, int16_v3, written_int16}) {
        write_bytes(file, bytes);
        const auto read = std::get<FrameMatrix<std::int16_t>>(read_npy(file));
        CHECK(read.frames() == 2);
        CHECK(read.samples() == 3);
        CHECK(std::vector<std::int16_t>(read.values().begin(), read.values().end()) == counts);
    }
    for (const std::string_view bytes : {float32_v1, float32_v2, written_float32}) {
        write_bytes(file, bytes);
        const auto read = std::get<FrameMatrix<float>>(read_npy(file));
        CHECK(read.frames() == 3);
        CHECK(read.samples() == 2);
        for (std::size_t k = 0; k < values.size(); ++k) {
            CHECK(std::bit_cast<std::uint32_t>(read.values()[k]) ==
                  std::bit_cast<std::uint32_t>(values[k]));
        }
    }
    write_bytes(file, one_sample);
    const auto read = std::get<FrameMatrix<std::int16_t>>(read_npy(file));
    CHECK(read.frames() == 1);
    CHECK(read.samples() == 1);
    CHECK(read[0][0] == 32767);
}

TEST_CASE("files are written byte by byte as NumPy reads them, in any locale") {
    const Folder folder("written");
    const auto file = folder.path / "x.npy";
    const GlobalLocale continental;
    write_npy(file, counts, 2, 3);
    CHECK(bytes_of(file) == written_int16);
    write_npy(file, values, 3, 2);
    CHECK(bytes_of(file) == written_float32);
    write_npy(file, analytic, 1, 3);
    CHECK(bytes_of(file) == written_complex64);
    const std::vector<std::int16_t> many(1234 * 1001, std::int16_t{7});
    write_npy(file, many, 1234, 1001);
    const auto read = std::get<FrameMatrix<std::int16_t>>(read_npy(file));
    CHECK(read.frames() == 1234);
    CHECK(read.samples() == 1001);
    CHECK(contains(bytes_of(file).substr(0, 128), "(1234, 1001)"));
    // The values start at a multiple of 64 bytes, whatever the digits of the shape.
    for (std::size_t columns = 1; columns < 1'000'000; columns *= 10) {
        write_npy(file, std::vector<std::int16_t>(columns), 1, columns);
        CHECK((bytes_of(file).size() - 2 * columns) % 64 == 0);
    }
}

TEST_CASE("what NumPy writes and a recording can't be is refused by name and value") {
    const Folder folder("refused");
    const auto file = folder.path / "x.npy";
    const auto refused = [&](std::string_view bytes, std::string_view part) {
        write_bytes(file, bytes);
        const std::string message = message_of([&] { static_cast<void>(read_npy(file)); });
        CAPTURE(message);
        CHECK(contains(message, "x.npy: "));
        CHECK(contains(message, part));
    };
    refused(float64, "dtype = '<f8'");
    refused(big_endian_int16, "dtype = '>i2'");
    refused(big_endian_float32, "dtype = '>f4'");
    refused(uint8, "dtype = '|u1'");
    refused(uint16, "dtype = '<u2'");
    refused(boolean, "dtype = '|b1'");
    refused(complex64, "dtype = '<c8'");
    refused(unicode_text, "dtype = '<U2'");
    refused(structured, "dtype is structured");
    refused(fortran, "fortran_order = True");
    refused(scalar, "shape = ()");
    refused(one_dimension, "shape = (3,)");
    refused(three_dimensions, "shape = (1, 2, 3)");
    refused(no_frames, "shape = (0, 3)");
    refused(no_samples, "shape = (2, 0)");
}

TEST_CASE("a file cut anywhere, or with more at its end, is refused") {
    const Folder folder("cut");
    const auto file = folder.path / "x.npy";
    for (const std::string_view whole : {int16_v1, int16_v2, float32_v1}) {
        for (std::size_t length = 0; length < whole.size(); ++length) {
            write_bytes(file, whole.substr(0, length));
            const std::string message = message_of([&] { static_cast<void>(read_npy(file)); });
            CAPTURE(length);
            CAPTURE(message);
            const bool named = contains(message, length == 0  ? "is empty"
                                                 : length < 8 ? "not a .npy file"
                                                              : "truncated");
            CHECK(named);
        }
        write_bytes(file, std::string(whole) + '\0');
        CHECK(contains(message_of([&] { static_cast<void>(read_npy(file)); }), "too long"));
    }
}

TEST_CASE("damaged headers are refused") {
    const Folder folder("damaged");
    const auto file = folder.path / "x.npy";
    const auto refused = [&](const std::string& bytes, std::string_view part) {
        write_bytes(file, bytes);
        const std::string message = message_of([&] { static_cast<void>(read_npy(file)); });
        CAPTURE(bytes);
        CAPTURE(message);
        CHECK(contains(message, part));
    };
    const auto header = [](const char* text) { return with_header(text, 12); };
    const std::string good = "{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3)}";
    // Other orders, quotes and blanks are the same dictionary.
    for (const char* same :
         {"{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3)}",
          "{'shape':(2,3,),'fortran_order':False,'descr':'<i2',}\n",
          "{ \"descr\" : \"<i2\" , \"fortran_order\" : False , \"shape\" : ( 2 , 3 ) , } \n"}) {
        write_bytes(file, header(same));
        CHECK(std::get<FrameMatrix<std::int16_t>>(read_npy(file)).frames() == 2);
    }
    refused(header(""), "damaged");
    refused(header("[1, 2]"), "damaged");
    refused(header("{'descr' '<i2'}"), "damaged");
    refused(header("{descr: '<i2'}"), "damaged");
    refused(header("{'descr': '<i2"), "damaged");
    refused(header("{'descr': '<i2' 'fortran_order': False, 'shape': (2, 3)}"), "damaged");
    refused(header("{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3)"), "damaged");
    refused(header("{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3)} x"), "goes on");
    refused(header("{'descr': '<i2', 'fortran_order': 0, 'shape': (2, 3)}"), "fortran_order = 0");
    refused(header("{'descr': '<i2', 'fortran_order': Falsehood, 'shape': (2, 3)}"),
            "fortran_order = Falsehood");
    refused(header("{'fortran_order': False, 'shape': (2, 3)}"), "no field 'descr'");
    refused(header("{'descr': '<i2', 'shape': (2, 3)}"), "no field 'fortran_order'");
    refused(header("{'descr': '<i2', 'fortran_order': False}"), "no field 'shape'");
    refused(header("{'descr': '<i2', 'descr': '<i2', 'fortran_order': False, 'shape': (2, 3)}"),
            "'descr'");
    refused(header("{'descr': '<i2', 'fortran_order': False, 'shape': (2, 3), 'more': 1}"),
            "'more' is unknown");
    for (const char* shape :
         {"(2 3)", "(2,, 3)", "(,2, 3)", "(2, x)", "(2.0, 3)", "(-2, 3)", "(+2, 3)", "(0x2, 3)"}) {
        refused(
            header(("{'descr': '<i2', 'fortran_order': False, 'shape': " + std::string(shape) + "}")
                       .c_str()),
            "shape = " + std::string(shape));
    }
    for (const char* shape : {"2", "[2, 3]", "'(2, 3)'", "None", "(2, 3"}) {
        refused(
            header(("{'descr': '<i2', 'fortran_order': False, 'shape': " + std::string(shape) + "}")
                       .c_str()),
            "is not a tuple");
    }
    // Products and sums that pass the largest size must not wrap around.
    for (const char* shape : {"(9223372036854775807, 9)", "(1, 9223372036854775807)",
                              "(4294967296, 4294967296)", "(1, 18446744073709551615)"}) {
        refused(
            header(("{'descr': '<i2', 'fortran_order': False, 'shape': " + std::string(shape) + "}")
                       .c_str()),
            "larger than any memory");
    }
    // Sizes that a machine could have are held against the file before any memory is asked for.
    refused(header("{'descr': '<i2', 'fortran_order': False, 'shape': (1000000, 1000000)}"),
            "truncated");
    std::string version = header(good.c_str());
    version[6] = 4;
    refused(version, ".npy version = 4.0");
    version[6] = 1;
    version[7] = 9;
    refused(version, ".npy version = 1.9");
    std::string length = std::string("\x93NUMPY\x02\x00\xFF\xFF\xFF\xFF", 12) + good;
    refused(length, "header length = 4294967295");
}

TEST_CASE("a matrix written in pieces is the one written at once, or is not there") {
    const Folder folder("pieces");
    const auto file = folder.path / "x.npy";
    const std::span<const float> all(values);
    {
        NpyWriter out(file, 3, 2);
        out.write(all.first(1));
        out.write(all.subspan(1, 4));
        CHECK_THROWS_AS(out.commit(), InvalidInput);  // one is missing
        CHECK_THROWS_AS(out.write(all.first(2)), InvalidInput);
        out.write(all.last(1));
        CHECK(!std::filesystem::exists(file));
        out.commit();
    }
    CHECK(bytes_of(file) == written_float32);
    std::filesystem::remove(file);
    { NpyWriter(file, 3, 2).write(all); }
    CHECK_THROWS_AS(NpyWriter(file, std::size_t{1} << 63, 2), InvalidInput);
    CHECK_THROWS_AS(NpyWriter(folder.path / "none" / "x.npy", 3, 2), FileError);
    CHECK(std::filesystem::is_empty(folder.path));
}

TEST_CASE("the number of values must be the product of the shape") {
    const Folder folder("product");
    const auto file = folder.path / "x.npy";
    CHECK_THROWS_AS(write_npy(file, counts, 2, 2), InvalidInput);
    CHECK_THROWS_AS(write_npy(file, counts, 0, 6), InvalidInput);
    CHECK_THROWS_AS(write_npy(file, counts, 6, 0), InvalidInput);
    // 2^63 * 2 wraps around to 0.
    const std::vector<float> none;
    CHECK_THROWS_AS(write_npy(file, none, std::size_t{1} << 63, 2), InvalidInput);
    CHECK(std::filesystem::is_empty(folder.path));
    write_npy(file, none, 0, 3);
    CHECK(contains(message_of([&] { static_cast<void>(read_npy(file)); }), "shape = (0, 3)"));
}
