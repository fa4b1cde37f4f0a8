#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Build the pages of the bench into ui/dist: packages as the lock file names them, types checked, bundled. Quiet, and
# nothing is done when nothing changed. Says one sentence when it cannot; the bench then serves a page that says so.
set -eu
cd "$(dirname "$0")/../ui"
stamp=node_modules/.fettle-built

fail() {
	echo "ui: $*" >&2
	exit 1
}

command -v node >/dev/null 2>&1 && command -v npm >/dev/null 2>&1 ||
	fail "node and npm are missing; install the Debian packages nodejs and npm, then build again."
node -e 'process.exit(Number(process.versions.node.split(".")[0]) >= 18 ? 0 : 1)' ||
	fail "the pages are built with node 18 or newer, and this is $(node --version)."

inputs() {
	{
		find src -type f
		ls index.html icon.svg build.mjs package.json package-lock.json tsconfig.json .npmrc ../data/claims.csv ../data/rules.csv
	} | LC_ALL=C sort | while IFS= read -r file; do
		cksum "$file"
	done
}

log=$(mktemp)
trap 'rm -f "$log"' EXIT
now=$(inputs)
if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$now" ] && [ -f dist/index.html ] && [ -f dist/app.js ] && [ -f dist/look.css ]; then
	exit 0
fi

lock=node_modules/.fettle-lock
if [ ! -f "$lock" ] || [ "$(cat "$lock")" != "$(cksum package-lock.json)" ]; then
	npm ci --ignore-scripts --no-audit --no-fund --silent >"$log" 2>&1 </dev/null || {
		tail -n 15 "$log" >&2
		fail "npm could not fetch the packages of ui/package-lock.json; the lines above say why. Is there a network?"
	}
	cksum package-lock.json >"$lock"
fi
echo "ui: building the pages"
node_modules/.bin/tsc --noEmit >"$log" 2>&1 </dev/null || {
	cat "$log" >&2
	fail "the types of the pages do not fit; the lines above say where."
}
node build.mjs >"$log" 2>&1 </dev/null || {
	cat "$log" >&2
	fail "the pages could not be bundled; the lines above say why."
}
printf '%s\n' "$now" >"$stamp"
