# libFuzzer with the sanitizers of asan.cmake; tests/fuzz/run_long.sh uses it.
#   cmake -C tests/presets/fuzz.cmake -S . -B build-fuzz -G Ninja
set(CMAKE_C_COMPILER clang CACHE STRING "")
set(CMAKE_BUILD_TYPE Debug CACHE STRING "")
set(CMAKE_C_FLAGS_DEBUG "-O1 -g -fno-omit-frame-pointer" CACHE STRING "")
set(CMAKE_C_FLAGS
  "-fsanitize=address,undefined,float-cast-overflow -fno-sanitize-recover=all -fsanitize=fuzzer-no-link"
  CACHE STRING "")
set(WHICHEND_FUZZ ON CACHE BOOL "")
set(WHICHEND_HARDEN OFF CACHE BOOL "")
