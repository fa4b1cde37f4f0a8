# SPDX-License-Identifier: Apache-2.0
"""Captures for the rules of tool, bus, wires and times: one that has the fault, one close to it."""
from scene import *

SCENES = []


def scene(name):
    def keep(f):
        SCENES.append((name, f))
        return f
    return keep


def quiet(*notes, seconds=2.0, who=(CHANGER, READER)):
    """A machine that starts properly and idles."""
    b = Bus()
    for n in notes:
        b.note(n)
    b.up(who)
    b.rounds(seconds, who)
    return b


def idle(count, spoiled, who=CHANGER, how=None, command_as=None, period=0.150, data=None, notes=()):
    """`count` polls of a changer that was there already, the first `spoiled` of every even place spoiled."""
    b = Bus()
    for n in notes:
        b.note(n)
    for i in range(count):
        start = b.now
        bad = i % 2 == 0 and i // 2 < spoiled
        b.poll(who, data if data and bad else ACK, **(dict(how or {}) if bad else {}),
               command_as=command_as if bad else None)
        b.now = max(b.now, start + period * 1e6)
    return b


# ---- capture tool ----

@scene("no-traffic.yes")
def _():
    return Bus().vcd(end=15_000_000), "vcd"


@scene("no-traffic.no")
def _():
    b = idle(20, 0)
    return b.vcd(end=4_000_000), "vcd"


@scene("capture-8n1.yes")
def _():
    b = quiet("what an 8N1 receiver makes of a sound bus: words without mode bit get a wrong stop bit",
              "expect bus.silent-peripheral")
    b.notes.pop()
    b.words = [(t, l, x, False, f if m or f else ["framing"]) for t, l, x, m, f in b.words]
    return b


@scene("capture-8n1.no")
def _():
    b = quiet("four words spoiled by noise, with and without mode bit", "allow bus.framing")
    for k in (100, 131, 160, 190):
        t, l, x, m, f = b.words[k]
        b.words[k] = (t, l, x, m, ["framing"])
    return b


@scene("no-ninth-bit.yes")
def _():
    b = quiet("a tool that drops the ninth bit")
    b.words = [(t, l, x, False, f) for t, l, x, m, f in b.words]
    return b


@scene("no-ninth-bit.no")
def _():
    b = quiet("one word lost its mode bit")
    k = len(b.words) - 3
    t, l, x, m, f = b.words[k]
    b.words[k] = (t, l, x, not m, f)
    return b


@scene("one-line-only.yes")
def _():
    b = quiet("only the line of the commands was tapped: nobody may be called silent", seconds=8)
    return b.vcd("C"), "vcd"


@scene("one-line-only-answers.yes")
def _():
    b = quiet("only the line of the answers was tapped", seconds=8)
    return b.vcd("P"), "vcd"


@scene("one-line-only-answers.no")
def _():
    b = Bus()
    b.note("both were tapped; the reader is not there")
    b.up([CHANGER])
    b.rounds(2, [CHANGER])
    return b.vcd(), "vcd"


@scene("one-line-only.no")
def _():
    return quiet(seconds=1).vcd("CP"), "vcd"


@scene("lines-swapped.yes")
def _():
    b = quiet("pins 4 and 5 crossed: commands on the line of the answers and nobody answers")
    b.words = [(t, "P", x, m, f) for t, l, x, m, f in b.words if l == "C" and not f]
    return b


@scene("lines-swapped-names.yes")
def _():
    b = Bus()
    b.note("pins 4 and 5 crossed under a tap with named channels")
    b.note("expect bus.nobody-answers under bus.lines-swapped")
    for _i in range(40):
        b.poll(CHANGER, SILENT)
        b.rest(0.15)
    return b.vcd(names={"C": "MRX", "P": "MTX"}), "vcd"


@scene("lines-swapped-names.no")
def _():
    return quiet("the names only are the wrong way round: the bus works").vcd(names={"C": "MRX", "P": "MTX"}), "vcd"


@scene("lines-swapped.no")
def _():
    return quiet("as it should be")


@scene("cannot-show.yes")
def _():
    return quiet("option timing-unknown")


@scene("cannot-show.no")
def _():
    return quiet()


# ---- bus alive ----

@scene("controller-silent.yes")
def _():
    b = quiet("the controller stops for 14 s and goes on")
    b.rest(14)
    b.rounds(1, [CHANGER, READER])
    return b


