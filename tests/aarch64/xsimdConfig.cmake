# Of the headers in ECHOSIEVE_PLAIN_HEADERS: the system's own description of xsimd is for its own processor.
file(STRINGS ${ECHOSIEVE_PLAIN_HEADERS}/xsimd/config/xsimd_config.hpp lines REGEX "define XSIMD_VERSION_M[AI]")
string(REGEX REPLACE ".*MAJOR ([0-9]+).*MINOR ([0-9]+).*" "\\1.\\2" xsimd_VERSION "${lines}")
add_library(xsimd INTERFACE IMPORTED)
set_target_properties(xsimd PROPERTIES INTERFACE_INCLUDE_DIRECTORIES ${ECHOSIEVE_PLAIN_HEADERS})
