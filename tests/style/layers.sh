#!/bin/sh
# layers.sh [ROOT]: every #include in src/ against the house's layers. A module may include its
# own headers and those named after it here; likewise a library only where the table says so.
set -eu
src=${1:-$(cd "$(dirname "$0")/../.." && pwd)}/src

allowed() {
  case $1 in
    base) echo "" ;;
    profile) echo "base" ;;
    capture) echo "base" ;;
    signal | bus) echo "capture profile base" ;;
    evidence) echo "signal bus capture profile base" ;;
    judge) echo "evidence profile base" ;;
    archive) echo "evidence signal bus capture profile base" ;;
    adapter) echo "capture base" ;;
    sim) echo "adapter capture profile base" ;;
    accept) echo "adapter evidence bus signal capture profile base" ;;
    report) echo "archive accept judge evidence bus signal capture profile base" ;;
    cli) echo "report archive accept sim adapter judge evidence bus signal capture profile base" ;;
    *) return 1 ;;
  esac
}

library_owner() {
  case $1 in
    ini.h) echo "base" ;;
    zlib.h) echo "capture archive" ;;
    jansson.h) echo "report cli" ;;
    libusb.h | libusb-1.0/*) echo "adapter" ;;
  esac
}

bad=0
complain() {
  echo "$1"
  bad=1
}

has_word() {
  case " $1 " in *" $2 "*) return 0 ;; esac
  return 1
}

check_include() { # FILE LINE MODULE NAME
  case $4 in
    */*) other=${4%%/*} ;;
    *) # a private header beside the file
      [ -f "$src/$3/$4" ] || complain "$1:$2: \"$4\" is not beside it"
      return
      ;;
  esac
  [ -f "$src/$4" ] || complain "$1:$2: \"$4\" is not there"
  [ "$other" = "$3" ] || has_word "$(allowed "$3")" "$other" ||
    complain "$1:$2: $3 may not include $other"
}

found=0
for file in "$src"/*/*.c "$src"/*/*.h; do
  [ -f "$file" ] || continue
  found=$((found + 1))
  module=$(basename "$(dirname "$file")")
  allowed "$module" >/dev/null || { complain "$file: no layer is known for '$module'"; continue; }
  includes=$(grep -nE '^[[:space:]]*#[[:space:]]*include' "$file" |
    sed -E 's/^([0-9]+):[^"<]*(["<][^">]*)[">].*/\1 \2/') || true
  while read -r line name; do
    case $name in
      '"'*) check_include "$file" "$line" "$module" "${name#\"}" ;;
      '<'*)
        owner=$(library_owner "${name#<}")
        [ -z "$owner" ] || has_word "$owner" "$module" ||
          complain "$file:$line: ${name#<} belongs to $owner alone"
        ;;
    esac
  done <<LIST
$includes
LIST
done
[ "$found" -gt 0 ] || complain "$src: no source file found"
exit $bad
