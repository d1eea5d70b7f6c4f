# Line coverage with gcc; afterwards: gcovr --filter src/ (Debian: gcovr).
#   cmake -C tests/presets/cover.cmake -S . -B build-cover -G Ninja
set(CMAKE_C_COMPILER gcc CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS_DEBUG "-O0 -g" CACHE STRING "")
set(CMAKE_C_FLAGS "--coverage" CACHE STRING "")
set(WHICHEND_HARDEN OFF CACHE BOOL "")
