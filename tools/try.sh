#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# One whole visit with the real program: a practice machine on a pseudo-terminal, a fitter, an office.
#
#   usage: tools/try.sh [FETTLE [PAPERS]]      build/src/cli/fettle and papers when not given
#
# Everything it writes lies in PAPERS, which is made anew; the user's own keys and books are not touched.
# It ends with 1 when any step did not end as it must.
set -u
shopt -s extglob
export LC_ALL=C.UTF-8

fettle=$(realpath -- "${1:-build/src/cli/fettle}") || exit 1
papers=${2:-papers}
asset=HL-0932
visit=$asset-1
started=$SECONDS

fail() {
	printf '\ntools/try.sh: %s\n' "$*" >&2
	exit 1
}

[ -x "$fettle" ] || fail "there is no program $fettle; build it with make."
if [ -e "$papers" ] && [ ! -e "$papers/.made-by-try" ]; then
	fail "$papers is there and was not made by this script; move it away or name another folder."
fi
rm -rf -- "${papers:?}" && mkdir -p -- "$papers" || fail "the folder $papers cannot be made."
shown=$papers
papers=$(realpath -- "$papers")
cd "$papers" && : >.made-by-try && mkdir keys office || fail "the folder $papers cannot be written."
unset FETTLE_BOOK XDG_DATA_HOME
export HOME=$papers/keys XDG_CONFIG_HOME=$papers/keys FETTLE_BOOK=$papers/van.sqlite TZ=${TZ-}
[ -n "$TZ" ] || unset TZ

machine_pid=
mkfifo .lines .events || fail "no named pipes can be made in $shown."

tidy() {
	exec 7>&- 8<&-
	if [ -n "$machine_pid" ] && kill -0 "$machine_pid" 2>/dev/null; then
		kill "$machine_pid"
	fi
	rm -f -- "$papers/.lines" "$papers/.events" "$papers/.out"
}
trap tidy EXIT
trap 'exit 1' INT TERM

# ---- the pen ----

step=0
heading() {
	step=$((step + 1))
	printf '\n%2d  %s\n' "$step" "$*"
}

# A command as somebody would type it, folded where it gets too long for 80 columns.
typed() {
	local line='    $ fettle' word piece

	for word in "$@"; do
		case $word in
		*[!a-zA-Z0-9_./:,=-]*) piece="\"$word\"" ;;
		*) piece=$word ;;
		esac
		if [ $((${#line} + ${#piece} + 3)) -gt 80 ]; then
			printf '%s \\\n' "$line"
			line='         '
		fi
		line="$line $piece"
	done
	printf '%s\n' "$line"
}

# does CODE KEEP COMMAND...: runs fettle, which must end with CODE; prints the lines that match KEEP
# ("-": none), each indented.
does() {
	local code=$1 keep=$2 got
	shift 2

	typed "$@"
	"$fettle" "$@" >.out 2>&1
	got=$?
	if [ "$got" -ne "$code" ]; then
		cat .out >&2
		fail "step $step: \"fettle $*\" ended with $got, not $code."
	fi
	if [ "$keep" != - ]; then
		grep -E -- "$keep" .out | sed 's/^ *//; s/^/      /' || fail "step $step: \"fettle $*\" did not say what it must: $keep"
	fi
}

quietly() {
	"$fettle" "$@" >.out 2>&1 || { cat .out >&2; fail "step $step: \"fettle $*\" failed."; }
}

# must TEXT: the last command said so.
must() {
	grep -qF -- "$1" .out || { cat .out >&2; fail "step $step: the answer lacks \"$1\"."; }
}

# machine EVENT LINE: says LINE to the practice machine and waits for that event.
machine() {
	local event=$1 answer text
	shift

	printf '%s\n' "$*" >&7 || fail "step $step: the practice machine has gone."
	while IFS= read -r -t 20 -u 8 answer; do
		case $answer in
		*'"event":"error"'*) fail "step $step: the practice machine answers: $answer" ;;
		*"\"event\":\"$event\""*)
			text=${answer#*\"text\":\"}
			printf '    · %s\n' "${text%%\"*}"
			return
			;;
		esac
	done
	fail "step $step: the practice machine did not answer \"$*\" with $event."
}

# ---- the visit ----

cat <<END
One visit, from the first read to the office. The machine is the practice machine,
everything else is the program as it works at a real one. Lines with · are what
the machine does, lines with \$ what the fitter types.
END

heading "Put the practice machine on its two ports"
"$fettle" practice --machine snack --pace fast --json <.lines >.events 2>.machine-log &
machine_pid=$!
exec 7>.lines 8<.events
typed practice --machine snack --pace fast
IFS= read -r -t 20 -u 8 first || fail "the practice machine does not start: $(cat .machine-log)"
port=${first#*\"dex\":\"}
port=${port%%\"*}
[ -c "$port" ] || fail "the practice machine names no port: $first"
printf '    · snack machine %s, data port %s\n' "$asset" "$port"

heading "Open the visit"
does 0 'Opened|open:' visit open $asset --site "Linden Hall foyer" --machine-serial PL7730418 \
	--by "A. Fitter" --without temperature

heading "Keep: read what must not be lost"
machine door door open
does 0 'whole|Its check|check value|fits' read "$port" -o first.dts --link auto
does 0 'HL-0932 |all paid|11 selections|fully|the clock' explain first.dts
does 0 'filed' visit add $visit first.dts

heading "Fit: the update takes prices with it; the restore sheet says which"
machine firmware firmware 0313
does 0 'whole|fits' read "$port" -o updated.dts
does 0 'Open:|selection  |\[ \]' compare first.dts updated.dts
must '4 things to key back in'
