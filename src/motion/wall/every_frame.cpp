#include "motion/wall/every_frame.hpp"

#include <Eigen/Core>

#include "motion/line/averaged_line.hpp"
#include "motion/wall/fit.hpp"
#include "motion/wall/shared_beliefs.hpp"

namespace echosieve {

SeparatedWalls at_every_frame(const LineHistory& line, const SeparatedWalls& averaged,
                              Eigen::Index length) {
    if (length == 1) {
        return averaged;
    }
    const Eigen::Index frames = line.frames();
    const auto course = [&](const Eigen::ArrayXd& means) {
        return course_of_means(means, frames, length);
    };
    SeparatedWalls out;
    out.times.pulse = course(averaged.times.pulse);
    out.times.bulk = course(averaged.times.bulk);
    out.times.weight = line.weights();
    out.times.sound_speed = averaged.times.sound_speed;
    out.times.lag = averaged.times.lag * static_cast<double>(length);
    const auto put = [&](const SeparatedWall& from, SeparatedWall& to) {
        to.state = from.state;
        to.wall_layers = from.wall_layers;
        to.reference = from.reference;
        to.doubt = from.doubt;
        to.evidence = from.evidence;
        to.mean_evidence = from.mean_evidence;
        to.tissue_linearity = from.tissue_linearity;
        to.tissue_line = from.tissue_line;
        if (from.state.own.size() > 0) {
            to.state.own = course(from.state.own);
        }
        to.layered.trust = from.layered.trust;
        to.layered.own_layers = from.layered.own_layers;
        to.layered.gate =
            wall_gate(line, to.state, out.times, separation_half_gate(line.settings.sensor));
        to.layered.fit = layered_fit(to.layered.gate, out.times,
                                     {from.layered.fit.shares, from.layered.fit.spectra,
                                      from.wall_layers, from.reference, 0},
                                     to.state.own);
        if (to.state.own.size() > 0) {
            to.layered.own = own_phasors(to.layered.gate, out.times, to.state.own);
        }
    };
    put(averaged.near, out.near);
    put(averaged.far, out.far);
    return out;
}

}  // namespace echosieve
