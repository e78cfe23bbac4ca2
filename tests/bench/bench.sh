#!/bin/sh
# bench.sh FOLDER: runs the bench programs of FOLDER and prints one table.
# Instructions are callgrind's count inside one function; seconds are user CPU seconds of
# one process, told and never asserted but where a goal names them.
set -eu
dir=$1
demo=rules/demo-moraine.gnd
large=rules/large-nunatak.gnd

# Instructions of a run: count FUNCTION PROGRAM ARGUMENTS; FUNCTION may be two with a space between.
count() {
    toggles=""
    for f in $1; do toggles="$toggles --toggle-collect=$f"; done
    shift
    # shellcheck disable=SC2086
    valgrind --tool=callgrind --callgrind-out-file=/dev/null $toggles "$@" 2>&1 >/dev/null |
        sed -n 's/.*Collected : \([0-9][0-9]*\).*/\1/p'
}

# row WHAT GOAL MEASURED LIMIT UNIT: met where MEASURED <= LIMIT
row() {
    printf '%-54s %-12s %12s  %s\n' "$1" "$2" "$3 $5" \
        "$(awk "BEGIN { print ($3 <= $4) ? \"met\" : \"NOT MET\" }")"
}
million() { awk "BEGIN { printf \"%.3f\", $1 / 1e6 }"; }
ratio() { awk "BEGIN { printf \"%.2f\", $1 / $2 }"; }

fresh=$(count measured "$dir/bench_case" $demo fresh)
passed=$(count 'rl_tree_collect rl_tree_distribute rl_tree_marginal' "$dir/bench_case" $demo fresh)
nine=$(count measured "$dir/bench_case" $demo nine)
more=$(count measured "$dir/bench_case" $demo more)
tests=$(count measured "$dir/bench_case" $demo tests)
again=$(count measured "$dir/bench_case" $demo again)
wide=$(count measured "$dir/bench_case" $large fresh)

printf '%-54s %-12s %12s\n' "what (demo vehicle, 8 findings, where nothing is said)" goal measured
row "evidence to all posteriors, million instructions" "<= 2" "$(million "$fresh")" 2 ""
row "of which propagation, million instructions" "<= 0.3" "$(million "$passed")" 0.3 ""
row "bits of all tests, first case, in posteriors" "<= 15" "$(ratio "$tests" "$fresh")" 15 ""
row "bits of all tests, later case, in posteriors" "<= 15" "$(ratio "$again" "$fresh")" 15 ""
row "a ninth finding, against nine from scratch" "<= 0.5" "$(ratio "$more" "$nine")" 0.5 ""
row "the same 8 findings on the large vehicle, against it" "<= 1.5" "$(ratio "$wide" "$fresh")" 1.5 ""

for shape in plain random; do
    "$dir/gen_wide" $shape "$dir/$shape.gnd" "$dir/$shape.case"
    line=$("$dir/bench_wide" "$dir/$shape.gnd" "$dir/$shape.case" || true)
    s=$(printf '%s' "$line" | sed -n 's/.*rules \([0-9.]*\) s, case \([0-9.]*\) s, answer \([0-9.]*\) s.*/\1 \2 \3/p' |
        awk '{ print $1 + $2 + $3 }')
    mb=$(printf '%s' "$line" | sed -n 's/.*, \([0-9.]*\) MB at most.*/\1/p')
    case $line in done:*) ;; *) s=999; mb=9999 ;; esac
    row "wide vehicle, $shape: rules, case and answer" "< 1 s" "$s" 0.999 s
    row "wide vehicle, $shape: memory" "< 100 MB" "$mb" 99.9 MB
    printf '    %s\n' "$line"
done

parse=$("$dir/bench_parse" $demo 10)
speed=$(printf '%s' "$parse" | sed -n 's/.*, \([0-9.]*\) MB\/s.*/\1/p')
row "parse of 10 MB, s per MB ($speed MB/s)" "<= 0.05" "$(awk "BEGIN { printf \"%.4f\", 1 / $speed }")" 0.05 s
cells=$(count measured "$dir/bench_parse" $demo 1)
printf '    %s; %s instructions for a byte\n' "$parse" "$(awk "BEGIN { printf \"%.0f\", $cells / 1e6 }")"

if [ -x "$dir/dlib_bench" ]; then
    ours=$("$dir/bench_net" $demo eight "$dir/eight.net")
    theirs=$("$dir/dlib_bench" "$dir/eight.net")
    printf 'the same pruned network, ringlug: %s\n                         dlib:    %s\n' "$ours" "$theirs"
    a=$(printf '%s' "$ours" | sed 's/all \([^ ]*\) s.*/\1/')
    b=$(printf '%s' "$theirs" | sed 's/all \([^ ]*\) s.*/\1/')
    printf 'dlib against ringlug, tree and messages: %.0f times\n' "$(awk "BEGIN { print $b / $a }")"
else
    echo "no comparison with dlib: g++ or libdlib-dev is missing"
fi
