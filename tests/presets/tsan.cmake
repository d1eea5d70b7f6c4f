# clang's thread sanitizer, for whatever runs beside the main thread.
#   cmake -C tests/presets/tsan.cmake -S . -B build-tsan -G Ninja
set(CMAKE_C_COMPILER clang CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS_DEBUG "-O1 -g -fno-omit-frame-pointer" CACHE STRING "")
set(CMAKE_C_FLAGS "-fsanitize=thread" CACHE STRING "")
set(WHICHEND_HARDEN OFF CACHE BOOL "")
