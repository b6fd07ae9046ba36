# echosieve_compiled_room(<room> <folder>...): the library echosieve_<room> of the sources in these folders, kernels
# (*_kernel.cpp, see kernel_objects.cmake) once for each instruction set.
#
# A user's program has compiler flags of its own, and where those change how Eigen lays out or allocates an array, no
# code of the user's may run in the library's place or the other way round. Two things see to that. What the public
# headers of compiled rooms show is laid out alike whatever the flags (include/echosieve/core/detail/api.hpp). And a library
# keeps to itself all that it does not mean to show: its functions are hidden but for those marked ECHOSIEVE_API, and
# the hidden ones are made local, so that the linker can't merge an inline function or template, Eigen's, std's or our
# own headers', with the user's copy of it.
#
# A static library is therefore one object, linked beforehand (ld -r) without its groups of mergeable sections and
# with its hidden symbols made local (objcopy). echosieve_<room>_objects are the objects as they come from the
# compiler: the tests of what is inside link those.

# The numerics are an order of magnitude slower unoptimised: in a user's project nobody should get that by forgetting
# a flag.
get_property(multi_config GLOBAL PROPERTY GENERATOR_IS_MULTI_CONFIG)
string(TOUPPER "${CMAKE_BUILD_TYPE}" build_type)
set(ECHOSIEVE_OPTIMISATION "")
if(NOT multi_config AND NOT build_type STREQUAL "DEBUG"
   AND NOT "${CMAKE_CXX_FLAGS} ${CMAKE_CXX_FLAGS_${build_type}}" MATCHES "(^| )-O")
  set(ECHOSIEVE_OPTIMISATION -O2 -DNDEBUG)
  message(STATUS "echosieve: its compiled libraries are optimised (-O2), though the build type "
                 "'${CMAKE_BUILD_TYPE}' is not; Debug leaves them as it leaves your own files")
endif()

# A GNU unique symbol is merged even where it is hidden; link-time optimisation would leave nothing to be joined.
set(ECHOSIEVE_OWN -fno-lto)
if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
  list(APPEND ECHOSIEVE_OWN -fno-gnu-unique)
endif()

# What is made local: all that is hidden, and the copies of std's functions, tables and statics, which g++ shows. With
# those the numbers would hang on a user's -ffast-math.
set(ECHOSIEVE_LOCAL --localize-hidden --wildcard)
foreach(std _ZNS* _ZNKS* _ZSt* _ZT[ISV]St* _ZT[ISV]NSt* _ZZNS* _ZZNKS* _ZZSt* _ZGV* _ZN9__gnu_cxx* _ZNK9__gnu_cxx*)
  list(APPEND ECHOSIEVE_LOCAL --localize-symbol=${std})
endforeach()

# Of the linkers some can't join (lld, which CMake takes for clang where it is installed); GNU's can.
if(CMAKE_LINKER MATCHES "lld")
  find_program(ECHOSIEVE_JOINER NAMES ld.bfd)
  mark_as_advanced(ECHOSIEVE_JOINER)
endif()
if(NOT ECHOSIEVE_JOINER)
  set(ECHOSIEVE_JOINER ${CMAKE_LINKER})
endif()

