# SPDX-License-Identifier: Apache-2.0
"""Captures for the rules of presence and restarts: one that has the fault, one close to it."""
from scene import *
from scenes_link import quiet

SCENES = []


def scene(name):
    def keep(f):
        SCENES.append((name, f))
        return f
    return keep


# ---- presence ----

@scene("silent-peripheral.yes")
def _():
    b = Bus()
    b.up([CHANGER])
    b.rounds(7, [CHANGER, READER], answers={READER: SILENT})
    b.note("expect bus.reader-elsewhere under bus.silent-peripheral")
    return b


@scene("silent-peripheral.no")
def _():
    b = Bus()
    b.note("a reader that takes three seconds to start")
    b.up([CHANGER])
    b.rounds(3, [CHANGER, READER], answers={READER: SILENT})
    b.reader_up()
    b.rounds(2, [CHANGER, READER])
    return b


@scene("silent-peripheral-resets.yes")
def _():
    b = quiet("RESET without end", who=[CHANGER])
    for _i in range(80):
        b.do([0x10], SILENT)
        b.rounds(0.15, [CHANGER], period=0.15)
    return b


@scene("silent-peripheral-resets.no")
def _():
    b = quiet("three RESETs every ten seconds", who=[CHANGER])
    for _i in range(2):
        for _k in range(3):
            b.do([0x10], SILENT)
        b.rounds(10, [CHANGER])
    return b


@scene("silent-peripheral-later.yes")
def _():
    b = quiet("the reader is lost in the middle")
    b.rounds(7, [CHANGER, READER], answers={READER: SILENT})
    return b


@scene("silent-peripheral-later.no")
def _():
    b = quiet("the reader is busy for three seconds and comes back")
    b.rounds(3, [CHANGER, READER], answers={READER: SILENT})
    b.rounds(2, [CHANGER, READER])
    return b


def lost(who, seconds):
    b = quiet(who=[CHANGER, VALIDATOR, READER])
    b.rounds(seconds, [CHANGER, VALIDATOR, READER], answers={who: SILENT})
    return b


@scene("silent-peripheral-changer.yes")
def _():
    return lost(CHANGER, 2.6)


@scene("silent-peripheral-changer.no")
def _():
    return lost(CHANGER, 1.7)


@scene("silent-peripheral-validator.yes")
def _():
    return lost(VALIDATOR, 5.6)


@scene("silent-peripheral-validator.no")
def _():
    return lost(VALIDATOR, 4.5)


@scene("silent-peripheral-reader.yes")
def _():
    return lost(READER, 5.6)


@scene("silent-peripheral-reader.no")
def _():
    return lost(READER, 4.5)


@scene("probe-unanswered.yes")
def _():
    b = Bus()
    b.reset()
    for address in (0x10, 0x60, 0x40, 0x48, 0x50, 0x20):
        for _i in range(3):
            b.do([address], SILENT)
    b.changer_up()
    b.rounds(9.5, [CHANGER])
    for address in (0x10, 0x60):
        b.do([address], SILENT)
    return b


@scene("probe-unanswered.no")
def _():
    return quiet("nobody is looked for in vain")


@scene("missed-answers.yes")
def _():
    b = quiet()
    for _i in range(6):
        b.poll(CHANGER, SILENT)
        b.rounds(0.7, [CHANGER, READER])
    return b


@scene("missed-answers.no")
def _():
    b = quiet("silent once, while a coin falls")
    b.poll(CHANGER, SILENT)
    b.rounds(1, [CHANGER, READER])
    return b


@scene("reader-elsewhere.yes")
def _():
    b = Bus()
    b.note("60H acknowledges its RESET and is not used; 10H is polled in vain")
    b.note("expect bus.silent-peripheral")
    b.reset()
    b.changer_up()
    b.do([0x60], ACK)
    b.rounds(7, [CHANGER, READER], answers={READER: SILENT})
    return b


@scene("reader-elsewhere.no")
def _():
    b = Bus()
    b.note("a machine whose only reader is device 2, by choice")
    b.reset()
    b.changer_up()
    for _i in range(3):
        b.do([0x10], SILENT)
    b.reader_up(READER_2)
    b.rounds(2, [CHANGER, READER_2])
    return b


@scene("two-readers.yes")
def _():
    b = quiet()
    b.reader_up(READER_2, number=4)
    b.rounds(1, [CHANGER, READER, READER_2])
    return b


@scene("two-readers.no")
def _():
    b = quiet("the second one is there and closed")
    b.reader_up(READER_2, number=4, enable=False)
    b.rounds(1, [CHANGER, READER, READER_2])
    return b


# ---- restarts ----

@scene("break.yes")
def _():
    b = Bus()
    for _i in range(4):
        b.up()
        b.rounds(1.5, [CHANGER, READER])
    return b


@scene("break.no")
def _():
    return quiet("once, at power-up")


@scene("break-switched.yes")
def _():
    b = Bus()
    b.note("the controller restarts once, in the time that takes")
    b.up()
    b.rounds(1.5, [CHANGER, READER])
    b.rest(1.5)
    b.up()
    b.rounds(1.5, [CHANGER, READER])
    return b


@scene("break-switched.no")
def _():
    b = Bus()
    b.note("switched off for three seconds and on again by hand")
    b.up()
    b.rounds(1.5, [CHANGER, READER])
    b.rest(3)
    b.up()
    b.rounds(1.5, [CHANGER, READER])
    return b


@scene("reset-loop.yes")
def _():
    b = quiet("the reader restarts by itself, each time after a payout")
    for _i in range(3):
        b.do([0x0D, 0x83])
        b.poll(CHANGER, [2])
        b.rounds(0.4, [CHANGER, READER], answers={READER: SILENT})
        b.reader_up()
        b.rounds(1.5, [CHANGER, READER])
    return b


@scene("reset-loop.no")
def _():
    b = quiet("the controller resets it, and it says so")
    for _i in range(2):
        b.do([0x10])
        b.reader_up()
        b.sell()
        b.rounds(1, [CHANGER, READER])
    return b


@scene("reset-by-controller.yes")
def _():
    b = Bus()
    b.up([CHANGER])
    for _i in range(5):
        b.do([0x10])
        b.poll(READER, [0])
        b.do([0x11, 0, 3, 0, 0, 1], READER_SETUP)
        b.rounds(0.6, [CHANGER, READER])
    return b


@scene("reset-by-controller.no")
def _():
    b = Bus()
    b.up([CHANGER])
    b.do([0x10])
    b.poll(READER, [0])
    b.do([0x11, 0, 3, 0, 0, 1], READER_SETUP)
    b.do([0x10])
    b.reader_up()
    b.rounds(1, [CHANGER, READER])
    return b


@scene("out-of-sequence.yes")
def _():
    b = quiet("SESSION COMPLETE without a session")
    b.do([0x13, 4])
    b.poll(READER, [0x0B, 3])
    b.do([0x10])
    b.reader_up()
    b.rounds(1, [CHANGER, READER])
    return b


@scene("out-of-sequence.no")
def _():
    b = quiet()
    b.sell()
    b.rounds(1, [CHANGER, READER])
    return b


def ends(seconds):
    b = quiet()
    b.session()
    b.poll(READER, [4])
    b.do([0x13, 4])
    b.rounds(seconds, [CHANGER, READER])
    return b


@scene("end-session-missing.yes")
def _():
    b = ends(7)
    b.do([0x10])
    b.reader_up()
    b.rounds(1, [CHANGER, READER])
    return b


@scene("end-session-missing.no")
def _():
    b = ends(3)
    b.poll(READER, [7])
    b.rounds(4, [CHANGER, READER])
    return b
