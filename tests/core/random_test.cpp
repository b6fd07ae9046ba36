#include "echosieve/core/random.hpp"

#include "support/check.hpp"

using namespace echosieve;

// Known answers of the authors' own distribution of Philox4x32-10 (Salmon et al. 2011), from
// memory.
TEST_CASE("philox gives the published known answers") {
    using Block = std::array<std::uint32_t, 4>;
    CHECK(philox4x32({0, 0, 0, 0}, {0, 0}) ==
          Block{0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8});
    CHECK(philox4x32({0xffffffff, 0xffffffff, 0xffffffff, 0xffffffff}, {0xffffffff, 0xffffffff}) ==
          Block{0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd});
    CHECK(philox4x32({0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344}, {0xa4093822, 0x299f31d0}) ==
          Block{0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1});
}
