# What the scripts that build users' projects share: consumer, snippets.

function(run)
  execute_process(COMMAND ${ARGN} RESULT_VARIABLE result)
  if(NOT result EQUAL 0)
    list(JOIN ARGN " " line)
    message(FATAL_ERROR "failed (${result}): ${line}")
  endif()
endfunction()

# The installed files are made anew, with the time stamps of their sources; a build that has nothing to do then takes
# no time.
function(install_library prefix)
  file(REMOVE_RECURSE ${prefix})
  run(${CMAKE_COMMAND} --install ${LIBRARY_BINARY} --prefix ${prefix})
endfunction()

# The user's project in `folder`, configured with further arguments.
function(configure folder)
  run(${CMAKE_COMMAND} -S ${CMAKE_CURRENT_FUNCTION_LIST_DIR} -B ${folder} -G ${GENERATOR}
      -DWAY=${WAY} -DLIBRARY_SOURCE=${LIBRARY_SOURCE} -DCMAKE_CXX_COMPILER_LAUNCHER=${LAUNCHER} ${ARGN})
endfunction()
