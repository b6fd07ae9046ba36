// An optimiser of one's own: steps along each coordinate, halved when none helps (compass search).
// Any type with such a minimise() const plugs into minimise(), the pursuit and the bench.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "echosieve/optimise/concept.hpp"

struct CompassSearch {
    std::size_t iterations = 200;
    double step = 0.25;  // at the start, in box widths

    template <class F, echosieve::Real R, class Watch>
    echosieve::OptimiseResult<R> minimise(F& objective, const echosieve::Box<R>& box, std::uint64_t,
                                          std::span<const R> start, Watch& observer) const {
        using namespace echosieve;
        OptimiseResult<R> result;
        std::vector<R> x(box.dimension());
        for (std::size_t k = 0; k < x.size(); ++k) {
            const R centre = box.lower(k) + box.width(k) / 2;
            x[k] = std::clamp(start.empty() ? centre : start[k], box.lower(k), box.upper(k));
        }
        const auto evaluate = [&](std::span<const R> at) {
            const R value = static_cast<R>(objective(at));
            ++result.evaluations;
            result.non_finite += is_finite(value) ? 0 : 1;
            if (is_finite(value) && value < result.value) {
                result.value = value;
                result.x.assign(at.begin(), at.end());
                return true;
            }
            return false;
        };
        static_cast<void>(evaluate(x));
        R part = static_cast<R>(step);
        for (; result.iterations < iterations; ++result.iterations) {
            if (observer(Progress<R>{result.iterations, result.evaluations, result.value, x}) !=
                Control::go_on) {
                result.status = OptimiseStatus::stopped;
                return result;
            }
            bool better = false;
            for (std::size_t k = 0; k < x.size() && !better; ++k) {
                for (const R sign : {R(-1), R(1)}) {
                    const R here = x[k];
                    x[k] =
                        std::clamp(here + sign * part * box.width(k), box.lower(k), box.upper(k));
                    better = evaluate(x);
                    if (better) {
                        break;
                    }
                    x[k] = here;
                }
            }
            part = better ? part : part / 2;
        }
        result.status =
            result.x.empty() ? OptimiseStatus::no_finite_value : OptimiseStatus::iteration_limit;
        return result;
    }
};
