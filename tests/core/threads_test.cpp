// The work is done once an item, on so many threads as asked and no more, whatever goes wrong.
#include "echosieve/core/threads.hpp"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstddef>
#include <latch>
#include <mutex>
#include <set>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "support/check.hpp"

using namespace echosieve;

namespace {

const std::size_t thread_counts[] = {1, 2, 4, 64};

// Which item number fails first; what() of what comes through, "" if nothing does.
template <class Loop>
std::string problem_of(Loop loop) {
    try {
        loop();
    } catch (const std::runtime_error& error) {
        return error.what();
    }
    return "";
}

void fail_at(std::size_t k, const std::set<std::size_t>& bad) {
    if (bad.contains(k)) {
        throw std::runtime_error(std::to_string(k));
    }
}

}  // namespace

TEST_CASE("parts cover the items once, in order, none longer than another by more than one") {
    for (const std::size_t threads : thread_counts) {
        for (const std::size_t count :
             {std::size_t{1}, std::size_t{2}, std::size_t{3}, std::size_t{63}, std::size_t{1000}}) {
            CAPTURE(threads);
            CAPTURE(count);
            std::mutex mutex;
            std::vector<std::pair<std::size_t, std::size_t>> parts;
            for_each_part(count, threads, [&](std::size_t first, std::size_t end) {
                const std::lock_guard lock(mutex);
                parts.emplace_back(first, end);
            });
            std::ranges::sort(parts);
            REQUIRE(parts.size() == std::min(threads, count));
            std::size_t next = 0;
            for (const auto& [first, end] : parts) {
                CHECK(first == next);
                CHECK(end - first >= count / parts.size());
                CHECK(end - first <= count / parts.size() + 1);
                next = end;
            }
            CHECK(next == count);
        }
    }
}

TEST_CASE("every item is worked on once") {
    for (const std::size_t threads : thread_counts) {
        CAPTURE(threads);
        std::vector<int> calls(500, 0);
        for_each_item(calls.size(), threads, [&](std::size_t k) { ++calls[k]; });
        CHECK(std::ranges::count(calls, 1) == 500);
    }
}

TEST_CASE("nothing is called for no items, and one thread is the caller's own") {
    for (const std::size_t threads : thread_counts) {
        bool called = false;
        for_each_part(0, threads, [&](std::size_t, std::size_t) { called = true; });
        for_each_item(0, threads, [&](std::size_t) { called = true; });
        CHECK_FALSE(called);
    }
    const auto own = std::this_thread::get_id();
    for_each_part(10, 1,
                  [&](std::size_t, std::size_t) { CHECK(std::this_thread::get_id() == own); });
    for_each_item(10, 1, [&](std::size_t) { CHECK(std::this_thread::get_id() == own); });
    for_each_part(1, 8,
                  [&](std::size_t, std::size_t) { CHECK(std::this_thread::get_id() == own); });
}

TEST_CASE("as many threads as asked for work at the same time") {
    // Each waits for the others: with fewer the test would never end.
    std::latch all(4);
    std::atomic<int> met = 0;
    for_each_part(4, 4, [&](std::size_t, std::size_t) {
        all.arrive_and_wait();
        ++met;
    });
    CHECK(met == 4);
    std::latch again(3);
    for_each_item(3, 3, [&](std::size_t) { again.arrive_and_wait(); });
}

TEST_CASE("the exception of the first item that fails comes through, whatever the threads") {
    const std::set<std::size_t> bad{37, 38, 61, 99};
    for (const std::size_t threads : thread_counts) {
        CAPTURE(threads);
        CHECK(problem_of([&] {
                  for_each_item(100, threads, [&](std::size_t k) { fail_at(k, bad); });
              }) == "37");
        CHECK(problem_of([&] {
                  for_each_part(100, threads, [&](std::size_t first, std::size_t end) {
                      for (std::size_t k = first; k < end; ++k) {
                          fail_at(k, bad);
                      }
                  });
              }) == "37");
    }
    // The loop serves again afterwards.
    std::atomic<int> done = 0;
    for_each_item(10, 4, [&](std::size_t) { ++done; });
    CHECK(done == 10);
}

TEST_CASE("of two items that both fail the first's exception comes through, whichever is later") {
    for (const std::size_t later : {0U, 1U}) {
        CAPTURE(later);
        std::latch both(2);
        CHECK(problem_of([&] {
                  for_each_item(2, 2, [&](std::size_t k) {
                      both.arrive_and_wait();
                      if (k == later) {
                          // Long enough for the other to have failed.
                          std::this_thread::sleep_for(std::chrono::milliseconds(50));
                      }
                      fail_at(k, {0, 1});
                  });
              }) == "0");
    }
}

TEST_CASE("after an exception no further items are begun") {
    std::atomic<std::size_t> begun = 0;
    CHECK(problem_of([&] {
              for_each_item(1'000'000, 1, [&](std::size_t k) {
                  ++begun;
                  fail_at(k, {5});
              });
          }) == "5");
    CHECK(begun == 6);
}

TEST_CASE("threads must be 1 to 1024") {
    const auto nothing = [](std::size_t) {};
    CHECK_THROWS_WITH_AS(for_each_item(3, 0, nothing), "threads = 0: must lie in 1 to 1024",
                         InvalidInput);
    CHECK_THROWS_AS(for_each_item(3, 1025, nothing), InvalidInput);
    CHECK_THROWS_AS(for_each_part(3, 0, [](std::size_t, std::size_t) {}), InvalidInput);
}
