#!/bin/sh
# hardening.sh PROGRAM: what a hardened build must show to readelf and nm: relocations read-only
# and bound at start, position independent, no executable stack, stack protector, fortified calls;
# and asserts that hold. Source: OpenSSF Compiler Options Hardening Guide for C and C++.
set -eu
program=$1
bad=0
want() {
  echo "$2" | grep -qE "$3" || { echo "$program: $1"; bad=1; }
}
headers=$(readelf -lW "$program")
dynamic=$(readelf -dW "$program")
symbols=$(readelf --dyn-syms -W "$program")
want "no RELRO" "$headers" 'GNU_RELRO'
want "stack may be executed" "$headers" 'GNU_STACK.* RW  *0x'
want "not bound at start" "$dynamic" 'BIND_NOW|FLAGS_1.*NOW'
want "not position independent" "$dynamic" 'FLAGS_1.*PIE'
want "no stack protector" "$symbols" '__stack_chk_fail'
want "no fortified call" "$symbols" '__(snprintf|vsnprintf|fprintf|memcpy|memset)_chk'
want "asserts are switched off" "$symbols" '__assert_fail'
exit $bad
