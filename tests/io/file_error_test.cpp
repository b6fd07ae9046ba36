#include "echosieve/io/files.hpp"

#include <string>
#include <string_view>

#include "support/check.hpp"

using namespace echosieve;

TEST_CASE("text that is UTF-8 is printed as it is, of one to four bytes a character") {
    for (const std::string_view text :
         {"plain.npy", "K\xC3\xB6rper", "\xE2\x82\xAC", "\xF0\x9F\xAB\x80", "\xEF\xBF\xBD",
          "\xED\x9F\xBF", "\xF4\x8F\xBF\xBF", "\xE0\xA0\x80", "\xF0\x90\x80\x80", ""}) {
        CHECK(printable(text) == text);
    }
}

TEST_CASE("what is no character, and what moves the cursor, is printed as its bytes") {
    const auto shown = [](std::string_view text) { return printable(text); };
    CHECK(shown("a\xFFz") == "a\\xFFz");
    CHECK(shown("\x80") == "\\x80");
    CHECK(shown("\xC3") == "\\xC3");                    // cut short
    CHECK(shown("\xC3(") == "\\xC3(");                  // no second byte
    CHECK(shown("\xC0\xAF") == "\\xC0\\xAF");           // not the shortest form
    CHECK(shown("\xE0\x9F\xBF") == "\\xE0\\x9F\\xBF");  // nor this
    CHECK(shown("\xF0\x8F\xBF\xBF") == "\\xF0\\x8F\\xBF\\xBF");
    CHECK(shown("\xED\xA0\x80") == "\\xED\\xA0\\x80");           // half of a surrogate pair
    CHECK(shown("\xF4\x90\x80\x80") == "\\xF4\\x90\\x80\\x80");  // beyond U+10FFFF
    CHECK(shown("\xF5\x80\x80\x80") == "\\xF5\\x80\\x80\\x80");
    CHECK(shown("line\nbreak\x1B[2J\x7F") == "line\\x0Abreak\\x1B[2J\\x7F");
    CHECK(shown(std::string_view("nul\0", 4)) == "nul\\x00");
}

TEST_CASE("an error of a file starts with its name, whatever bytes that has") {
    CHECK(std::string(FileError("folder/x.npy", "is empty").what()) == "folder/x.npy: is empty");
    CHECK(std::string(FileError("\xFF.npy", "is empty").what()) == "\\xFF.npy: is empty");
}
