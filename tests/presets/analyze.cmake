# clang-tidy beside every compile, with the checks of .clang-tidy; a finding is an error.
#   cmake -C tests/presets/analyze.cmake -S . -B build-analyze -G Ninja
set(CMAKE_C_COMPILER clang CACHE STRING "")
set(CMAKE_C_CLANG_TIDY clang-tidy CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(WHICHEND_WERROR ON CACHE BOOL "")
set(WHICHEND_HARDEN OFF CACHE BOOL "")
set(WHICHEND_TESTS OFF CACHE BOOL "")
