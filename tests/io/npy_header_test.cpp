#include "../../src/io/npy_header.hpp"

#include <cstddef>
#include <sstream>
#include <string>

#include "echosieve/io/files.hpp"
#include "support/check.hpp"

using namespace echosieve;

namespace {

std::string file_of(const std::string& header, int version = 1, std::size_t more = 0) {
    std::string text = "\x93NUMPY";
    text += static_cast<char>(version);
    text += '\0';
    const std::size_t size = header.size() + more;
    for (int k = 0; k < (version == 1 ? 2 : 4); ++k) {
        text += static_cast<char>(size >> (8 * k) & 0xFF);
    }
    return text + header;
}

detail::NpyHeader read(const std::string& bytes) {
    std::istringstream in(bytes);
    return detail::read_npy_header(in, "x.npy");
}

const std::string usual = "{'descr': '<f4', 'fortran_order': False, 'shape': (12, 345), }\n";

}  // namespace

TEST_CASE("a header says type, lengths, and where the values start, in each version") {
    for (const int version : {1, 2, 3}) {
        CAPTURE(version);
        std::istringstream in(file_of(usual, version) + "values");
        const detail::NpyHeader header = detail::read_npy_header(in, "x.npy");
        CHECK(header.descr == "<f4");
        CHECK(header.rows == 12);
        CHECK(header.columns == 345);
        CHECK(header.data_offset == 6 + 2 + (version == 1 ? 2U : 4U) + usual.size());
        std::string rest;
        in >> rest;
        CHECK(rest == "values");
    }
}

TEST_CASE("a header's fields stand in any order, with blanks and quotes of either kind") {
    const detail::NpyHeader header =
        read(file_of("{ \"shape\" :(1,2,) ,'fortran_order':False, \"descr\":'<i2'}   \n"));
    CHECK(header.descr == "<i2");
    CHECK(header.rows == 1);
    CHECK(header.columns == 2);
}

TEST_CASE("a header that is damaged, or of another kind, is refused with file and reason") {
    const auto refused = [](const std::string& bytes, const char* words) {
        CAPTURE(words);
        CHECK_THROWS_WITH_AS(static_cast<void>(read(bytes)), doctest::Contains(words), FileError);
        CHECK_THROWS_WITH_AS(static_cast<void>(read(bytes)), doctest::Contains("x.npy: "),
                             FileError);
    };
    const auto field = [&](const std::string& old, const std::string& now) {
        std::string text = usual;
        return file_of(text.replace(text.find(old), old.size(), now));
    };
    refused("", "is empty");
    refused("not NumPy at all", "is not a .npy file");
    refused(file_of(usual, 4), "version = 4.0");
    refused(file_of(usual, 1, 1), "truncated within its header");
    refused(file_of(usual, 2, 1 << 17), "header length = 131135: must not exceed 65536");
    refused(field("False", "True"), "fortran_order = True");
    refused(field("False", "Maybe"), "fortran_order = Maybe");
    refused(field("'<f4'", "[('a', '<f4')]"), "structured");
    refused(field("(12, 345)", "(12,)"), "shape = (12,): must be (frames, samples)");
    refused(field("(12, 345)", "(12, -345)"), "holds something that is no length");
    refused(field("(12, 345)", "(12; 345)"), "holds something that is no length");
    refused(field("'descr': '<f4', ", ""), "has no field 'descr'");
    refused(field("'descr'", "'shape': (1, 2), 'descr'"), "'shape' is unknown or there twice");
    refused(field("'descr': '<f4'", "'descr': '<f4', 'descr': '<f4'"),
            "'descr' is unknown or there twice");
    refused(field("'descr'", "'what'"), "'what' is unknown or there twice");
    refused(field(", }", "} and more"), "goes on after its closing brace");
    refused(field("'descr':", "'descr'"), "':' expected");
}
