#!/bin/bash
# messages.sh: prints docs/messages.md: every message of engine/messages.def in the
# order of its number, each with an example from tests/lang/bad where there is one.
set -eu
cd "$(dirname "$0")/../.."
export LC_ALL=C

cat <<'END'
# Messages

Every fault of a rule file or a case is said as

    FILE:LINE:COLUMN: error: text [number]

with the line itself and a caret below it. A second place (where a name was
declared first, say) follows as a note. Errors keep a file or a case from being
used; warnings do not. Numbers and their meaning never change, so scripts may
rely on them; texts may be worded better one day. `%1` and so on stand for names
and numbers.

This page is written by `make messages` from `engine/messages.def`; the examples
are the first of each in `tests/lang/bad`, where the tests hold them to the letter.
END

examples=$(mktemp)
trap 'rm -f "$examples"' EXIT
# Of each number the first place it is said at, with what stands below: NUMBER<tab>LINE.
awk '
    /^[^ ].*: (error|warning|note): .* \[[0-9]+\]$/ {
        number = $0
        sub(/.*\[/, "", number)
        sub(/\].*/, "", number)
        take = !(number in seen)
        seen[number] = 1
    }
    take { print number "\t" $0 }
' tests/lang/bad/*.want >"$examples"

# NUMBER<tab>SEVERITY<tab>TEXT of each message.
sed -nE 's/^RL_MESSAGE\([A-Z0-9_]+, ([0-9]+), RL_([A-Z]+), "(.*)"\)$/\1\t\2\t\3/p' engine/messages.def |
    sed -e 's/\\"/"/g' -e 's/\\\\/\\/g' | sort -n |
    awk -F '\t' -v examples="$examples" '
    BEGIN {
        group[1] = "Bytes, words and the shape of statements"; group[2] = "Names"; group[3] = "Numbers"
        group[4] = "What statements say together"; group[5] = "Evidence"; group[6] = "Files"; group[7] = "Limits"
        while ((getline line < examples) > 0) {
            number = line; sub(/\t.*/, "", number); sub(/^[^\t]*\t/, "", line)
            example[number] = example[number] "    " line "\n"
        }
    }
    {
        hundred = int($1 / 100)
        if (hundred != last) print "\n## " hundred "xx: " group[hundred]
        last = hundred
        print "\n### " $1 " (" tolower($2) ")\n\n    " $3
        if ($1 in example) printf "\nFor example:\n\n%s", example[$1]
    }'
