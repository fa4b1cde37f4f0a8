# SPDX-License-Identifier: Apache-2.0
"""Captures for the rules of setup and transactions, and honest ones that no rule may take for anything."""
from scene import *

SCENES = []
ALL = [CHANGER, VALIDATOR, READER]


def scene(name):
    def keep(f):
        SCENES.append((name, f))
        return f
    return keep


def machine(*notes, who=(CHANGER, READER), seconds=1.0, **more):
    b = Bus()
    for n in notes:
        b.note(n)
    b.up(who, **more)
    b.rounds(seconds, who)
    return b


def reader_setup(currency=(0x19, 0x78), scale=1, decimals=2, level=3, options=9):
    return [1, level] + list(currency) + [scale, decimals, 5, options]


# ---- setup ----

@scene("currency-differ.yes")
def _():
    return machine("pounds in the reader", setup=reader_setup((0x18, 0x26)))


@scene("currency-differ.no")
def _():
    return machine("FFFF is unknown", setup=reader_setup((0xFF, 0xFF)))


@scene("currency-differ-dollar.no")
def _():
    b = Bus()
    b.note("00 01 and 18 40 are one currency")
    b.reset()
    b.changer_up(setup=[3, 0x00, 0x01] + CHANGER_SETUP[3:])
    b.reader_up(setup=reader_setup((0x18, 0x40)))
    return b


@scene("currency-differ-dollar.yes")
def _():
    b = Bus()
    b.reset()
    b.changer_up(setup=[3, 0x00, 0x01] + CHANGER_SETUP[3:])
    b.reader_up(setup=reader_setup((0x18, 0x26)))
    return b


@scene("decimals-differ.yes")
def _():
    return machine(setup=reader_setup(scale=1, decimals=3))


@scene("decimals-differ.no")
def _():
    return machine("another scale is legal", setup=reader_setup(scale=5))


@scene("scale-misfit.yes")
def _():
    return machine("0.05 cannot be said in steps of 0.10", setup=reader_setup(scale=10))


@scene("scale-misfit.no")
def _():
    return machine(setup=reader_setup(scale=5))


@scene("scale-misfit-price.yes")
def _():
    b = machine("1.50 by card and 15.00 for cash")
    b.sell(price=150)
    b.do([0x13, 5, 0x05, 0xDC, 0, 12])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("scale-misfit-price.no")
def _():
    b = machine("a little dearer by card is no fault")
    b.sell(price=150)
    b.do([0x13, 5, 0, 140, 0, 12])
    b.rounds(1, [CHANGER, READER])
    return b


def first_level(funds):
    b = Bus()
    b.reset()
    b.changer_up()
    b.reader_up(level=1, setup=reader_setup(level=1))
    b.rounds(1, [CHANGER, READER])
    b.poll(READER, [3] + funds)
    b.do([0x13, 4])
    b.poll(READER, [7])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("level-mismatch.yes")
def _():
    return first_level([3, 0xE8, 255, 255, 255, 255, 0, 0, 0])


@scene("level-mismatch.no")
def _():
    return first_level([3, 0xE8])


@scene("surplus-byte.yes")
def _():
    return first_level([0x4E, 0x20, 0xFF])


@scene("surplus-byte.no")
def _():
    return first_level([0x4E, 0x20])


def wide(approved, vend=(0, 0, 0, 150)):
    b = machine(options=2)
    b.poll(READER, [3, 0, 0, 3, 0xE8, 255, 255, 255, 255, 0, 0, 0, 0x65, 0x6E, 0x19, 0x78, 0])
    b.do([0x13, 0] + list(vend) + [0, 12])
    b.poll(READER, [5] + approved)
    b.do([0x13, 2, 0, 12])
    b.do([0x13, 4])
    b.poll(READER, [7])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("money-width.yes")
def _():
    return wide([0, 150])


@scene("money-width.no")
def _():
    return wide([0, 0, 0, 150])


