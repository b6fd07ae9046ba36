# Configures, builds and runs the user's project in this folder, in a scratch folder of the build tree.
# WAY: installed     install the library under a scratch prefix, then find_package
#      subdirectory  add_subdirectory; the user's compiler flags must stay the user's
#      warnings      add_subdirectory, every public header under the user's own warnings, as errors
set(scratch ${LIBRARY_BINARY}/consumer/${WAY})
# The installed files are made anew, with the time stamps of their sources; a build that has nothing to do
# then takes no time.
file(REMOVE_RECURSE ${scratch}/prefix)

function(run)
  execute_process(COMMAND ${ARGN} RESULT_VARIABLE result)
  if(NOT result EQUAL 0)
    list(JOIN ARGN " " line)
    message(FATAL_ERROR "failed (${result}): ${line}")
  endif()
endfunction()

if(WAY STREQUAL "installed")
  run(${CMAKE_COMMAND} --install ${LIBRARY_BINARY} --prefix ${scratch}/prefix)
  set(found -DCMAKE_PREFIX_PATH=${scratch}/prefix)
  # Nothing may point back into the source or build tree.
  file(GLOB_RECURSE package ${scratch}/prefix/*.cmake)
  foreach(file ${package})
    file(READ ${file} text)
    string(FIND "${text}" "${LIBRARY_SOURCE}/include" position)
    if(NOT position EQUAL -1)
      message(FATAL_ERROR "${file} names the headers of the source tree ${LIBRARY_SOURCE}")
    endif()
  endforeach()
endif()

run(${CMAKE_COMMAND} -S ${CMAKE_CURRENT_LIST_DIR} -B ${scratch}/build -G ${GENERATOR}
    -DWAY=${WAY} -DLIBRARY_SOURCE=${LIBRARY_SOURCE} -DCMAKE_CXX_COMPILER=${COMPILER}
    -DCMAKE_CXX_FLAGS=${FLAGS} -DCMAKE_CXX_COMPILER_LAUNCHER=${LAUNCHER}
    -DCMAKE_BUILD_TYPE=Debug -DCMAKE_CXX_FLAGS_DEBUG=-O0 -DCMAKE_EXPORT_COMPILE_COMMANDS=ON ${found})

if(WAY STREQUAL "subdirectory")
  file(READ ${scratch}/build/compile_commands.json commands)
  string(JSON last LENGTH "${commands}")
  math(EXPR last "${last} - 1")
  set(seen FALSE)
  foreach(index RANGE ${last})
    string(JSON source GET "${commands}" ${index} file)
    string(JSON command GET "${commands}" ${index} command)
    # The project's own FLAGS may hold warnings; they are not ours.
    if(source MATCHES "/consumer\\.cpp$")
      set(seen TRUE)
      if(NOT FLAGS MATCHES "-W" AND command MATCHES " -W| -O[123s]| -march")
        message(FATAL_ERROR "flags leak into the user's file: ${command}")
      endif()
    elseif(source MATCHES "/(tests|examples|bench)/" AND NOT source MATCHES "[/]tests/consumer/")
      message(FATAL_ERROR "built in a user's project: ${source}")
    endif()
  endforeach()
  if(NOT seen)
    message(FATAL_ERROR "consumer.cpp is not among the compile commands")
  endif()
endif()

if(WAY STREQUAL "warnings")
  run(${CMAKE_COMMAND} --build ${scratch}/build --target everything)
else()
  run(${CMAKE_COMMAND} --build ${scratch}/build)
  run(${scratch}/build/consumer)
  foreach(program compiled header_only)
    execute_process(COMMAND ${scratch}/build/${program} RESULT_VARIABLE result OUTPUT_VARIABLE ${program})
    if(NOT result EQUAL 0 OR NOT ${program} MATCHES "^${program}\n(.*)$")
      message(FATAL_ERROR "${program} failed (${result}): ${${program}}")
    endif()
    set(${program} "${CMAKE_MATCH_1}")
  endforeach()
  if(NOT compiled STREQUAL header_only)
    message(STATUS "The compiled pursuits gave\n${compiled}and those of the headers\n${header_only}")
    message(FATAL_ERROR "they differ")
  endif()
endif()
