# clang's address and undefined-behaviour sanitizers; the first finding ends the run.
#   cmake -C tests/presets/asan.cmake -S . -B build-asan -G Ninja
set(CMAKE_C_COMPILER clang CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS_DEBUG "-O1 -g -fno-omit-frame-pointer" CACHE STRING "")
set(CMAKE_C_FLAGS
  "-fsanitize=address,undefined,float-cast-overflow -fno-sanitize-recover=all"
  CACHE STRING "")
set(WHICHEND_HARDEN OFF CACHE BOOL "")
