#!/bin/bash
# lint.sh BUILD: the habits of DEVELOPERS.md that a program can look after.
#
# Says every breach as FILE:LINE: what, and at the end what the sources measure.
# BUILD is where the library's objects are: whether the engine has variables of
# its own is read from them.  Exit status 1 if anything was said.
set -u
cd "$(dirname "$0")/.." || exit 1
export LC_ALL=C
build=${1:-build}
breaches=$(mktemp) || exit 1
measured=$(mktemp) || exit 1
trap 'rm -f "$breaches" "$measured"' EXIT

say() { echo "$*" >>"$breaches"; }

sources() { find "$@" -type f \( -name '*.[chly]' -o -name '*.def' \) | sort; }

# ---- the top level is the one of DEVELOPERS.md ----

top_level() {
    local allowed=" README.md DEVELOPERS.md LICENSE Makefile grammar engine rules src tests docs " name
    # Where there is no repository (an unpacked archive), the folder itself is looked at.
    for name in $(git ls-files 2>/dev/null | cut -d/ -f1 | sort -u) $(ls -1); do
        case $name in
        .* | build) ;;
        *) [[ $allowed == *" $name "* ]] || echo "$name: does not belong at the top level" ;;
        esac
    done | sort -u >>"$breaches"
    for name in $allowed; do
        [ -e "$name" ] || say "$name: missing at the top level"
    done
}

# ---- the layer rule: who may include whom ----

# Every include in quotes of the files named, as FILE:LINE NAME.
includes() {
    awk '/^[ \t]*#[ \t]*include[ \t]*"/ { split($0, part, "\""); print FILENAME ":" FNR, part[2] }' "$@"
}

# only PATTERN FILE…: the files include nothing but what the pattern allows.
only() {
    local pattern=$1
    shift
    includes "$@" | while read -r place name; do
        [[ $name =~ ^($pattern)$ ]] || echo "$place: the layer rule forbids $name here"
    done >>"$breaches"
}

