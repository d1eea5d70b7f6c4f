# Everyday work: gcc, no optimisation, warnings are errors.
#   cmake -C tests/presets/dev.cmake -S . -B build-dev -G Ninja
set(CMAKE_C_COMPILER gcc CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS_DEBUG "-O0 -g" CACHE STRING "")
set(WHICHEND_WERROR ON CACHE BOOL "")
