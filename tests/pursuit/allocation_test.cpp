// After its first run an engine works in the memory that it has.
#include <complex>
#include <cstddef>
#include <vector>

#include "echosieve/pursuit/fast_pursuit.hpp"
#include "echosieve/pursuit/pursue.hpp"
#include "echosieve/pursuit/swarm_pursuit.hpp"
#include "support/allocations.hpp"
#include "support/check.hpp"
#include "support/pursuit.hpp"

using namespace echosieve;
using namespace echosieve::test;
using Complex = std::complex<double>;

namespace {

// A conditioned gate of 5.2 us.
constexpr SamplingGrid base{20e-6, 125e6 / 15, 44, 4e6};
const GaborBox box = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 25.16e-6});

// Frames of noise on that grid.
template <class R>
std::vector<std::vector<std::complex<R>>> random_frames(std::size_t count) {
    std::vector<std::vector<std::complex<R>>> frames;
    for (std::size_t frame = 0; frame < count; ++frame) {
        RandomStream stream(9, frame);
        frames.emplace_back(base.count);
        for (std::complex<R>& sample : frames.back()) {
            sample = random_sample<std::complex<R>>(stream);
        }
    }
    return frames;
}

template <class Source>
std::size_t allocations_of_later_runs(Source& source, const auto& strategy, const Stop& stop) {
    using T = typename Source::sample_type;
    const auto samples = static_cast<std::size_t>(source.samples());
    std::vector<std::vector<T>> frames;
    for (std::uint64_t frame = 0; frame < 5; ++frame) {
        RandomStream stream(8, frame);
        frames.emplace_back(samples);
        for (T& sample : frames.back()) {
            sample = random_sample<T>(stream);
        }
    }
    PursuitEngine<Source> engine;
    typename PursuitEngine<Source>::Result result;
    engine.run(frames[0], source, strategy, stop, result);
    const std::size_t before = allocations;
    for (const auto& frame : frames) {
        engine.run(frame, source, strategy, stop, result);
    }
    const std::size_t after = allocations;
    REQUIRE(result.atoms.size() == strategy.atoms);
    return after - before;
}

template <class Source>
void check_no_allocation(Source& source) {
    CHECK(allocations_of_later_runs(source, Orthogonal{10}, Stop{}) == 0);
    CHECK(allocations_of_later_runs(source, Greedy{10}, Stop{}) == 0);
    // The threshold of a low variance, so that it is computed but stops nothing.
    CHECK(allocations_of_later_runs(source, Orthogonal{4}, {0, FalseAlarm{1e-9, 0.01}}) == 0);
}

}  // namespace

TEST_CASE("the counter counts") {
    const std::size_t before = allocations;
    // Called by name: a compiler may leave out the allocation of a container that nobody reads.
    void* const memory = ::operator new(100);
    const std::size_t between = allocations;
    const Eigen::VectorXd other = Eigen::VectorXd::Ones(100);
    const std::size_t after = allocations;
    ::operator delete(memory);
    CHECK(other.size() == 100);
    CHECK(between == before + 1);
#if defined(__GLIBC__) && !defined(ECHOSIEVE_TEST_SANITISED)
    CHECK(after == between + 1);
#else
    CHECK(after >= between);
#endif
}

TEST_CASE_TEMPLATE("pursuits over a matrix allocate nothing after the first", T, float, double,
                   std::complex<float>, Complex) {
    typename MatrixDictionary<T>::Matrix d(40, 120);
    RandomStream stream(3);
    for (Eigen::Index k = 0; k < d.cols(); ++k) {
        for (Eigen::Index i = 0; i < d.rows(); ++i) {
            d(i, k) = random_sample<T>(stream);
        }
        d.col(k).normalize();
    }
    MatrixDictionary<T> dictionary(d);
    check_no_allocation(dictionary);
}

TEST_CASE("pursuits of echoes allocate nothing after the first") {
    const SamplingGrid coarse{20e-6, 4e6, 40, 4e6};
    const SamplingGrid raw{20e-6, 25e6, 250, 0};
    const GaborBox wide = GaborBox::around({4e6, 1e6}, 0.10, {20e-6, 30e-6});
    EchoSource<Complex, GaussNewton> complex(coarse, wide, GaussNewton{}, 0);
    check_no_allocation(complex);
    EchoSource<std::complex<float>, GaussNewton> narrow(coarse, wide, GaussNewton{}, 0);
    check_no_allocation(narrow);
    EchoSource<double, GaussNewton> real(raw, wide, GaussNewton{}, 0);
    check_no_allocation(real);
    EchoSource<Complex, NoRefinement> unrefined(coarse, wide, NoRefinement{}, 0);
    check_no_allocation(unrefined);
}

TEST_CASE_TEMPLATE("the fast path allocates nothing once it is made", R, float, double) {
    FastPursuit<R> fast(base, box, {.polish = {}, .sweeps = 2, .stop = {}});
    FastPursuit<R> copy(fast);
    const auto frames = random_frames<R>(20);
    std::size_t atoms = 0;
    const std::size_t before = allocations;
    for (const auto& frame : frames) {  // the first among them
        atoms += fast.run(frame).atoms.size();
    }
    const std::size_t after = allocations;
    CHECK(after == before);
    CHECK(atoms == 200);
    // A copy makes room for points, atoms and energies at once.
    static_cast<void>(copy.run(frames[0]));
    CHECK(allocations - after <= 3);
    CHECK(copy.run(frames.back()).atoms == fast.result().atoms);
}

TEST_CASE_TEMPLATE("a pursuit by swarms in lanes allocates nothing once it is made", R, float,
                   double) {
    SwarmPursuit<R> pursuit(base, box, {.swarm = {.iterations = 20}, .stop = {}});
    const auto frames = random_frames<R>(5);
    std::size_t atoms = 0;
    const std::size_t before = allocations;
    for (const auto& frame : frames) {  // the first among them
        atoms += pursuit.run(frame, 7).atoms.size();
    }
    const std::size_t after = allocations;
    CHECK(after == before);
    CHECK(atoms == 50);
}

TEST_CASE_TEMPLATE("all memory of the fast path fits a first-level cache", R, float, double) {
    const std::size_t before = allocated_bytes;
    const FastPursuit<R> fast(base, box);
    const std::size_t taken =
        allocated_bytes - before + sizeof(fast);  // what it gave back included
    CHECK(fast.options().atoms == 10);
    CHECK(taken <= (std::same_as<R, float> ? 20 : 32) * std::size_t{1024});
}