@scene("no-price-limits.yes")
def _():
    return machine(limits=False)


@scene("no-price-limits.no")
def _():
    b = Bus()
    b.note("set up before the capture begins: what was not seen is not missing")
    b.rounds(1, [CHANGER, READER])
    b.do([0x14, 0])
    b.do([0x14, 1])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("price-limits.yes")
def _():
    b = machine("highest price 1.00, sold at 1.50", limits=[0, 100, 0, 0])
    b.sell()
    return b


@scene("price-limits.no")
def _():
    b = machine("highest price 1.50, sold at 1.50", limits=[0, 150, 0, 0])
    b.sell()
    return b


@scene("price-limits-long.yes")
def _():
    return machine("the long form without 32 bit money", limits=[255] * 4 + [0] * 4 + [0x19, 0x78])


@scene("price-limits-long.no")
def _():
    b = machine("the long form after 32 bit money was enabled", options=2, enable=False)
    b.do([0x11, 1] + [255] * 4 + [0] * 4 + [0x19, 0x78])
    b.do([0x14, 1])
    return b


@scene("reader-enabled-early.yes")
def _():
    b = Bus()
    b.note("expect bus.out-of-sequence under bus.reader-enabled-early")
    b.reset()
    b.changer_up()
    b.poll(READER, [0])
    b.do([0x14, 1])
    b.poll(READER, [0x0B, 1])
    b.do([0x10])
    b.reader_up()
    b.rounds(1, [CHANGER, READER])
    return b


@scene("reader-enabled-early.no")
def _():
    b = Bus()
    b.note("in the middle of the work: closed and opened again")
    b.rounds(1, [CHANGER, READER])
    b.do([0x14, 0])
    b.do([0x14, 1])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("reader-not-enabled.yes")
def _():
    return machine(enable=False, seconds=8)


@scene("reader-not-enabled.no")
def _():
    b = machine("closed while cash credit stands", seconds=1)
    b.poll(CHANGER, [0x54, 0x15])
    b.do([0x14, 0])
    b.rounds(8, [CHANGER, READER])
    return b


@scene("reader-not-enabled-yet.no")
def _():
    return machine("four seconds after its setup", enable=False, seconds=3)


@scene("reader-not-enabled-yet.yes")
def _():
    return machine("six seconds after its setup", enable=False, seconds=6)


@scene("reader-not-enabled-closed.yes")
def _():
    b = machine("closed and never opened again", seconds=1)
    b.do([0x14, 0])
    b.rounds(33, [READER])
    b.note("allow bus.poll-period")
    return b


@scene("reader-not-enabled-closed.no")
def _():
    b = Bus()
    b.note("in the middle of the work: READER ENABLE lies before the capture")
    b.rounds(9, [CHANGER, READER])
    return b


@scene("cash-not-enabled.yes")
def _():
    b = Bus()
    b.reset()
    b.changer_up(enable=0)
    b.rounds(13, [CHANGER])
    return b


@scene("cash-not-enabled-yet.yes")
def _():
    b = Bus()
    b.reset()
    b.changer_up(enable=None)
    b.rounds(11, [CHANGER])
    return b


@scene("cash-not-enabled-yet.no")
def _():
    b = Bus()
    b.reset()
    b.changer_up(enable=None)
    b.rounds(8, [CHANGER])
    return b


@scene("cash-not-enabled.no")
def _():
    b = machine("coins blocked on purpose while a session is open")
    b.session()
    b.do([0x0C, 0, 0, 0, 0])
    b.rounds(34, [CHANGER, READER])
    b.poll(READER, [4])
    b.do([0x13, 4])
    b.poll(READER, [7])
    b.do([0x0C, 0, 0x3F, 0, 0x0F])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("cash-not-enabled-bills.yes")