@scene("controller-silent.no")
def _():
    b = quiet("switched off for 14 s and on again by hand")
    b.rest(14)
    b.up()
    b.rounds(1, [CHANGER, READER])
    return b


@scene("controller-silent-shortly.no")
def _():
    b = quiet("eight seconds of silence are judged device by device", "allow bus.poll-period")
    b.rest(8)
    b.rounds(1, [CHANGER, READER])
    return b


@scene("controller-silent-shortly.yes")
def _():
    b = quiet("twelve seconds are not")
    b.rest(12)
    b.rounds(1, [CHANGER, READER])
    return b


@scene("line-stuck.yes")
def _():
    b = Bus()
    b.note("the line of the answers is held active from the beginning")
    b.note("expect bus.nobody-answers under bus.line-stuck")
    b.note("expect bus.silent-peripheral under bus.line-stuck")
    b.words.append((500.0, "P", 0, False, ["break 9000000"]))
    for _i in range(40):
        b.poll(CHANGER, SILENT)
        b.rest(0.18)
    return b


@scene("line-stuck.no")
def _():
    return quiet("a reset of the bus is no stuck line")


@scene("nobody-answers.yes")
def _():
    b = Bus()
    b.note("expect bus.silent-peripheral under bus.nobody-answers")
    b.reset()
    for _i in range(50):
        b.poll(CHANGER, SILENT)
        b.poll(READER, SILENT)
        b.rest(0.16)
    return b


@scene("nobody-answers.no")
def _():
    b = Bus()
    b.note("all may be silent for some seconds after a reset of the bus")
    b.reset()
    for _i in range(10):
        b.poll(CHANGER, SILENT)
        b.poll(READER, SILENT)
        b.rest(0.1)
    b.changer_up()
    b.reader_up()
    return b


@scene("two-controllers.yes")
def _():
    b = quiet("a second board polls on the other line")
    for _i in range(20):
        b.put("P", [0x12, 0x12], [True, False])
        b.rest(0.02)
        b.poll(CHANGER)
        b.rest(0.1)
    return b


@scene("two-controllers.no")
def _():
    b = quiet("an answer that looks like a poll once")
    b.put("P", [0x12, 0x12], [True, False])
    b.rest(0.02)
    b.rounds(1, [CHANGER])
    return b


# ---- electrical ----

def at_rate(rate, who=CHANGER, own=9600, *notes):
    b = Bus()
    for n in notes:
        b.note(n)
    b.span = {who: rate, "C": own}
    b.rounds(6, [CHANGER, READER])
    return b


@scene("baud.yes")
def _():
    return at_rate(9350)


@scene("baud.no")
def _():
    return at_rate(9420)


@scene("baud-fast.yes")
def _():
    return at_rate(9720)


@scene("baud-fast.no")
def _():
    return at_rate(9690)


@scene("baud-apart.yes")
def _():
    return at_rate(9200, CHANGER, 9700, "expect bus.baud", "expect bus.baud-apart under bus.baud")


@scene("baud-apart.no")
def _():
    return at_rate(9410, CHANGER, 9695, "both just inside: 3.1 % apart still works")


@scene("address-clash.yes")
def _():
    b = Bus()
    b.note("two readers at 10H: acknowledgements overlay well, long answers never")
    b.note("expect bus.checksum under bus.address-clash")
    b.rounds(1.5, [READER])
    one, two = reader_id(3), reader_id(77, (0, 0, 0, 0))
    for _i in range(4):
        both = [x & y for x, y in zip(one, two)]
        b.do([0x17, 0] + CONTROLLER_ID, both, delta=(sum(one) & sum(two)) - sum(both), closing=None)
        a, c = READER_SETUP, [1, 2, 0x18, 0x26, 5, 2, 10, 0]
        both = [x & y for x, y in zip(a, c)]
        b.do([0x11, 0, 3, 0, 0, 1], both, delta=(sum(a) & sum(c)) - sum(both), closing=None)
        b.rounds(0.5, [READER])
    return b


@scene("address-clash.no")
def _():
    b = Bus()
    b.note("long answers of one reader of which one was hit by noise")
    b.rounds(1.5, [READER])
    for i in range(6):
        b.do([0x17, 0] + CONTROLLER_ID, reader_id(3), **({"delta": 4, "closing": None} if i == 2 else {}))
        b.rounds(0.5, [READER])
    return b


