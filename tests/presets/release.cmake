# What people run: optimised, hardened, with debug information; asserts hold here too.
#   cmake -C tests/presets/release.cmake -S . -B build -G Ninja
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "")
set(WHICHEND_HARDEN ON CACHE BOOL "")