def _():
    b = Bus()
    b.note("bills are tried and refused")
    b.rounds(1, [VALIDATOR])
    for _i in range(3):
        b.poll(VALIDATOR, [0x42])
        b.rounds(1, [VALIDATOR])
    return b


@scene("cash-not-enabled-change.no")
def _():
    b = Bus()
    b.note("bills wait for change in the tubes")
    b.reset()
    b.changer_up()
    b.do([0x0A], [0, 0, 2, 1] + [0] * 14)
    b.validator_up(enable=0)
    b.rounds(13, [CHANGER, VALIDATOR])
    return b


@scene("cash-not-enabled-change.yes")
def _():
    b = Bus()
    b.note("bills are not enabled though the tubes hold change")
    b.reset()
    b.changer_up()
    b.validator_up(enable=0)
    b.rounds(13, [CHANGER, VALIDATOR])
    return b


@scene("honest-reset-first.no")
def _():
    b = Bus()
    b.note("a reader that says 00 at each poll until it is set up, and a controller that starts with RESET")
    for address in (0x08, 0x30, 0x10):
        b.do([address])
    b.changer_up()
    b.validator_up()
    for _i in range(5):
        b.poll(READER, [0])
    b.reader_up()
    b.rounds(3, ALL)
    return b


@scene("cash-not-enabled-bills.no")
def _():
    b = Bus()
    b.note("a bill is tried once while the machine starts")
    b.reset()
    b.validator_up(enable=None)
    b.poll(VALIDATOR, [0x41])
    b.do([0x34, 0, 7, 0, 7])
    b.rounds(2, [VALIDATOR])
    return b


def select(options, last):
    b = machine(options=options)
    b.ask()
    for block in last:
        b.poll(READER, block)
    if last[-1][0] == 5:
        b.do([0x13, 2, 0, 12])
        b.do([0x13, 4])
        b.poll(READER, [7])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("select-first.yes")
def _():
    b = select(0, [[0x0B, 3]])
    b.note("expect bus.out-of-sequence under bus.select-first")
    return b


@scene("select-first.no")
def _():
    return select(0x20, [[5, 0, 150]])


# ---- transactions ----

@scene("approved-not-closed.yes")
def _():
    b = machine()
    b.session()
    b.ask()
    b.approve()
    b.do([0x13, 4])
    b.poll(READER, [7])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("approved-not-closed.no")
def _():
    b = machine("the capture ends while the product moves")
    b.session()
    b.ask()
    b.approve()
    b.rounds(0.5, [CHANGER, READER])
    return b


def asked(seconds):
    b = machine()
    b.session()
    b.ask()
    b.rounds(seconds, [CHANGER, READER])
    b.approve()
    b.do([0x13, 2, 0, 12])
    b.do([0x13, 4])
    b.poll(READER, [7])
    return b


@scene("session-hangs.yes")
def _():
    return asked(8)


@scene("session-hangs.no")
def _():
    return asked(4)


def failing(failures, sales, lost=0):
    b = machine()
    for i in range(failures + sales):
        b.session()
        b.ask()
        b.approve()
        if i < failures:
            b.do([0x13, 3])
            b.poll(READER, [0x0A, 0xC0] if i < lost else ACK)
        else:
            b.do([0x13, 2, 0, 12])
        b.do([0x13, 4])
        b.poll(READER, [7])
        b.rounds(0.5, [CHANGER, READER])
    return b


@scene("vend-failures.yes")
def _():
    return failing(4, 4)


@scene("vend-failures.no")
def _():
    return failing(1, 4)


@scene("refund-lost.yes")
def _():
    return failing(1, 2, 1)


@scene("refund-lost.no")
def _():
    return failing(1, 2)


@scene("event-repeated.yes")
def _():
    b = machine("a coin told twice: its acknowledgement was lost")
    b.poll(CHANGER, [0x53, 0x15], closing=None)
    b.poll(CHANGER, [0x53, 0x15])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("event-repeated.no")
