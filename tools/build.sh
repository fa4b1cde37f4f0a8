#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# build.sh DIR [meson options]: configure once, then compile; quiet unless something fails.
set -eu
cd "$(dirname "$0")/.."
dir=$1
shift
log=$(mktemp)
trap 'rm -f "$log"' EXIT
if [ ! -f "$dir/build.ninja" ]; then
	meson setup "$dir" "$@" >"$log" 2>&1 </dev/null || {
		cat "$log" >&2
		echo "build: meson could not set up $dir; the lines above say why." >&2
		exit 1
	}
fi
echo "build: compiling into $dir"
ninja -C "$dir" >"$log" 2>&1 </dev/null || {
	grep -v '^\[' "$log" >&2
	echo "build: compiling into $dir failed; the lines above say why." >&2
	exit 1
}
