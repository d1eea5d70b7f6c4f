# Sourced by src/try.sh and tests/run.sh: Debian packages, and steps that are quiet unless they fail.

# What building the program takes.
BUILD_PACKAGES="gcc libc6-dev cmake ninja-build pkg-config zlib1g-dev libinih-dev libjansson-dev libusb-1.0-0-dev"

die() {
  echo "$(basename "$0"): $*" >&2
  exit 1
}

package_missing() {
  ! dpkg-query -W -f='${db:Status-Abbrev}' "$1" 2>/dev/null | grep -q '^.i'
}

# install_missing PACKAGE...: says what it installs; says and does nothing when all is there.
install_missing() {
  missing=
  for package in "$@"; do
    if package_missing "$package"; then missing="$missing $package"; fi
  done
  [ -n "$missing" ] || return 0
  command -v apt-get >/dev/null 2>&1 ||
    die "needs Debian's apt-get to install:$missing"
  as_root=
  if [ "$(id -u)" != 0 ]; then
    command -v sudo >/dev/null 2>&1 || die "needs root or sudo to install:$missing"
    as_root=sudo
  fi
  echo "Installing Debian packages:$missing"
  # shellcheck disable=SC2086 # a list of words
  quietly $as_root apt-get update
  # shellcheck disable=SC2086
  quietly $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends $missing
}

# quietly COMMAND...: output goes to $log; shown, and the script ends, when the command fails.
quietly() {
  if ! "$@" >"$log" 2>&1 </dev/null; then
    tail -n 60 "$log" >&2
    die "failed: $*"
  fi
}

# build PRESET FOLDER [CMAKE OPTION]...: configure and compile.
build() {
  preset=$1
  folder=$2
  shift 2
  # A folder that is configured already keeps its generator.
  [ -f "$folder/CMakeCache.txt" ] || set -- -G Ninja "$@"
  quietly cmake -C "$top/tests/presets/$preset.cmake" -S "$top" -B "$folder" "$@"
  quietly cmake --build "$folder" --parallel "$(nproc)"
}
