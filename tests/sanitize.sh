#!/bin/sh
# sanitize.sh PROGRAM…: runs test programs that were built with sanitizers, with
# fewer draws: each does what it does without them, three to ten times slower.
set -eu
export ASAN_OPTIONS=detect_leaks=1:strict_string_checks=1:abort_on_error=0
export UBSAN_OPTIONS=print_stacktrace=1
export RANDOM_COUNT="${RANDOM_COUNT:-10}" TEST_PATIENCE="${TEST_PATIENCE:-400}"
exec "$(dirname "$0")/run.sh" "$@"