@scene("address-clash-identities.yes")
def _():
    b = Bus()
    b.note("two readers at 10H that answer in turn")
    for i in range(4):
        b.do([0x17, 0] + CONTROLLER_ID, reader_id(3 if i % 2 else 77))
        b.rounds(0.5, [READER])
    return b


@scene("address-clash-identities.no")
def _():
    b = Bus()
    for _i in range(4):
        b.do([0x17, 0] + CONTROLLER_ID, reader_id(3))
        b.rounds(0.5, [READER])
    return b


@scene("constant-checksum.yes")
def _():
    b = Bus()
    b.note("the changer counts the command's first byte into its sum")
    b.note("expect bus.checksum under bus.constant-checksum")
    b.rounds(1, [CHANGER])
    for i in range(5):
        b.do([0x0A], TUBES[:5] + [i] + TUBES[6:], delta=0x0A, closing=None)
        b.rounds(0.4, [CHANGER])
    return b


@scene("constant-checksum.no")
def _():
    b = Bus()
    b.note("wrong by something else each time: noise")
    b.note("allow bus.checksum")
    b.note("allow bus.address-clash")
    b.rounds(1, [CHANGER])
    for i in range(5):
        b.do([0x0A], TUBES, delta=1 << i, closing=None)
        b.do([0x0A], TUBES)
        b.rounds(0.4, [CHANGER])
    return b


SLUG = [0x21]


@scene("framing.yes")
def _():
    return idle(60, 5, data=SLUG, how={"framing": [1], "closing": None})


@scene("framing.no")
def _():
    return idle(60, 1, data=SLUG, how={"framing": [1], "closing": None})


@scene("checksum.yes")
def _():
    b = Bus()
    for i in range(60):
        start = b.now
        b.poll(CHANGER, [0x53, i], delta=(0, 1, 0, 2, 0, 4)[i % 6] if i < 30 else 0,
               closing=None if i < 30 and i % 2 else 0)
        b.now = max(b.now, start + 150e3)
    return b


@scene("checksum.no")
def _():
    return idle(60, 1, data=SLUG, how={"delta": 4, "closing": None})


