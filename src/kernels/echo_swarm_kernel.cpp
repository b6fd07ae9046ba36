// A particle swarm for one echo of a complex gate: a lane a particle.
#include "echo_swarm_kernel.hpp"

#include "echo_walk.hpp"
#include "vectors.hpp"

namespace echosieve::kernels {
namespace {

constexpr std::size_t lanes = Floats::size;
constexpr std::size_t together = particles_together;
constexpr std::size_t most_groups = most_particles / together;

// What fills no more than half a register is worked on four at a time.
using Quad = xsimd::make_sized_batch_t<float, 4>;

// Calls use(V{}, i) for vectors V of particles i, i + 1, ... until all of begin .. end - 1 are
// done.
template <class Use>
ECHOSIEVE_INLINE void visit(std::size_t begin, std::size_t end, Use use) {
    std::size_t i = begin;
    for (; i + lanes <= end; i += lanes) {
        use(Floats(), i);
    }
    if (end - i > lanes / 2) {
        use(Floats(), i);
        return;
    }
    for (; i < end; i += 4) {
        use(Quad(), i);
    }
}

// Arrivals, and the smallest root of the decay, of particles.
struct Range {
    float least, most, root;
};

template <class First>
ECHOSIEVE_INLINE float extreme_of(const float* x, std::size_t count, First first_of) {
    static_assert(together == 16);
    if (count == together) {
        const Quad four = first_of(first_of(load<Quad>(x), load<Quad>(x + 4)),
                                   first_of(load<Quad>(x + 8), load<Quad>(x + 12)));
        float left[4];
        store(four, left);
        return first_of(first_of(left[0], left[2]), first_of(left[1], left[3]));
    }
    float out = x[0];
    for (std::size_t i = 1; i < count; ++i) {
        out = first_of(out, x[i]);
    }
    return out;
}
ECHOSIEVE_INLINE float least_of(const float* x, std::size_t count) {
    return extreme_of(x, count, [](const auto& a, const auto& b) { return xsimd::min(a, b); });
}
ECHOSIEVE_INLINE float most_of(const float* x, std::size_t count) {
    return extreme_of(x, count, [](const auto& a, const auto& b) { return xsimd::max(a, b); });
}

// The samples that the atoms reach, from a centre in their middle: not in the arrivals', since the
// gate's ends cut many of them. No arrival may lie further from the centre than task.far.
ECHOSIEVE_INLINE Walk walk_for(const EchoSwarmTask& task, const Range& range) {
    const std::int32_t end = task.count - 1;
    const auto inside = [end](float x) {
        const std::int32_t n = static_cast<std::int32_t>(x);
        return n < 0 ? 0 : n > end ? end : n;
    };
    const float reach = task.reach / range.root;
    const std::int32_t first = inside(range.least - reach + 1.0F);
    const std::int32_t last = inside(range.most + reach);
    std::int32_t centre = (first + last) / 2;
    const std::int32_t lowest = inside(range.most - task.far + 1.0F);
    const std::int32_t highest = inside(range.least + task.far);
    centre = centre < lowest ? lowest : centre;
    centre = centre > highest ? highest : centre;
    return {centre, centre - first > last - centre ? centre - first : last - centre};
}

// Work memory: the atoms' parameters, and starts of their walks, vector by vector.
struct Work {
    float* arrival;
    float* rotation;
    float* root;
    float* start;

