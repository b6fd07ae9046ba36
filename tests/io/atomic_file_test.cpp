#include "echosieve/io/atomic_file.hpp"

#include <cmath>
#include <filesystem>
#include <limits>
#include <string>

#include "echosieve/core/error.hpp"
#include "echosieve/io/csv.hpp"
#include "folder.hpp"
#include "locale.hpp"
#include "support/check.hpp"

using namespace echosieve;
using namespace echosieve::test;
namespace fs = std::filesystem;

TEST_CASE("a file appears whole or not at all") {
    const Folder folder("atomic");
    const fs::path file = folder.path / "x.txt";
    {
        AtomicFile out(file);
        out.stream() << "half";
        CHECK(!fs::exists(file));
    }
    CHECK(fs::is_empty(folder.path));
    write_bytes(file, "old");
    {
        AtomicFile out(file);
        out.stream() << "half";
        out.stream().flush();
        CHECK(bytes_of(file) == "old");
    }
    CHECK(bytes_of(file) == "old");
    {
        AtomicFile out(file);
        out.stream() << "new";
        out.commit();
        CHECK(bytes_of(file) == "new");
    }
    CHECK(bytes_of(file) == "new");
    CHECK(!fs::exists(folder.path / "x.txt.partial"));
    // Left over from a program that was killed.
    write_bytes(folder.path / "x.txt.partial", "a longer rest of an earlier run");
    {
        AtomicFile out(file);
        out.stream() << "third";
        out.commit();
    }
    CHECK(bytes_of(file) == "third");
}

TEST_CASE("failures name the file and leave no partial file") {
    const Folder folder("failures");
    CHECK(contains(message_of([&] { AtomicFile(folder.path / "none" / "x.txt"); }), "x.txt: "));
    fs::create_directory(folder.path / "taken");
    write_bytes(folder.path / "taken" / "inside", "");
    const std::string renamed = message_of([&] {
        AtomicFile out(folder.path / "taken");
        out.stream() << 1;
        out.commit();
    });
    CHECK(contains(renamed, "taken: can't be renamed"));
    CHECK(!fs::exists(folder.path / "taken.partial"));
    // A device that is always full, where there is one.
    if (fs::exists("/dev/full")) {
        fs::create_symlink("/dev/full", folder.path / "x.txt.partial");
        const std::string full = message_of([&] {
            AtomicFile out(folder.path / "x.txt");
            out.stream() << std::string(100000, 'x');
            out.commit();
        });
        CHECK(contains(full, "x.txt: writing failed"));
        CHECK(!fs::exists(folder.path / "x.txt"));
        CHECK(!fs::is_symlink(folder.path / "x.txt.partial"));
    }
}

TEST_CASE("tables are written with the stated digits, in any locale") {
    const Folder folder("csv");
    const fs::path file = folder.path / "x.csv";
    const GlobalLocale continental;
    CsvWriter table(file, {{"time_s", 6}, {"depth_m"}, {"valid", 0}});
    const double nan = std::numeric_limits<double>::quiet_NaN();
    table.row({0, 0.0123456789, 1});
    table.row({1234.5, nan, 0});
    table.row({-0.25, std::copysign(nan, -1.0), 1});
    table.row({1e-9, std::numeric_limits<double>::infinity(), 12345});
    CHECK(!fs::exists(file));
    table.commit();
    CHECK(bytes_of(file) ==
          "time_s,depth_m,valid\n"
          "0.000000,0.012345679,1\n"
          "1234.500000,nan,0\n"
          "-0.250000,nan,1\n"
          "0.000000,inf,12345\n");
}

TEST_CASE("tables that readers would misread are refused") {
    const Folder folder("csv_refused");
    const fs::path file = folder.path / "x.csv";
    {
        CsvWriter table(file, {{"a"}, {"b"}});
        CHECK_THROWS_AS(table.row({1}), InvalidInput);
        CHECK_THROWS_AS(table.row({1, 2, 3}), InvalidInput);
    }
    for (const char* name : {"a,b", "a\nb", "a\"b"}) {
        CHECK_THROWS_AS(CsvWriter(file, {{name}}), InvalidInput);
    }
    for (const int decimals : {-1, 18}) {
        CHECK_THROWS_AS(CsvWriter(file, {{"a", decimals}}), InvalidInput);
    }
    CHECK_THROWS_AS(CsvWriter(folder.path / "none" / "x.csv", {{"a"}}), FileError);
    CHECK(fs::is_empty(folder.path));
}