def wrong_of(wrong, count):
    b = Bus()
    for i in range(count):
        bad = i % 50 == 7 and i // 50 < wrong
        b.poll(CHANGER, SLUG if i % 2 else ACK, delta=1 << i // 50 if bad else 0, closing=None if bad else 0)
        b.rest(0.02)
    return b


@scene("checksum-share.yes")
def _():
    return wrong_of(3, 400)


@scene("checksum-share.no")
def _():
    return wrong_of(3, 700)


@scene("checksum-both.yes")
def _():
    b = Bus()
    b.note("noise on both lines")
    b.note("expect bus.checksum under bus.checksum")
    for i in range(90):
        start = b.now
        bad = i % 6 == 0
        b.poll(CHANGER, [0x53, i], delta=1 << i % 7 if bad else 0, closing=None if bad else 0)
        b.do([0x0C, 0, i, 0, 0], SILENT if i % 6 == 1 else ACK, command_as={"delta": 1 << i % 7 if i % 6 == 1 else 0})
        b.poll(READER, [2, 5, 0x41, i], delta=2 << i % 5 if i % 6 == 3 else 0, closing=None if i % 6 == 3 else 0)
        b.now = max(b.now, start + 150e3)
    return b


@scene("checksum-both.no")
def _():
    return idle(60, 0)


@scene("mode-bit.yes")
def _():
    return idle(60, 6, how={"mode": [False]})


@scene("mode-bit.no")
def _():
    return idle(60, 1, how={"mode": [False]})


@scene("block-too-long.yes")
def _():
    b = Bus()
    b.rounds(1, [CHANGER])
    for _i in range(4):
        b.do([0x0F, 0xFF], [0x55] * 40, closing=None)
        b.rounds(0.4, [CHANGER])
    return b


@scene("block-too-long.no")
def _():
    b = Bus()
    b.rounds(1, [CHANGER])
    for _i in range(4):
        b.do([0x0F, 0xFF], [0x55] * 35)
        b.rounds(0.4, [CHANGER])
    return b


@scene("nak-storm.yes")
def _():
    return idle(60, 5, data=NAK)


@scene("nak-storm.no")
def _():
    return idle(60, 2, data=NAK)


def refused_in_a_row(count):
    b = Bus()
    for i in range(310):
        b.poll(CHANGER, NAK if 50 <= i < 50 + count else ACK)
        b.rest(0.02)
    return b


@scene("nak-storm-row.yes")
def _():
    return refused_in_a_row(3)


@scene("nak-storm-row.no")
def _():
    return refused_in_a_row(2)


@scene("ret-storm.yes")
def _():
    b = Bus()
    for i in range(40):
        b.poll(CHANGER, ACK if i % 8 else SLUG, closing=0xAA)
        if i % 8 == 0:
            b.now -= 4000
            b.answer(SLUG)
            b.close()
        b.rest(0.14)
    return b


@scene("ret-storm.no")
def _():
    b = Bus()
    b.poll(CHANGER, SLUG, closing=0xAA)
    b.now -= 4000
    b.answer(SLUG)
    b.close()
    b.rest(0.14)
    b.rounds(6, [CHANGER])
    return b


# ---- timing ----

@scene("late-answer.yes")
def _():
    return idle(80, 8, how={"after": 7900.0})


@scene("late-answer.no")
def _():
    return idle(80, 40, how={"after": 4900.0})


def overlapping(count, after):
    """The controller goes on at 6 ms, whether the answer came or not."""
    b = Bus()
    for i in range(60):
        start = b.now
        b.command([0x0B])
        end = b.now
        if i % 2 == 0 and i // 2 < count:
            b.now = end + 6000
            b.command([0x12])
            b.now = end + after
            b.answer(ACK, after=0.0)
            b.now = end + 6000 + 2 * WORD + 12000
        else:
            b.answer(ACK)
            b.now = end + 6000
            b.do([0x12], ACK)
        b.now = max(b.now, start + 170e3)
    return b


@scene("late-overlap.yes")
def _():
    return overlapping(5, 6900.0)


@scene("late-overlap.no")
def _():
    b = overlapping(0, 0)
    return b


@scene("inter-byte.yes")
def _():
    return idle(60, 8, data=SLUG, how={"gap": 1600.0})


@scene("inter-byte.no")
def _():
    return idle(60, 20, data=SLUG, how={"gap": 900.0})


@scene("unclosed-answer.yes")
def _():
    b = Bus()
    b.note("coins told once without and once more with an acknowledgement")
    b.note("expect bus.event-repeated under bus.unclosed-answer")
    for i in range(6):
        for closing in (None, 0):
            b.poll(CHANGER, [0x53, 20 + i], closing=closing)
            b.rest(0.12)
        b.rounds(0.9, [CHANGER], period=0.15)
    return b


@scene("unclosed-answer.no")
def _():
    return idle(60, 1, data=SLUG, how={"closing": None})


@scene("poll-period.yes")
def _():
    return idle(30, 0, period=0.300)


@scene("poll-period.no")
def _():
    b = idle(60, 0, period=0.190)
    b.note("one long gap while a motor runs")
    b.rest(0.7)
    b.rounds(4, [CHANGER])
    return b


@scene("poll-period-short.yes")
def _():
    return idle(8, 0, period=0.400)


@scene("poll-period-short.no")
def _():
    return idle(8, 0, period=0.195)


@scene("poll-period-fast.yes")
def _():
    return idle(80, 0, period=0.020)


@scene("poll-period-fast.no")
def _():
    return idle(80, 0, period=0.030)


@scene("short-break.yes")
def _():
    b = idle(10, 0)
    b.reset(50e3)
    b.rounds(2, [CHANGER])
    return b


@scene("short-break.no")
def _():
    return quiet(seconds=1)


@scene("short-break-glitch.yes")
def _():
    b = idle(10, 0)
    b.reset(1300, 250e3)
    b.rounds(2, [CHANGER])
    return b


@scene("short-break-glitch.no")
def _():
    b = idle(10, 0)
    b.note("shorter than a word with a late stop bit may look")
    b.reset(1100, 250e3)
    b.rounds(2, [CHANGER])
    return b


@scene("short-break-rest.yes")
def _():
    b = Bus()
    b.reset(120e3, 190e3)
    b.changer_up()
    return b


@scene("short-break-rest.no")
def _():
    b = Bus()
    b.reset(101e3, 201e3)
    b.changer_up()
    return b
