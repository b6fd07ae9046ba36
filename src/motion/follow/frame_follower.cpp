#include "echosieve/motion/frame_follower.hpp"

#include <algorithm>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "echosieve/condition/baseband.hpp"
#include "echosieve/condition/detail/pinned_samples.hpp"
#include "echosieve/condition/frame_check.hpp"
#include "echosieve/core/error.hpp"
#include "echosieve/motion/learned_walls.hpp"
#include "motion/follow/wall_filter.hpp"

namespace echosieve {

template <class T>
struct FrameFollower<T>::State {
    State(const LearnedWalls& walls, const FollowerOptions& options)
        : basebander(walls.settings, walls.samples, walls.baseband),
          filter(walls, basebander.grid(), options),
          low(walls.lowest),
          high(walls.highest),
          most_pinned(static_cast<double>(walls.pinned) +
                      options.clipped_fraction * static_cast<double>(walls.samples)),
          frame_rate(walls.settings.frame_rate),
          before(walls.samples),
          line(basebander.grid().count) {}

    [[nodiscard]] FrameState look_at(std::span<const T> frame) const {
        if (!detail::all_finite(frame)) {
            return FrameState::not_finite;
        }
        if (pushed > 0 && std::equal(frame.begin(), frame.end(), before.begin())) {
            return out.state == FrameState::dropped ? FrameState::dropped : FrameState::frozen;
        }
        return static_cast<double>(detail::pinned_samples(frame, low, high)) > most_pinned
                   ? FrameState::clipped
                   : FrameState::good;
    }

    Basebander<float> basebander;
    detail::WallFilter filter;
    double low;
    double high;
    double most_pinned;
    double frame_rate;
    std::size_t pushed = 0;
    std::vector<T> before;
    std::vector<std::complex<float>> line;
    FollowedFrame out;
};

template <class T>
void FrameFollower<T>::make(const LearnedWalls& walls, const FollowerOptions& options) {
    state_.reset(new State(walls, options));
}

template <class T>
void FrameFollower<T>::Release::operator()(State* state) const noexcept {
    delete state;
}

template <class T>
const FollowedFrame& FrameFollower<T>::push(std::span<const T> frame) {
    State& s = *state_;
    if (frame.size() != s.before.size()) {  // no text is made in a good run
        require(false, "samples of the frame", frame.size(),
                detail::concatenate("must be ", s.before.size()));
    }
    const FrameState state = s.look_at(frame);
    if (state == FrameState::good) {
        s.basebander.process(frame, std::span<std::complex<float>>(s.line));
    }
    std::copy(frame.begin(), frame.end(), s.before.begin());
    s.out.motion.time = static_cast<double>(s.pushed++) / s.frame_rate;
    s.filter.step(s.line, state, s.out);
    return s.out;
}

template <class T>
std::size_t FrameFollower<T>::pushed() const noexcept {
    return state_->pushed;
}

template class FrameFollower<std::int16_t>;
template class FrameFollower<float>;

}  // namespace echosieve
