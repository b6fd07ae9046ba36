# Kernels: a source *_kernel.cpp of a room is compiled for each instruction set, and the one to run is chosen at run time
# (echosieve/core/instruction_set.hpp, kernels/choose.hpp, kernels/vectors.hpp).

set(kernel_sets baseline)
set(kernel_flags_baseline "")
set(kernel_definitions "")
if(CMAKE_SYSTEM_PROCESSOR MATCHES "^(x86_64|AMD64|amd64)$" AND CMAKE_SIZEOF_VOID_P EQUAL 8)
  list(APPEND kernel_sets avx2 avx512)
  set(kernel_flags_avx2 -mavx2 -mfma)
  set(kernel_flags_avx512 -mavx2 -mfma -mavx512f -mavx512cd -mavx512bw -mavx512dq -mavx512vl)
  set(kernel_definitions ECHOSIEVE_KERNELS_OF_X86)
endif()
# For the tests.
set(ECHOSIEVE_KERNEL_SETS ${kernel_sets} CACHE INTERNAL "Instruction sets that the kernels are compiled for")

# echosieve_kernel_objects(<room> <file>...): object libraries echosieve_<room>_<set>.
function(echosieve_kernel_objects room)
  foreach(set ${kernel_sets})
    set(target echosieve_${room}_${set})
    add_library(${target} OBJECT ${ARGN})
    echosieve_compiled_objects(${target})
    target_compile_features(${target} PRIVATE cxx_std_20)
    target_include_directories(${target} PRIVATE ${PROJECT_SOURCE_DIR}/include ${PROJECT_SOURCE_DIR}/src)
    target_include_directories(${target} SYSTEM PRIVATE ${xsimd_headers})
    target_link_libraries(${target} PRIVATE echosieve_development)
    # xsimd's functions by a name of each set's own: those that are not inlined would be merged.
    target_compile_definitions(${target} PRIVATE ${kernel_definitions} ECHOSIEVE_KERNEL_SET=${set}
                               xsimd=echosieve_xsimd_${set})
    # Optimised in every build: unoptimised vector code is slower than none. No contraction: the same bits in all sets.
    target_compile_options(${target} PRIVATE -O3 -ffp-contract=off -fno-fast-math -fno-exceptions -fno-math-errno
                           # g++ 12 warns of its own AVX-512 header.
                           $<$<CXX_COMPILER_ID:GNU>:-Wno-uninitialized -Wno-maybe-uninitialized>
                           ${kernel_flags_${set}})
  endforeach()
endfunction()
