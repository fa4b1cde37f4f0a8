#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Install from Debian what is missing, and nothing when nothing is. Says one sentence when it cannot.
set -eu
cd "$(dirname "$0")/.."
list=packaging/debian-packages.txt

if ! command -v dpkg-query >/dev/null 2>&1; then
	echo "need: this is not a Debian; the tools named in $list must be here by other means." >&2
	exit 0
fi

# A node that came by other means serves as well as Debian's, and must not be replaced by it.
by_other_means() {
	case $1 in
	nodejs) command -v node ;;
	npm) command -v npm ;;
	*) false ;;
	esac >/dev/null 2>&1
}

missing=
for package in $(sed 's/#.*//' "$list"); do
	case $(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || :) in
	installed) ;;
	*) by_other_means "$package" || missing="$missing $package" ;;
	esac
done
[ -n "$missing" ] || exit 0

if [ "$(id -u)" = 0 ]; then
	as_root=
elif command -v sudo >/dev/null 2>&1 && { [ -t 0 ] || sudo -n true 2>/dev/null; }; then
	as_root=sudo
else
	echo "need: these Debian packages are missing and only root or sudo can install them:$missing" >&2
	exit 1
fi

log=$(mktemp)
trap 'rm -f "$log"' EXIT
echo "need: installing$missing"
install() {
	# shellcheck disable=SC2086 # the list is meant to be split
	$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -qq -y --no-install-recommends \
		-o Dpkg::Use-Pty=0 $missing >"$log" 2>&1 </dev/null
}
# Lists that are there may do; old or absent ones are fetched once.
if ! install; then
	if ! $as_root apt-get update -qq >"$log" 2>&1 </dev/null || ! install; then
		tail -n 15 "$log" >&2
		echo "need: apt-get could not install$missing; the lines above say why." >&2
		exit 1
	fi
fi