layers() {
    local file name tool
    # src: its own headers and the public one.
    tool=$(basename -a src/*.h | paste -sd'|')
    only "$tool|ringlug.h" src/*.c src/*.h
    # grammar: its own, and what is below it.
    only "ast.h|builder.h|parse.h|grammar.tab.h|\.\./engine/(arena|diag|number)\.h" $(sources grammar)
    # the inference layer: tables, and nothing of vehicles.
    only "arena.h" engine/infer.h
    only "infer.h|infer_private.h|cover.h|product.h" engine/infer_private.h \
        engine/factor.c engine/multiply.c engine/sparse.c engine/order.c engine/program.c engine/grow.c engine/eliminate.c \
        engine/back.c engine/logs.c engine/product.[ch] engine/cover.[ch] engine/query.c engine/recall.c
    only "infer.h|infer_private.h|bounded_box.h" engine/bounded_box.[ch] engine/bounded_ceiling.c
    # what stands at the bottom.
    only "arena.h" engine/arena.c engine/table.h engine/heap.h
    only "heap.h" engine/heap.c
    only "arena.h|number.h|diag.h|ringlug.h|messages.def" engine/diag.[ch] engine/number.[ch]
    only "quadrature.h|reading.h" engine/quadrature.[ch] engine/reading.[ch]
    # engine: never the tool, and the grammar only where text becomes meaning.
    for file in engine/*.[ch]; do
        case $file in
        engine/lower*.[ch] | engine/evidence*.[ch] | engine/include.c | engine/case.c | engine/book.c | engine/model.[ch] | engine/names.[ch])
            name='\.\./grammar/(ast|parse)\.h|' ;;
        *) name= ;;
        esac
        only "$name[a-z_]+\.h|messages\.def" "$file"
    done
    includes engine/*.[ch] | while read -r place name; do
        [ -e "engine/$name" ] || echo "$place: $name is not in engine/"
    done >>"$breaches"
}

# ---- the library prints nothing, never exits, asks no clock and no environment ----

quiet_library() {
    sources engine grammar | xargs grep -nE \
        '#[[:space:]]*include[[:space:]]*<(stdio|time|unistd|signal|pthread|locale|errno|sys/[a-z]*)\.h>|\b(exit|_exit|abort|getenv|setenv|time|clock|clock_gettime|printf|fprintf|puts|fopen|setlocale|rand|random)\(' |
        sed -E 's/^([^:]*:[0-9]*):[ \t]*(.*)/\1: the library may not: \2/' >>"$breaches"
}

# Objects that can be written to after loading; constant tables of pointers are .data.rel.ro.
own_variables() {
    local objects
    objects=$(find "$build/engine" "$build/grammar" "$build/gen" -name '*.o' 2>/dev/null | sort)
    if [ -z "$objects" ]; then
        say "$build: no objects of the library to look into; run make first"
        return
    fi
    # shellcheck disable=SC2086  # a list of files
    objdump -t $objects | awk '
        /file format/ { file = $1; sub(/:$/, "", file) }
        {
            for (i = 2; i <= NF; i++)
                if ($i ~ /^(\.data|\.bss|\.tdata|\.tbss|\*COM\*)/ && $i !~ /^\.data\.rel\.ro/ && $NF != $i && $(i + 1) != "0000000000000000")
                    print file ": a variable of its own: " $NF
        }' >>"$breaches"
}

# ---- the shape of files ----

# How long each function of the files is: PLACE NAME LENGTH.
functions() {
    awk '
    function forget() { start = 0; inside = 0 }
    FNR == 1 { forget() }
    inside { if (/^}/) { print FILENAME ":" start, name, FNR - start + 1; forget() } next }
    /^[A-Za-z_].*\).*\{.*\}[ \t]*$/ && !/=/ { line = $0; sub(/\(.*/, "", line); sub(/.*[ *]/, "", line); print FILENAME ":" FNR, line, 1; forget(); next }
    /^(typedef|enum|struct|union|extern|#|\/\*|%|})/ || /;[ \t]*$/ || /^[ \t]*$/ { forget(); next }
    /^[A-Za-z_]/ && /\(/ { start = FNR; name = $0; sub(/\(.*/, "", name); sub(/.*[ *]/, "", name) }
    /^\{/ && start { inside = 1 }
    ' "$@"
}

# shellcheck disable=SC2046  # lists of files
lengths() {
    local file lines
    for file in $(sources engine grammar src tests) $(find tests .ci -type f -name '*.sh'); do
        lines=$(wc -l <"$file")
        [ "$lines" -le 800 ] || say "$file: $lines lines, over 800"
    done
    functions $(sources engine grammar src tests | grep '\.[cly]$') | while read -r place name lines; do
        [ "$lines" -le 80 ] || echo "$place: function $name has $lines lines, over 80"
    done >>"$breaches"
    for file in $(sources engine grammar src tests | grep -v '/data/'); do
        head -1 "$file" | grep -q '^/\*' || say "$file:1: no opening comment"
    done
}

# ---- words ----

words() {
    # Alphabets and conflicts of the grammar.
    grep -q '^%expect 0$' grammar/grammar.y || say "grammar/grammar.y: no %expect 0"
    # Paths of somebody's machine, and what was left for later.
    find README.md DEVELOPERS.md LICENSE Makefile .ci engine grammar rules src tests docs -type f \
        ! -path tests/lint.sh -print0 2>/dev/null |
        xargs -0 grep -nIE '(^|[^A-Za-z0-9_.}])/(home|root|work|mnt|srv|Users)/[a-z]|\b(TODO|FIXME|XXX)\b|[[:space:]]+$' -- |
        grep -vE '^tests/(lang|data|reference|fuzz/corpus)/|^docs/messages.md:' |
        sed -E 's/^([^:]*:[0-9]*):(.*)/\1: a machine path, a thing left for later, or a blank at the end: \2/' >>"$breaches"
}

# ---- figures ----

# Median, 90 % and greatest of the numbers on standard input.
spread() {
    sort -n | awk '{ n[NR] = $1 } END { print n[int((NR + 1) / 2)], n[int(NR * 0.9 + 0.999999)], n[NR], NR }'
}

# shellcheck disable=SC2046  # lists of files
figures() {
    local median ninety most count asserts lines
    functions $(sources "$@" | grep '\.[cly]$') | awk '{ print $3 }' | spread >"$measured"
    read -r median ninety most count <"$measured"
    asserts=$(sources "$@" | xargs grep -hoE '\b(static_assert|_Static_assert|assert)\(' | wc -l)
    lines=$(sources "$@" | xargs cat | wc -l)
    echo "$*: $count functions, median $median lines, 90 % at most $ninety, longest $most;" \
        "$(awk -v a="$asserts" -v l="$lines" 'BEGIN { printf "%.1f", 1000 * a / l }') asserts in a thousand lines of $lines"
}

top_level
layers
quiet_library
own_variables
lengths
words
figures engine
figures grammar
figures src
if [ -s "$breaches" ]; then
    cat "$breaches"
    echo "lint: $(wc -l <"$breaches") breaches"
    exit 1
fi
echo "lint: nothing to say"
