// By how much a layer of echoes follows the two time courses that the whole line shares.
#pragma once

namespace echosieve {

/// A layer moves by a p + b q: p is the pulse, of range 1, q the bulk motion [m].
struct LayerShare {
    double pulse = 0;  ///< a [m]
    double bulk = 1;   ///< b
};

}  // namespace echosieve