def _():
    b = machine("two coins alike, each acknowledged")
    b.poll(CHANGER, [0x53, 0x15])
    b.poll(CHANGER, [0x53, 0x15])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("reader-trouble.yes")
def _():
    b = machine("reader failure")
    b.poll(READER, [0x0A, 0x80])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("reader-trouble.no")
def _():
    b = machine("a card that cannot be read")
    b.poll(READER, [0x0A, 0x10])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("tube-trouble.yes")
def _():
    b = machine()
    b.poll(CHANGER, [4])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("tube-trouble.no")
def _():
    b = machine("payout busy, slugs and the return lever are no trouble")
    for block in ([2], [0x21], [1]):
        b.poll(CHANGER, block)
    b.rounds(1, [CHANGER, READER])
    return b


@scene("tube-trouble-full.yes")
def _():
    b = machine("full and empty at once")
    b.do([0x0A], [0, 8] + TUBES[2:5] + [0] * 13)
    return b


@scene("tube-trouble-full.no")
def _():
    b = machine("full with 78 coins")
    b.do([0x0A], [0, 8] + TUBES[2:5] + [78] + [0] * 12)
    return b


@scene("tube-trouble-count.yes")
def _():
    b = machine("four coins and no rise")
    for _i in range(4):
        b.poll(CHANGER, [0x53, 0x15])
        b.rounds(0.5, [CHANGER])
    return b


@scene("tube-trouble-count.no")
def _():
    b = machine("four coins with payouts between")
    for _i in range(4):
        b.poll(CHANGER, [0x53, 0x15])
        b.do([0x0D, 0x13])
        b.rounds(0.5, [CHANGER])
    return b


def lasting(address, code, seconds, who, **more):
    b = Bus()
    b.up(who, **more)
    b.rounds(seconds, who, answers={address: [code]})
    b.rounds(1, who)
    return b


@scene("changer-out.yes")
def _():
    return lasting(CHANGER, 6, 7, [CHANGER])


@scene("changer-out.no")
def _():
    return lasting(CHANGER, 6, 2, [CHANGER])


@scene("validator-out.yes")
def _():
    return lasting(VALIDATOR, 8, 7, [VALIDATOR])


@scene("validator-out.no")
def _():
    b = lasting(VALIDATOR, 8, 4, [VALIDATOR])
    b.note("the cash box taken out for a moment, then disabled because it was told to be")
    b.do([0x34, 0, 0, 0, 0])
    b.rounds(8, [VALIDATOR], answers={VALIDATOR: [9]})
    return b


def escrow(seconds, command=True, result=None):
    b = Bus()
    b.up([VALIDATOR])
    b.poll(VALIDATOR, [0x90])
    if command:
        b.do([0x35, 1])
    b.rounds(seconds, [VALIDATOR])
    if result:
        b.poll(VALIDATOR, [result])
    b.rounds(1, [VALIDATOR])
    return b


@scene("escrow-unresolved.yes")
def _():
    return escrow(33)


@scene("escrow-unresolved.no")
def _():
    return escrow(20, result=0x80)


@scene("escrow-unresolved-idle.yes")
def _():
    return escrow(33, command=False)


@scene("escrow-unresolved-idle.no")
def _():
    b = escrow(20, command=False)
    b.do([0x35, 0])
    b.poll(VALIDATOR, [0xA0])
    return b


@scene("unknown-command.yes")
def _():
    b = machine()
    b.do([0x7B, 1], SILENT)
    b.do([0x16, 1], SILENT)
    b.rounds(1, [CHANGER, READER])
    return b


@scene("unknown-command.no")
def _():
    return machine()


# ---- honest ones ----

