#!/bin/sh
# deps.sh PACKAGE…: installs those of the Debian packages that are not installed.
set -eu
if ! command -v dpkg-query >/dev/null; then
    echo "Not a Debian system; ringlug needs what Debian calls: $*" >&2
    exit 0
fi
missing=
for package in "$@"; do
    state=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null || true)
    [ "$state" = installed ] || missing="$missing $package"
done
[ -n "$missing" ] || exit 0
if [ "$(id -u)" != 0 ]; then
    echo "These packages are missing; as root: apt-get install$missing" >&2
    exit 1
fi
echo "  APT   $missing"
export DEBIAN_FRONTEND=noninteractive
# shellcheck disable=SC2086  # a list of words
apt-get -qq update && apt-get -qq install -y --no-install-recommends $missing >/dev/null
