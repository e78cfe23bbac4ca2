#!/bin/sh
# install.sh BUILD CC: installs into a folder of its own, then uses what is there
# as a stranger would: the tool from elsewhere, and a program of one's own on the
# library, found by pkg-config.
set -eu
build=$1
cc=$2
top=$(cd "$(dirname "$0")/.." && pwd)
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
prefix=$folder/usr
make -s -C "$top" BUILD="$folder/build" CC="$cc" PREFIX="$prefix" install >/dev/null
make -s -C "$top" BUILD="$folder/build" CC="$cc" PREFIX="$prefix" DESTDIR="$folder/staged" install >/dev/null

fail() { echo "install: $*" >&2; exit 1; }
[ -x "$folder/staged$prefix/bin/ringlug" ] || fail "DESTDIR is not heeded"
diff -r "$prefix" "$folder/staged$prefix" || fail "DESTDIR changes what is installed"
for page in "$prefix"/share/man/man1/ringlug*.1; do
    [ -s "$page" ] || fail "no manual page"
done

cd "$folder"
printf 'include "demo-moraine.gnd"\n' >mine.gnd
printf 'case "one" on moraine-5\nstop_left dim\n' >mine.case
"$prefix/bin/ringlug" rank mine.gnd mine.case --json >answer.json
grep -q '"log_evidence"' answer.json || fail "the installed rules are not found"

cat >mine.c <<'END'
#include <ringlug.h>
#include <stdio.h>
int main(void)
{
    size_t count;
    const char *const *words = rl_language_words(&count);
    rl_settings settings = {0};
    rl_context *context;
    if (rl_context_new(&settings, &context) != RL_OK)
        return 1;
    rl_context_free(context);
    return puts(words[0]) < 0 || count == 0;
}
END
PKG_CONFIG_PATH=$prefix/lib/pkgconfig
export PKG_CONFIG_PATH
# shellcheck disable=SC2046  # a list of options
$cc -std=c11 -Wall -Wextra -Werror mine.c $(pkg-config --cflags --libs ringlug) -o mine
[ "$(./mine)" = above ] || fail "a program on the library does not work"
echo "install: the tool, the rules, the library, its header, pkg-config and the manual pages are in place"