    ECHOSIEVE_INLINE explicit Work(const EchoSwarmTask& task)
        : arrival(task.work),
          rotation(task.work + task.stored),
          root(task.work + 2 * task.stored),
          start(task.work + 3 * task.stored) {}
};

ECHOSIEVE_INLINE void write_parameters(const EchoSwarmTask& task, const Work& work) {
    visit(0, task.particles, [&](auto v, std::size_t i) {
        using V = decltype(v);
        const float* const x = task.x + i;
        store(task.arrival + load<V>(x) * task.arrival_width, work.arrival + i);
        store(task.rotation + load<V>(x + task.stored) * task.rotation_width, work.rotation + i);
        store(task.root_decay + load<V>(x + 2 * task.stored) * task.root_decay_width,
              work.root + i);
    });
}

template <class V>
ECHOSIEVE_INLINE void write_start(const Walk& walk, const Work& work, std::size_t i) {
    const Start<V> start = start_of(walk, load<V>(work.arrival + i), load<V>(work.rotation + i),
                                    load<V>(work.root + i));
    float* const to = work.start + 7 * i;
    constexpr std::size_t n = V::size;
    store(start.ar, to);
    store(start.ai, to + n);
    store(start.cr, to + 2 * n);
    store(start.ci, to + 3 * n);
    store(start.right, to + 4 * n);
    store(start.left, to + 5 * n);
    store(start.growth, to + 6 * n);
}
template <class V>
ECHOSIEVE_INLINE V explained_from(const EchoSwarmTask& task, const Walk& walk, const Work& work,
                                  std::size_t i) {
    const float* const from = work.start + 7 * i;
    constexpr std::size_t n = V::size;
    const Start<V> start{load<V>(from),         load<V>(from + n),     load<V>(from + 2 * n),
                         load<V>(from + 3 * n), load<V>(from + 4 * n), load<V>(from + 5 * n),
                         load<V>(from + 6 * n)};
    return explained(task, walk, start);
}

// Particles first .. first + count - 1, too far apart for one walk: those near the first that is
// left together, until none is.
[[gnu::noinline]] void evaluate_scattered(const EchoSwarmTask& task, const Work& work,
                                          std::size_t first, std::size_t count) {
    const float* const arrivals = work.arrival + first;
    bool done[together] = {};
    for (std::size_t i = 0; i < count; ++i) {
        if (done[i]) {
            continue;
        }
        Range near{arrivals[i], arrivals[i], least_of(work.root + first, count)};
        for (std::size_t j = i + 1; j < count; ++j) {
            const float least = arrivals[j] < near.least ? arrivals[j] : near.least;
            const float most = arrivals[j] > near.most ? arrivals[j] : near.most;
            if (!done[j] && most - least <= task.widest) {
                near.least = least;
                near.most = most;
            }
        }
        const Walk walk = walk_for(task, near);
        float values[together];
        visit(0, count, [&](auto v, std::size_t j) {
            using V = decltype(v);
            write_start<V>(walk, work, first + j);
            store(explained_from<V>(task, walk, work, first + j), values + j);
        });
        for (std::size_t j = i; j < count; ++j) {
            if (!done[j] && arrivals[j] >= near.least && arrivals[j] <= near.most) {
                task.value[first + j] = values[j];
                done[j] = true;
            }
        }
    }
}

// The energies at the particles' places. The parts that don't wait for each other first, for all.
ECHOSIEVE_INLINE void evaluate(const EchoSwarmTask& task, const Work& work, Walk* walks) {
    write_parameters(task, work);
    for (std::size_t first = 0; first < task.particles; first += together) {
        const std::size_t left = task.particles - first;
        const std::size_t count = left < together ? left : together;
        const Range range{least_of(work.arrival + first, count),
                          most_of(work.arrival + first, count), least_of(work.root + first, count)};
        Walk& walk = walks[first / together];
        walk = walk_for(task, range);
        if (!(range.most - range.least <= task.widest)) {
            walk.steps = -1;
        }
    }
    visit(0, task.particles,
          [&](auto v, std::size_t i) { write_start<decltype(v)>(walks[i / together], work, i); });
    for (std::size_t first = 0; first < task.particles; first += together) {
        const std::size_t left = task.particles - first;
        const std::size_t count = left < together ? left : together;
        const Walk walk = walks[first / together];
        if (walk.steps < 0) {
            evaluate_scattered(task, work, first, count);
            continue;
        }
        visit(first, first + count, [&](auto v, std::size_t i) {
            store(explained_from<decltype(v)>(task, walk, work, i), task.value + i);
        });
    }
}

// xoshiro128++ of Blackman and Vigna 2021, one generator a lane.
template <class U>
ECHOSIEVE_INLINE U rotated(const U& x, int by) {
    return (x << by) | (x >> (32 - by));
}
template <class U>
struct Generators {
    U s[4];

