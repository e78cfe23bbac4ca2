#!/bin/bash
# run.sh PROGRAM…: runs test programs, from the top folder, RUN_JOBS (2) at a time.
#
# Shows the closing lines of each one, and the whole output of one that fails.
# A program fails if a test of it failed, if it ended in any other way than with
# status 0, if it ran no test, or if it takes longer than RUN_SECONDS (600).
# The last line is the sum over all programs; the exit status is 0 or 1.
set -u
cd "$(dirname "$0")/.." || exit 1
jobs=${RUN_JOBS:-2}
seconds=${RUN_SECONDS:-600}
unset CMOCKA_MESSAGE_OUTPUT CMOCKA_XML_FILE CMOCKA_TEST_ABORT
# What a user has set must not change what the tool says.
unset NO_COLOR RINGLUG_RULES
export LC_ALL=C.UTF-8
folder=$(mktemp -d) || exit 1
trap 'rm -rf "$folder"' EXIT

# Runs program $2 as number $1; leaves its output and its status.
run_one() {
    local start=$SECONDS
    timeout "$seconds" "$2" >"$folder/$1.out" 2>&1 </dev/null
    echo "$? $((SECONDS - start))" >"$folder/$1.end"
}

# The sum of the numbers N in lines of output $1 like: [ $2 ] N test(s)
count() {
    sed -n "s/^\[ *$2 *\] \([0-9][0-9]*\) test(s).*/\1/p" "$1" | awk '{ n += $1 } END { print n + 0 }'
}

passed=0
failed=0
bad_programs=0

# Says what program $2, number $1, came to, and adds it up.
report() {
    local out=$folder/$1.out status took good bad ran why=
    read -r status took <"$folder/$1.end"
    good=$(count "$out" PASSED)
    bad=$(count "$out" FAILED)
    ran=$(sed -n 's/^\[=*\] .*\b\([0-9][0-9]*\) test(s) run\..*/\1/p' "$out" | awk '{ n += $1 } END { print n + 0 }')
    if [ "$status" -eq 124 ]; then
        why="took longer than $seconds s"
    elif [ "$status" -gt 128 ]; then
        why="ended by signal $((status - 128))"
    elif [ "$status" -ne 0 ] && [ "$bad" -eq 0 ]; then
        why="ended with status $status"
    elif [ $((good + bad)) -eq 0 ] && ! grep -q 'SKIPPED' "$out"; then
        why="ran no test"
    elif [ "$ran" -ne $((good + bad)) ] && ! grep -q 'SKIPPED' "$out"; then
        why="ran $ran tests and told of $((good + bad))"
    fi
    if [ -n "$why" ]; then
        bad=$((bad + 1))
    fi
    if [ "$bad" -gt 0 ]; then
        bad_programs=$((bad_programs + 1))
        echo "---- $2: all it said ----"
        cat "$out"
        echo "---- $2: ${why:-$bad failed} ----"
    else
        echo "$2 ($took s)"
        grep -E '^\[=+\] .* run\.|^\[ +(PASSED|SKIPPED) +\]' "$out"
    fi
    passed=$((passed + good))
    failed=$((failed + bad))
}

if [ $# -eq 0 ]; then
    echo "run.sh: no test program was named" >&2
    exit 1
fi
number=0
running=0
told=0
programs=("$@")
# Told in the order given, each as soon as those before it have been told.
tell() {
    while [ "$told" -lt "$number" ] && [ -e "$folder/$told.end" ]; do
        report "$told" "${programs[$told]}"
        told=$((told + 1))
    done
}
for program in "$@"; do
    if [ "$running" -ge "$jobs" ]; then
        wait -n
        running=$((running - 1))
        tell
    fi
    run_one "$number" "$program" &
    number=$((number + 1))
    running=$((running + 1))
done
wait
tell
if [ "$told" -ne $# ]; then
    echo "run.sh: only $told of $# programs ended" >&2
    failed=$((failed + 1))
fi
[ "$bad_programs" -eq 0 ] || echo "$bad_programs of $# programs failed"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
