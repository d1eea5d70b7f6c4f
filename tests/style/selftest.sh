#!/bin/sh
# selftest.sh: each style check catches a planted violation, and passes a tree without one.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
tree=$(mktemp -d)
trap 'rm -rf "$tree"' EXIT
bad=0

fresh() {
  rm -rf "$tree/src" "$tree/tests"
  mkdir -p "$tree/src/base" "$tree/src/capture" "$tree/src/judge" "$tree/src/cli" "$tree/tests"
  cp "$here/../../.clang-format" "$tree/"
  printf '#ifndef ERR_H\n#define ERR_H\nint err_one(void);\n#endif\n' >"$tree/src/base/err.h"
  printf '#include "base/err.h"\n\nint err_one(void)\n{\n    return 1;\n}\n' >"$tree/src/base/err.c"
  printf '#ifndef JUDGE_H\n#define JUDGE_H\n#endif\n' >"$tree/src/judge/judge.h"
}

passes() {
  sh "$here/$1.sh" "$tree" >"$tree/out" 2>&1 || { echo "$1: fails without cause:"; cat "$tree/out"; bad=1; }
}

# catches CHECK WHAT: the check must fail now.
catches() {
  if sh "$here/$1.sh" "$tree" >"$tree/out" 2>&1; then
    echo "$1: does not catch $2"
    bad=1
  fi
  fresh
}

fresh
for check in layers headers words length; do passes "$check"; done

echo '#include "judge/judge.h"' >"$tree/src/base/wrong.c"
catches layers "an include to the right"
printf '#include "base/err.h"\n# include  "capture/none.h"\n' >"$tree/src/judge/wrong.c"
catches layers "a spaced include of a module that is not allowed"
echo '#include "judge.h"' >"$tree/src/base/wrong.c"
catches layers "an include of another module without its name"
echo '#include <zlib.h>' >"$tree/src/base/wrong.c"
catches layers "a library outside its module"
mkdir "$tree/src/elsewhere" && echo 'int x;' >"$tree/src/elsewhere/x.c"
catches layers "a folder without a layer"
rm -rf "$tree/src/elsewhere"

echo 'int64_t late(void);' >"$tree/src/base/wrong.h"
catches headers "a header that needs another before it"
echo 'struct twice { int a; };' >"$tree/src/base/wrong.h"
catches headers "a header without a guard"

echo 'void f(char *d, const char *s) { strcpy(d, s); }' >"$tree/src/base/wrong.c"
catches words "a banned call"
echo 'void f(void) { exit(1); }' >"$tree/src/base/wrong.c"
catches words "an exit in a library"
echo 'void f(void) { fprintf(stderr, "x"); }' >"$tree/src/base/wrong.c"
catches words "a library that talks"
printf '/* TO%s later */\n' DO >"$tree/src/cli/wrong.c"
catches words "unfinished work"
printf 'cp /%s/x .\n' work >"$tree/tests/wrong.sh"
catches words "a path of one machine"
printf 'int main(void)\n{\n    exit(0);\n    printf("x");\n}\n' >"$tree/src/cli/main.c"
passes words
fresh

yes '/* line */' | head -n 501 >"$tree/src/base/wrong.c"
catches length "a long file"
{ printf 'void f(void)\n{\n'; yes '    g();' | head -n 61; printf '}\n'; } >"$tree/src/base/wrong.c"
catches length "a long function"

if command -v clang-format >/dev/null 2>&1 && clang-format --version | grep -q 'version 14\.'; then
  printf 'int  f( void ){return 1;}\n' >"$tree/src/base/wrong.c"
  catches format "a badly set file"
fi

# A program that says one thing, and a README that shows another.
printf '#!/bin/sh\necho "one $1"\n' >"$tree/program"
chmod +x "$tree/program"
printf '```console\n$ build/whichend a\none a\n```\n' >"$tree/README.md"
sh "$here/readme.sh" "$tree/program" "$tree" >"$tree/out" 2>&1 || { echo "readme: fails without cause"; bad=1; }
printf '```console\n$ echo a \\\n    b >kept\n$ cat kept\na b\n```\n' >"$tree/README.md"
sh "$here/readme.sh" "$tree/program" "$tree" >"$tree/out" 2>&1 || { echo "readme: a session fails"; bad=1; }
printf '```console\n$ build/whichend a\ntwo a\n```\n' >"$tree/README.md"
! sh "$here/readme.sh" "$tree/program" "$tree" >"$tree/out" 2>&1 || { echo "readme: does not catch"; bad=1; }

# A program built with nothing.
printf 'int main(void)\n{\n    return 0;\n}\n' >"$tree/bare.c"
"${CC:-cc}" -no-pie -Wl,-z,norelro -o "$tree/bare" "$tree/bare.c" 2>/dev/null
! sh "$here/hardening.sh" "$tree/bare" >"$tree/out" 2>&1 || { echo "hardening: does not catch"; bad=1; }
[ "$(wc -l <"$tree/out")" -ge 6 ] || { echo "hardening: misses something:"; cat "$tree/out"; bad=1; }
exit $bad
