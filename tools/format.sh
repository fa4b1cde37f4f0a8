#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# format.sh: name the C files that clang-format would change; --write changes them.
set -eu
cd "$(dirname "$0")/.."
files=$(git ls-files -co --exclude-standard '*.c' '*.h')
if [ "${1-}" = --write ]; then
	# shellcheck disable=SC2086
	clang-format -i $files
	exit 0
fi
bad=0
for f in $files; do
	clang-format "$f" | cmp -s - "$f" || { echo "format: $f is not as clang-format writes it; try: make format"; bad=1; }
done
exit $bad
