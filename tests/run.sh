#!/bin/sh
# Installs what the tests need on a bare Debian (root or sudo), builds, and runs every test.
#
#   sh tests/run.sh [--asan] [--fuzz SECONDS] [--sweep] [--bench] [--only REGEX]
#
#   --asan          first under clang's sanitizers, but for the slowest and the style checks
#   --fuzz SECONDS  afterwards, libFuzzer on each parser for so long
#   --sweep         also the long sweeps over faults and seeds
#   --bench         also the speed checks
#   --only REGEX    only tests whose name matches
set -eu
top=$(cd "$(dirname "$0")/.." && pwd)
. "$top/src/packages.sh"

asan=no fuzz= more= only=. status=0
while [ $# -gt 0 ]; do
  case $1 in
    --asan) asan=yes ;;
    --fuzz) fuzz=${2:?--fuzz needs seconds}; shift ;;
    --sweep) more="$more sweep" ;;
    --bench) more="$more bench" ;;
    --only) only=${2:?--only needs a pattern}; shift ;;
    *) sed -n '2,/^set/s/^# \{0,1\}//p' "$0" >&2; exit 64 ;;
  esac
  shift
done

log=$(mktemp)
trap 'rm -f "$log"' EXIT INT TERM

install_missing $BUILD_PACKAGES libcmocka-dev libumockdev-dev umockdev clang-format sigrok-cli gtkwave locales \
  libxml2-utils tidy dosfstools mtools
if [ "$(uname -m)" = x86_64 ]; then # a guest with a real kernel, for tests/usb/guest.sh
  install_missing qemu-system-x86 busybox-static cpio
  sh "$top/tests/usb/guest_kernel.sh" "$top/build-tests/tests/usb/guest" >"$log" 2>&1 ||
    { cat "$log"; echo "No kernel for a guest: the tests of USB inside a real kernel will be skipped."; }
fi
if [ "$asan" = yes ] || [ -n "$fuzz" ]; then
  install_missing clang libclang-rt-dev
fi

# run_tests FOLDER [CTEST OPTION]...: one more than there are processors, for those over USB live in real time and
# mostly sleep.
run_tests() {
  folder=$1
  shift
  (cd "$folder" && ctest --output-on-failure --no-tests=error -j "$(($(nproc) + 1))" -R "$only" "$@")
}

if [ "$asan" = yes ]; then
  build asan "$top/build-asan"
  echo "== under the address and undefined-behaviour sanitizers"
  run_tests "$top/build-asan" -LE 'style|slow' || status=1
fi
build release "$top/build-tests" -DWHICHEND_WERROR=ON
echo "== as released"
run_tests "$top/build-tests" || status=1
for kind in $more; do
  echo "== $kind"
  run_tests "$top/build-tests" -C "$kind" -L "$kind" || status=1
done
if [ -n "$fuzz" ]; then
  sh "$top/tests/fuzz/run_long.sh" "$fuzz" || status=1
fi
exit $status
