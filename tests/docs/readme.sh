#!/bin/bash
# readme.sh TOOL: fills in anew what the commands of README.md's console blocks print.
set -eu
cd "$(dirname "$0")/../.."
tool=$1
unset NO_COLOR
export LC_ALL=C.UTF-8 TERM=xterm RINGLUG_RULES=$PWD/rules
new=$(mktemp)
trap 'rm -f "$new"' EXIT
inside=
while IFS= read -r line; do
    case $line in
    '```console') inside=yes ;;
    '```') inside= ;;
    '$ build/ringlug '*)
        echo "$line"
        # shellcheck disable=SC2086  # a list of words
        "$tool" ${line#"\$ build/ringlug "} </dev/null | sed -e :a -e '/^\n*$/{$d;N;ba' -e '}'
        continue ;;
    '$ cat '*)
        echo "$line"
        cat "${line#"\$ cat "}"
        continue ;;
    *) [ -z "$inside" ] || continue ;;
    esac
    echo "$line"
done <README.md >"$new"
cat "$new" >README.md
