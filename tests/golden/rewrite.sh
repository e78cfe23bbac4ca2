#!/bin/bash
# rewrite.sh TOOL NAME…: writes the expected outputs that are named anew (all: every one).
set -eu
cd "$(dirname "$0")/../.."
tool=$1
shift
if [ $# -eq 0 ]; then
    echo "name what is to be written: make golden NAMES=\"small-rank.txt …\", or NAMES=all" >&2
    exit 2
fi
unset NO_COLOR
export LC_ALL=C.UTF-8 TERM=xterm RINGLUG_RULES=$PWD/rules
errors=$(mktemp)
trap 'rm -f "$errors"' EXIT
known=" "
written=0
while read -r name arguments; do
    case $name in '' | '#'*) continue ;; esac
    known="$known$name "
    [[ " $* " == *" $name "* || " $* " == *" all "* ]] || continue
    status=0
    # shellcheck disable=SC2086  # a list of words
    "$tool" $arguments >"tests/golden/want/$name" 2>"$errors" </dev/null || status=$?
    if [[ $name == *.txt ]]; then
        { echo "---- standard error"; cat "$errors"; echo "---- status $status"; } >>"tests/golden/want/$name"
    fi
    echo "want/$name"
    written=$((written + 1))
done <tests/golden/cases
for name in "$@"; do
    [[ $name == all || $known == *" $name "* ]] || { echo "tests/golden/cases has no $name" >&2; exit 1; }
done
[ "$written" -gt 0 ]