# Tries it out.
function(echosieve_try_localising answer)
  set(scratch ${CMAKE_CURRENT_BINARY_DIR}/CMakeFiles/localising)
  file(WRITE ${scratch}/try.cpp "inline int echosieve_inner(int x) { static int sum; return sum += x; }
[[gnu::visibility(\"default\")]] int echosieve_outer(int x);
int echosieve_outer(int x) { return echosieve_inner(x); }\n")
  separate_arguments(flags UNIX_COMMAND "${CMAKE_CXX_FLAGS}")
  set(fault "")
  foreach(step "${CMAKE_CXX_COMPILER};${flags};-O0;-fPIC;-fvisibility=hidden;${ECHOSIEVE_OWN};-c;try.cpp;-o;try.o"
               "${ECHOSIEVE_JOINER};-r;--force-group-allocation;try.o;-o;joined.o"
               "${CMAKE_OBJCOPY};${ECHOSIEVE_LOCAL};joined.o" "${CMAKE_NM};--extern-only;--defined-only;joined.o")
    execute_process(COMMAND ${step} WORKING_DIRECTORY ${scratch} RESULT_VARIABLE result
                    OUTPUT_VARIABLE shown ERROR_VARIABLE error)
    if(NOT result EQUAL 0)
      set(fault "${step}: ${result} ${error}")
      break()
    endif()
  endforeach()
  if(NOT fault AND (shown MATCHES "echosieve_inner" OR NOT shown MATCHES "echosieve_outer"))
    set(fault "joined.o shows ${shown}")
  endif()
  set(${answer} "${fault}" PARENT_SCOPE)
endfunction()

set(can_localise FALSE)
if(BUILD_SHARED_LIBS)
  # A shared library binds what it calls to its own.
elseif("${CMAKE_CXX_FLAGS} ${CMAKE_CXX_FLAGS_${build_type}}" MATCHES "-fsanitize|-fprofile|--coverage")
  # Instruments keep tables in sections that only a whole program may join. Such builds are for our own tests.
  message(STATUS "echosieve: instrumented, so the static libraries show what they hold")
else()
  echosieve_try_localising(fault)
  if(fault)
    message(WARNING "echosieve: linker and objcopy can't make a library's own functions local. Programs that use the "
                    "static libraries must be compiled with those flags that change how Eigen lays out its arrays, "
                    "such as -march, as the libraries are. Shared libraries (BUILD_SHARED_LIBS) have no such limit. "
                    "What failed: ${fault}")
  else()
    set(can_localise TRUE)
  endif()
endif()
set(ECHOSIEVE_LOCALISES ${can_localise} CACHE INTERNAL "Static libraries keep what they do not mean to show to themselves")

# What all of the library's own objects share.
function(echosieve_compiled_objects target)
  set_target_properties(${target} PROPERTIES POSITION_INDEPENDENT_CODE ON CXX_EXTENSIONS OFF
                        CXX_VISIBILITY_PRESET hidden VISIBILITY_INLINES_HIDDEN ON INTERPROCEDURAL_OPTIMIZATION OFF)
  target_compile_options(${target} PRIVATE ${ECHOSIEVE_OPTIMISATION} ${ECHOSIEVE_OWN})
endfunction()

# Sources compiled together: fewer, and one core waits for the other; more, and memory passes a gigabyte.
set(ECHOSIEVE_UNITY_SIZE 8)

function(echosieve_compiled_room room)
  set(target echosieve_${room})
  list(TRANSFORM ARGN REPLACE "(.+)" "${CMAKE_CURRENT_SOURCE_DIR}/\\1/*.cpp" OUTPUT_VARIABLE patterns)
  file(GLOB sources CONFIGURE_DEPENDS ${patterns})
  set(kernels ${sources})
  list(FILTER kernels INCLUDE REGEX "_kernel\\.cpp$")
  list(FILTER sources EXCLUDE REGEX "_kernel\\.cpp$")
  add_library(${target}_objects OBJECT ${sources})
  echosieve_compiled_objects(${target}_objects)
  if(ECHOSIEVE_UNITY)  # never kernels: each has constants of its own lanes
    set_target_properties(${target}_objects PROPERTIES UNITY_BUILD ON UNITY_BUILD_BATCH_SIZE ${ECHOSIEVE_UNITY_SIZE})
  endif()
  target_compile_definitions(${target}_objects PRIVATE ${kernel_definitions})
  target_include_directories(${target}_objects PUBLIC ${CMAKE_CURRENT_FUNCTION_LIST_DIR})
  target_link_libraries(${target}_objects PUBLIC echosieve PRIVATE echosieve_development)
  set(objects $<TARGET_OBJECTS:${target}_objects>)
  if(kernels)
    echosieve_kernel_objects(${room} ${kernels})
    foreach(set ${kernel_sets})
      list(APPEND objects $<TARGET_OBJECTS:${target}_${set}>)
      target_sources(${target}_objects INTERFACE $<TARGET_OBJECTS:${target}_${set}>)
    endforeach()
  endif()
  if(BUILD_SHARED_LIBS)
    add_library(${target} SHARED ${objects})
    set_target_properties(${target} PROPERTIES VERSION ${PROJECT_VERSION} INSTALL_RPATH $ORIGIN
                          SOVERSION ${PROJECT_VERSION_MAJOR}.${PROJECT_VERSION_MINOR})
    target_link_options(${target} PRIVATE LINKER:-Bsymbolic)
  elseif(ECHOSIEVE_LOCALISES)
    set(folder ${CMAKE_CURRENT_BINARY_DIR}/joined/$<CONFIG>)
    add_custom_command(OUTPUT ${folder}/${target}.o
      COMMAND ${CMAKE_COMMAND} -E make_directory ${folder}
      COMMAND ${ECHOSIEVE_JOINER} -r --force-group-allocation -o ${folder}/${target}.o ${objects}
      COMMAND ${CMAKE_OBJCOPY} ${ECHOSIEVE_LOCAL} ${folder}/${target}.o
      DEPENDS ${objects} COMMAND_EXPAND_LISTS VERBATIM COMMENT "Joining the objects of ${target}")
    add_library(${target} STATIC ${folder}/${target}.o)
  else()
    add_library(${target} STATIC ${objects})
  endif()
  add_library(echosieve::${room} ALIAS ${target})
  set_target_properties(${target} PROPERTIES EXPORT_NAME ${room} LINKER_LANGUAGE CXX)
  target_link_libraries(${target} PUBLIC echosieve)
endfunction()

# The ECHOSIEVE_LAYOUT (core/detail/layout.hpp) of files compiled with the flags of this folder; empty if the compiler does not
# say, and then no file takes the compiled pursuits for its own.
function(echosieve_find_layout result)
  separate_arguments(flags UNIX_COMMAND "${CMAKE_CXX_FLAGS} ${CMAKE_CXX_FLAGS_${build_type}}")
  get_directory_property(options COMPILE_OPTIONS)
  get_directory_property(definitions COMPILE_DEFINITIONS)
  list(TRANSFORM definitions PREPEND -D)
  list(APPEND flags ${options} ${definitions})
  list(FILTER flags EXCLUDE REGEX "\\$<")
  if(CMAKE_CXX_COMPILER_TARGET)
    list(APPEND flags --target=${CMAKE_CXX_COMPILER_TARGET})
  endif()
  if(CMAKE_SYSROOT)
    list(APPEND flags --sysroot=${CMAKE_SYSROOT})
  endif()
  get_target_property(eigen Eigen3::Eigen INTERFACE_INCLUDE_DIRECTORIES)
  list(TRANSFORM eigen REPLACE "\\$<BUILD_INTERFACE:([^>]*)>" "\\1")
  list(FILTER eigen EXCLUDE REGEX "\\$<")
  list(TRANSFORM eigen PREPEND -I)
  set(file ${CMAKE_CURRENT_BINARY_DIR}/CMakeFiles/layout.cpp)
  file(WRITE ${file} "#include \"echosieve/core/detail/layout.hpp\"\nlayout = ECHOSIEVE_LAYOUT\n")
  execute_process(COMMAND ${CMAKE_CXX_COMPILER} ${flags} -std=c++20 ${eigen} -I${PROJECT_SOURCE_DIR}/include -E -P
                          ${file} OUTPUT_VARIABLE shown ERROR_VARIABLE error)
  set(layout "")
  if(shown MATCHES "layout = ([-+*/() 0-9]+)")
    math(EXPR layout "${CMAKE_MATCH_1}")
  else()
    message(STATUS "echosieve: the compiler does not say how it lays out Eigen's types, so every file makes the "
                   "pursuits that it uses: ${error}")
  endif()
  set(${result} "${layout}" PARENT_SCOPE)
endfunction()
