// Optimisers of one's own: a line each. Here the one of examples/own_optimiser.cpp.
#include "../../examples/own_optimiser/compass_search.hpp"
#include "method.hpp"

namespace bench {

std::vector<Method> own_methods() {
    std::vector<Method> out;
    out.push_back(enter("CompassSearch", "200 iterations, from random points", CompassSearch{},
                        Start::random_point));
    out.back().library = "example";  // whose it is, in the report
    return out;
}

}  // namespace bench