    ECHOSIEVE_INLINE U operator()() {
        const U out = rotated(s[0] + s[3], 7) + s[0];
        const U t = s[1] << 9;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = rotated(s[3], 11);
        return out;
    }
};

// The best place that a particle has been told of.
template <class V>
struct Place {
    V x[3];
};
template <class V>
ECHOSIEVE_INLINE Place<V> told_by_neighbours(const EchoSwarmTask& task, std::size_t i) {
    const V before = load<V>(task.most + i - 1);
    const V after = load<V>(task.most + i + 1);
    const V self = load<V>(task.most + i);
    Place<V> out{};
    for (std::size_t k = 0; k < 3; ++k) {
        const float* const own = task.own + k * task.stored + i;
        const V nearer = xsimd::select(before > self, load<V>(own - 1), load<V>(own));
        out.x[k] = xsimd::select(after > xsimd::max(before, self), load<V>(own + 1), nearer);
    }
    return out;
}
template <class V>
ECHOSIEVE_INLINE Place<V> told_by_all(const EchoSwarmTask& task) {
    return {{V(task.best[0]), V(task.best[1]), V(task.best[2])}};
}

// v <- inertia v + c1 r1 (own - x) + c2 r2 (best - x);   x <- x + v, stopped by the bounds. The two
// random numbers are the halves of one, in steps of 2^-16.
template <class V>
ECHOSIEVE_INLINE void move(const EchoSwarmTask& task, const Place<V>& told, std::size_t first) {
    using U = UnsignedOf<V>;
    Generators<U> draw{};
    for (std::size_t k = 0; k < 4; ++k) {
        draw.s[k] = load<U>(task.random + k * task.stored + first);
    }
    for (std::size_t k = 0; k < 3; ++k) {
        const std::size_t at = k * task.stored + first;
        const U bits = draw();
        const V r1 = xsimd::to_float(bits_as<IntegersOf<V>>(bits >> 16));
        const V r2 = xsimd::to_float(bits_as<IntegersOf<V>>(bits & 0xFFFFU));
        const V from = load<V>(task.x + at);
        const V v = task.inertia * load<V>(task.v + at) +
                    ((task.own_pull * 0x1p-16F) * r1) * (load<V>(task.own + at) - from) +
                    ((task.best_pull * 0x1p-16F) * r2) * (told.x[k] - from);
        const V to = from + v;
        const V x = xsimd::min(xsimd::max(to, V(0.0F)), V(1.0F));
        store(x, task.x + at);
        store(xsimd::select(to == x, v, V(0.0F)), task.v + at);
    }
    for (std::size_t k = 0; k < 4; ++k) {
        store(draw.s[k], task.random + k * task.stored + first);
    }
}

ECHOSIEVE_INLINE void move_all(const EchoSwarmTask& task, bool local) {
    if (local) {
        visit(0, task.particles, [&](auto v, std::size_t i) {
            move(task, told_by_neighbours<decltype(v)>(task, i), i);
        });
    } else {
        visit(0, task.particles,
              [&](auto v, std::size_t i) { move(task, told_by_all<decltype(v)>(task), i); });
    }
}

// i, i + 1, ... lane by lane.
template <class V>
ECHOSIEVE_INLINE V particles_from(std::size_t i) {
    float numbers[V::size];
    for (std::size_t j = 0; j < V::size; ++j) {
        numbers[j] = static_cast<float>(i + j);
    }
    return load<V>(numbers);
}

// The particles' memories, and the best of them.
ECHOSIEVE_INLINE void remember(const EchoSwarmTask& task) {
    float largest[together];
    for (float& x : largest) {
        x = -1.0F;
    }
    visit(0, task.particles, [&](auto v, std::size_t i) {
        using V = decltype(v);
        V value = load<V>(task.value + i);
        if (i + V::size > task.particles) {
            value = xsimd::select(particles_from<V>(i) < static_cast<float>(task.particles), value,
                                  V(-1.0F));
        }
        const V most = load<V>(task.most + i);
        const auto better = value > most;
        const V now = xsimd::select(better, value, most);
        store(now, task.most + i);
        store(xsimd::max(load<V>(largest), now), largest);
        for (std::size_t k = 0; k < 3; ++k) {
            float* const own = task.own + k * task.stored + i;
            store(xsimd::select(better, load<V>(task.x + k * task.stored + i), load<V>(own)), own);
        }
    });
    const float most = most_of(largest, together);
    if (most > task.best[3]) {
        std::size_t i = 0;
        while (task.most[i] != most) {
            ++i;
        }
        for (std::size_t k = 0; k < 3; ++k) {
            task.best[k] = task.own[k * task.stored + i];
        }
        task.best[3] = most;
    }
}

}  // namespace

namespace ECHOSIEVE_KERNEL_SET {

void evaluate_echo_swarm(const EchoSwarmTask& task) noexcept {
    Walk walks[most_groups];
    evaluate(task, Work(task), walks);
}

void run_echo_swarm(const EchoSwarmTask& given) noexcept {
    const EchoSwarmTask task = given;
    const Work work(task);
    Walk walks[most_groups];
    for (std::size_t iteration = 0; iteration < task.iterations; ++iteration) {
        if (iteration > 0) {
            move_all(task, iteration <= task.local);
        }
        evaluate(task, work, walks);
        remember(task);
    }
}

}  // namespace ECHOSIEVE_KERNEL_SET
}  // namespace echosieve::kernels