@scene("honest-day.no")
def _():
    b = Bus()
    b.note("the whole worked example: power-up with probes, cash with change, a card sale, a refusal")
    b.reset()
    for address in (0x60, 0x40, 0x48):
        for _i in range(3):
            b.do([address], SILENT)
    b.changer_up(enable=0)
    b.poll(VALIDATOR, [6, 9])
    b.do([0x31], VALIDATOR_SETUP)
    b.do([0x37, 0], VALIDATOR_ID)
    b.do([0x36], [0, 0])
    b.do([0x34, 0, 0, 0, 0])
    b.poll(READER)
    b.reader_up()
    b.do([0x0C, 0, 0x3F, 0, 0x0F])
    b.do([0x34, 0, 7, 0, 7])
    b.rounds(2, ALL)
    b.poll(CHANGER, [0x53, 0x15])
    b.poll(VALIDATOR, [0x90])
    b.do([0x14, 0])
    b.do([0x35, 1])
    b.poll(VALIDATOR)
    b.poll(VALIDATOR, [0x80])
    b.do([0x0C, 0, 0, 0, 0])
    b.do([0x34, 0, 0, 0, 0])
    b.do([0x0D, 0x83])
    b.poll(CHANGER, [2])
    b.poll(CHANGER)
    b.do([0x0A], TUBES[:5] + [13] + [0] * 12)
    b.do([0x13, 5, 0, 150, 0, 12])
    b.do([0x14, 1])
    b.do([0x0C, 0, 0x3F, 0, 0x0F])
    b.do([0x34, 0, 7, 0, 7])
    b.rounds(2, ALL)
    b.sell()
    b.rounds(2, ALL)
    b.session()
    b.ask()
    b.poll(READER, [6])
    b.do([0x13, 4])
    b.poll(READER, [7])
    b.rounds(2, ALL)
    return b


@scene("honest-middle.no")
def _():
    b = Bus()
    b.note("a capture that begins and ends in the middle of the work, in the middle of a block")
    b.rounds(2, ALL)
    b.sell()
    b.rounds(1, ALL)
    b.words = b.words[4:-1]
    return b


@scene("honest-reset-answer.no")
def _():
    b = Bus()
    b.note("a reader that answers RESET itself with 00 00*")
    b.reset()
    b.changer_up()
    b.do([0x10], [0])
    b.do([0x11, 0, 3, 0, 0, 1], READER_SETUP)
    b.do([0x11, 1, 255, 255, 0, 0])
    b.do([0x14, 1])
    b.rounds(2, [CHANGER, READER])
    return b


@scene("honest-slow-customer.no")
def _():
    b = machine("a card lies in the reader for half a minute")
    b.session()
    b.rounds(30, [READER])
    b.poll(READER, [4])
    b.do([0x13, 4])
    b.poll(READER, [7])
    return b


@scene("honest-wide-middle.no")
def _():
    b = Bus()
    b.note("a sale in 32 bit money, the capture begun after the option was enabled")
    b.rounds(1, [CHANGER, READER])
    b.poll(READER, [3, 0, 0, 3, 0xE8, 255, 255, 255, 255, 0, 0, 0, 0x65, 0x6E, 0x19, 0x78, 0])
    b.do([0x13, 0, 0, 0, 0, 150, 0, 12])
    b.poll(READER, [5, 0, 0, 0, 150])
    b.do([0x13, 2, 0, 12])
    b.do([0x13, 4])
    b.poll(READER, [7])
    b.rounds(1, [CHANGER, READER])
    return b


@scene("honest-later.no")
def _():
    b = Bus()
    b.note("answers that come on a later poll")
    b.reset()
    b.changer_up()
    b.poll(READER)
    b.poll(READER, [0])
    b.do([0x11, 0, 3, 0, 0, 1])
    b.poll(READER)
    b.poll(READER, READER_SETUP)
    b.do([0x11, 1, 255, 255, 0, 0])
    b.do([0x17, 0] + CONTROLLER_ID)
    b.poll(READER, reader_id())
    b.do([0x14, 1])
    b.rounds(2, [CHANGER, READER])
    return b
