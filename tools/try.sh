#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# One whole visit with the real program: a practice machine on a pseudo-terminal, a fitter, an office.
#
#   usage: tools/try.sh [FETTLE [PAPERS]]      build/src/cli/fettle and papers when not given
#
# Everything it writes lies in PAPERS, which is made anew; the user's own keys and books are not touched.
# It ends with 1 when any step did not end as it must.
set -uo pipefail
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
{ rm -rf -- "${papers:?}" && mkdir -p -- "$papers"; } || fail "the folder $papers cannot be made."
shown=$papers
papers=$(realpath -- "$papers")
{ cd "$papers" && : >.made-by-try && mkdir keys office; } || fail "the folder $papers cannot be written."
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
	rm -f -- "$papers/.lines" "$papers/.events" "$papers/.out" "$papers/.diagnostics"
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
	local line='  $ fettle' word piece

	for word in "$@"; do
		case $word in
		*[!a-zA-Z0-9_./:,=-]*) piece="\"$word\"" ;;
		*) piece=$word ;;
		esac
		if [ $((${#line} + ${#piece} + 3)) -gt 80 ]; then
			printf '%s \\\n' "$line"
			line='       '
		fi
		line="$line $piece"
	done
	printf '%s\n' "$line"
}

# does CODE KEEP COMMAND...: runs fettle, which must end with CODE; prints the lines that match KEEP, each
# indented ("-": none; "~": all of it as one paragraph).
does() {
	local code=$1 keep=$2 got
	shift 2

	typed "$@"
	"$fettle" "$@" >.out 2>.diagnostics
	got=$?
	if [ "$got" -ne "$code" ]; then
		cat .out .diagnostics >&2
		fail "step $step: \"fettle $*\" ended with $got, not $code."
	fi
	if [ "$keep" = '~' ]; then
		tr '\n' ' ' <.out | sed 's/ *$//' | fold -s -w 76 | sed 's/^/    /; s/ *$//'
		printf '\n'
	elif [ "$keep" != - ]; then
		grep -E -- "$keep" .out | sed 's/^ *//; s/^/    /' || fail "step $step: \"fettle $*\" did not say what it must: $keep"
	fi
}

quietly() {
	"$fettle" "$@" >.out 2>&1 || { cat .out >&2; fail "step $step: \"fettle $*\" failed."; }
}

# must TEXT: the last command said so.
must() {
	grep -qF -- "$1" .out || { cat .out >&2; fail "step $step: the answer lacks \"$1\"."; }
}

# machine EVENT LINE: says LINE to the practice machine and waits for that event. What comes before it is
# printed too, but for the reads and the troubles that the machine writes into its own list of events.
machine() {
	local event=$1 answer text
	shift

	printf '%s\n' "$*" >&7 || fail "step $step: the practice machine has gone."
	while IFS= read -r -t 20 -u 8 answer; do
		text=${answer#*\"text\":\"}
		text=${text%%\"*}
		case $answer in
		*'"event":"error"'*) fail "step $step: the practice machine answers: $text" ;;
		*'"event":"read"'* | *'"event":"reading"'* | *'"event":"trouble"'*) continue ;;
		esac
		text=${text%%:*}
		printf '  · %s.\n' "${text%.}"
		case $answer in *"\"event\":\"$event\""*) return ;; esac
	done
	fail "step $step: the practice machine did not answer \"$*\" with $event."
}

# ---- the visit ----

cat <<END
One visit, from the first read to the office. The machine is a practice machine,
all else is the program as it works at a real one. A line with · is what the
machine does, a line with \$ what the fitter types.
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
printf '  · snack machine %s, data port %s\n' "$asset" "$port"

heading "Open the visit"
does 0 'Opened|open:' visit open $asset --site "Linden Hall foyer" --machine-serial PL7730418 \
	--by "A. Fitter" --without temperature

heading "Keep: read what must not be lost"
machine sale sell 31 coins 100
machine door door open
does 0 '~' read "$port" -o first.dts --link auto
does 0 'HL-0932 |all paid|11 selections| fully | no  ' explain first.dts
does 0 'filed' visit add $visit first.dts

heading "Fit: the update takes prices with it; the restore sheet says which"
machine price firmware 0313
does 0 '~' read "$port" -o updated.dts
does 0 'Open:|selection  |\[ \]' compare first.dts updated.dts
must '4 things to key back in'

heading "Key the prices back; two lines of the sheet change places on the way"
for line in 'price 21 125' 'price 22 125' 'price 23 200' 'price 24 225'; do
	machine price "$line"
done
machine fault fault crossed-selections 21 23 # nobody notices
machine clock clock "$(date +%Y-%m-%dT%H:%M)"
machine door door close
does 0 '~' read "$port" -o keyed.dts
does 0 'price or setting' compare first.dts keyed.dts

heading "Prove: sell by coin, by bill and by card, and write the list"
machine saved sales forget
for line in 'sell 21 coins 100 25' 'sell 23 coins 100 100' 'sell 23 card' 'sell 11 bill 500' 'sell 24 card' \
	'sell 22 coins 100 100'; do
	machine sale "$line"
done
machine saved sales sales-1.csv
does 0 '~' read "$port" -o sold-1.dts
does 1 '^Contradicted|because|^  !|audit  |list  |moved exactly' prove keyed.dts sold-1.dts --sales sales-1.csv
must 'Selections 21 and 23 count for each other.'
does 1 'audit, filed|sales, filed|^contradicted:|◆' visit add $visit sold-1.dts sales-1.csv

heading "Mend it, read, sell again, read: now the counters tell the same as the list"
machine door door open
machine fault fault off crossed-selections
machine door door close
does 0 '~' read "$port" -o mended.dts
machine saved sales forget
for line in 'sell 21 coins 100 25' 'sell 23 coins 100 100' 'sell 21 card' 'sell 11 bill 500' 'sell 24 card' \
	'sell 22 bill 500'; do
	machine sale "$line"
done
machine saved sales sales-2.csv
does 0 '~' read "$port" -o sold-2.dts
does 0 '^Shown|moved exactly|audit  |list  ' prove mended.dts sold-2.dts --sales sales-2.csv
does 0 'audit, filed|sales, filed|^open:' visit add $visit mended.dts sold-2.dts sales-2.csv

heading "Say what only eyes can tell, give the numbers"
does 0 - visit say $visit know.fits "looked at: controller, port and room for the unit"
does 0 - visit say $visit know.works "sold one of 31 for coins before the door was opened"
does 0 - visit say $visit keep.settings "motor groups and menu noted on the job sheet"
does 0 - visit say $visit fit.isolated "plug pulled and kept in hand; no mains cover opened"
does 0 - visit say $visit fit.level "level, both anchors tight"
does 0 - visit say $visit fit.antenna "on the roof, lead not pinched by the door"
does 0 - visit say $visit fit.cables "tied to the run at the hinge, door tried twice"
does 0 - visit say $visit fit.old-unit "there was none"
does 0 - visit say $visit hand-over.box "goods, cash box and keys back"
does 0 - visit set $visit --unit U-55201 --sim 8949123456789012347

heading "Waive, with a reason, what this visit cannot show"
does 0 - visit waive $visit know.supply --because "the maker gives no figures for the supply"
does 0 - visit waive $visit keep.condition --because "the camera was left in the van"
does 0 - visit waive $visit fit.photographs --because "the camera was left in the van"
does 0 - visit waive $visit prove.bus --because "no capture device in the van"
does 0 - visit waive $visit prove.door --because "the unit does not report the door"
does 0 - visit waive $visit prove.signal --because "no modem on a practice machine"

heading "Look at the visit, close it"
does 0 'Know |Keep |Fit |Prove |Hand over |Watch ' visit show $visit
does 0 'Closed' visit close $visit

heading "Hand over: pack it, signed"
does 0 'Packed|Package' handover pack $visit -o $visit.zip --name "A. Fitter"
does 0 '~' handover verify $visit.zip
quietly handover key
cp .out fitter.key-public

heading "In the office: take on the fitter's key, file the package, file it again"
export XDG_CONFIG_HOME=$papers/office
does 0 . handover trust fitter.key-public
export FETTLE_BOOK=office.sqlite
does 0 '~' handover receive $visit.zip
does 0 'nothing had to be changed' handover receive $visit.zip
does 0 '~' --book office.sqlite book check

machine quit quit
wait "$machine_pid" || fail "the practice machine ended with $?: $(cat .machine-log)"
machine_pid=

# ---- the account ----

export FETTLE_BOOK=$papers/van.sqlite
{ mkdir package && python3 -m zipfile -e $visit.zip package; } || fail "the package cannot be unpacked."
for paper in handover.pdf machines.csv handover.json; do
	[ -s "package/$paper" ] || fail "the package has no $paper."
done
"$fettle" --json visit show $visit >.out || fail "the visit cannot be shown."
python3 - "$shown" .out "$((SECONDS - started))" <<'END' || fail "the account cannot be drawn up."
import json, sys, textwrap

papers, document, seconds = sys.argv[1], json.load(open(sys.argv[2])), sys.argv[3]
visit, claims = document["visit"], document["claims"]


def standing(word, later=False):
    return [c for c in claims if c["stands"] == word and c["due_later"] == later]


def line(mark, text, indent=5):
    print(textwrap.fill(text, 80, initial_indent=f"  {mark}  ", subsequent_indent=" " * indent))


def capital(text):
    return text[0].upper() + text[1:]


shown = standing("shown") + standing("shown", True)
evidence = [c for c in shown if c["evidence"]]
words = [c for c in shown if not c["evidence"] and c["said"]]
rest = len(shown) - len(evidence) - len(words)
mended = [f for f in document["findings"] if f["rule"] == "visit.proved-anew"]
print("\n" + "─" * 80)
print(f"The account of {visit['id']}, {visit['site']}: {document['verdict']}.\n")
line("■", f"shown         {len(evidence)} claims by evidence, {len(words)} by the fitter's word" +
     (f", {rest} by the numbers given." if rest else "."), 19)
sales = [c for c in claims if c["id"] == "prove.sales"][0]
line(" ", f"              {capital(sales['sentence'])}: {sales['because']}", 19)
for c in standing("contradicted"):
    line("◆", f"contradicted  {capital(c['sentence'])}: {c['because']}", 19)
for f in mended:
    line("◆", f"contradicted  {f['seen']}: mended, sold again, shown.", 19)
for n, c in enumerate(standing("waived")):
    line("◐" if not n else " ", ("waived        " if not n else " " * 14) +
         f"{capital(c['sentence'])}.", 19)
    line(" ", f"              Reason: {c['waived']['because']}.", 19)
for n, c in enumerate(standing("open") + standing("open", True)):
    line("○" if not n else " ", ("open          " if not n else " " * 14) + f"{capital(c['sentence'])}" +
         (", in the weeks after." if c["due_later"] and c["stage"] == "watch" else "."), 19)
print(f"""
  The papers lie in {papers}/:
     {visit['id']}.zip             the signed package, as the office got it
     package/handover.pdf      the same for people
     package/machines.csv      one line for the office's own system
     van.sqlite office.sqlite  the fitter's book and the office's

  make bench opens this visit in the browser; so does
     fettle bench --book {papers}/van.sqlite

  Played in {seconds} s, on an invented machine at no real place.""")
if document["verdict"] != "shown" or not mended:
    sys.exit("the visit did not end as it must")
END
