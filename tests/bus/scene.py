# SPDX-License-Identifier: Apache-2.0
"""A small multi-drop bus for the captures of tests/bus/rules: blocks go in, words or levels come out.

Times are microseconds. The devices are those of the worked example of the facts: changer at 08H, bill
validator at 30H, reader at 10H, all in euro; maker SIM is invented.
"""
WORD = 1145.837  # eleven bits at 9600 bit/s
ACK, NAK, SILENT = "ack", "nak", None
CHANGER, READER, VALIDATOR, READER_2 = 0x08, 0x10, 0x30, 0x60
POLL = {CHANGER: 3, VALIDATOR: 3}

CHANGER_SETUP = [3, 0x19, 0x78, 5, 2, 0, 0x0F, 1, 2, 4, 0x0A, 0x14, 0x28] + [0] * 10
VALIDATOR_SETUP = [1, 0x19, 0x78, 1, 0xF4, 2, 2, 0x58, 0, 0, 0xFF, 1, 2, 4] + [0] * 13
READER_SETUP = [1, 3, 0x19, 0x78, 1, 2, 5, 9]
TUBES = [0, 0, 0x1E, 0x28, 0x23, 0x14] + [0] * 12


def text(s):
    return [ord(c) for c in s]


def identity(number, model, options=()):
    return text("SIM") + text("%012d" % number) + text("%-12s" % model) + [1, 0] + list(options)


CHANGER_ID = identity(1, "SIM-CHANGER1", [0, 0, 0, 3])
VALIDATOR_ID = identity(2, "SIM-BILLVAL1")
CONTROLLER_ID = identity(9, "SIM-VMC-0001")


def reader_id(number=3, options=(0, 0, 0, 0x22)):
    return [9] + identity(number, "SIM-CASHLESS", options)


class Bus:
    def __init__(self):
        self.now = 1000.0
        self.words = []  # time, line, byte, mode, flags
        self.notes = []
        self.answer_after = 1500.0
        self.span = {}  # line or address: bits a second
        self.next_answer = {}  # how the next answer is to be spoiled

    def note(self, text):
        self.notes.append(text)

    def put(self, line, data, modes, gap=0.0, framing=(), span=None):
        for i, byte in enumerate(data):
            flags = ["framing"] if i in framing else []
            if span:
                flags.append("span %d/10" % round(1e10 / span))
            self.words.append((self.now, line, byte, modes[i], flags))
            self.now += WORD + (gap if i + 1 < len(data) else 0)

    def command(self, data, delta=0, mode=None, gap=0.0, framing=()):
        data = list(data) + [(sum(data) + delta) & 255]
        modes = [i == 0 for i in range(len(data))] if mode is None else mode
        self.put("C", data, modes, gap, framing, self.span.get("C"))

    def answer(self, data, delta=0, mode=None, gap=0.0, framing=(), extra=(), after=None, address=None):
        """`data` is bytes or ACK or NAK; `extra` bytes follow the last one."""
        if data in (ACK, NAK):
            data = [0 if data == ACK else 255]
        else:
            data = list(data) + [(sum(data) + delta) & 255]
        modes = [i + 1 == len(data) for i in range(len(data))] if mode is None else mode
        self.now += self.answer_after if after is None else after
        self.put("P", data + list(extra), modes + [i + 1 == len(extra) for i in range(len(extra))], gap, framing,
                 self.span.get(address))

    def close(self, byte=0, after=1500.0):
        self.now += after
        self.put("C", [byte], [False], span=self.span.get("C"))

    def do(self, command, answer=ACK, closing=0, command_as=None, **spoil):
        """One exchange; leaves the time at its end and a little rest behind it."""
        start = self.now
        self.command(command, **(command_as or {}))
        if answer is not SILENT:
            self.answer(answer, address=command[0] & 0xF8, **spoil)
            if answer not in (ACK, NAK) and closing is not None:
                self.close(closing)
        else:
            self.now += 6000.0
        self.now += 4000.0
        return start

    def poll(self, address, answer=ACK, **more):
        return self.do([address + POLL.get(address, 2)], answer, **more)

    def rest(self, seconds):
        self.now += seconds * 1e6

    def rounds(self, seconds, who, period=0.190, answers=None, **more):
        """Polls all of `who` once a period."""
        end = self.now + seconds * 1e6
        while self.now < end:
            start = self.now
            for address in who:
                self.poll(address, (answers or {}).get(address, ACK), **more)
            self.now = max(self.now, start + period * 1e6)

    def reset(self, length=120e3, rest=250e3):
        self.words.append((self.now, "C", 0, False, ["break %d" % length]))
        self.now += length + rest

    # ---- setting up, as the worked example does it ----

    def changer_up(self, setup=None, enable=0x3F):
        self.poll(CHANGER, [0x0B])
        self.do([9], setup or CHANGER_SETUP)
        self.do([0x0F, 0], CHANGER_ID)
        self.do([0x0A], TUBES)
        if enable is not None:
            self.do([0x0C, 0, enable, 0, 0x0F])

    def validator_up(self, setup=None, enable=7):
        self.poll(VALIDATOR, [6])
        self.do([0x31], setup or VALIDATOR_SETUP)
        self.do([0x37, 0], VALIDATOR_ID)
        self.do([0x36], [0, 0])
        if enable is not None:
            self.do([0x34, 0, enable, 0, enable])

    def reader_up(self, at=READER, setup=None, level=3, limits=True, options=0, enable=True, number=3, offered=0x22):
        self.poll(at, [0])
        self.do([at + 1, 0, level, 0, 0, 1], setup or READER_SETUP)
        if limits:
            self.do([at + 1, 1] + (limits if isinstance(limits, list) else [255, 255, 0, 0]))
        self.do([at + 7, 0] + CONTROLLER_ID, reader_id(number, (0, 0, 0, offered) if level == 3 else ()))
        if level == 3:
            self.do([at + 7, 4, 0, 0, 0, options])
        if enable:
            self.do([at + 4, 1])

    def up(self, who=(CHANGER, READER), **more):
        self.reset()
        if CHANGER in who:
            self.changer_up()
        if VALIDATOR in who:
            self.validator_up()
        if READER in who:
            self.reader_up(**more)

    # ---- what customers do ----

    def session(self, at=READER, funds=(3, 0xE8)):
        self.poll(at, [3] + list(funds) + [255, 255, 255, 255, 0, 0, 0])

    def ask(self, at=READER, price=150, item=12):
        self.do([at + 3, 0, price >> 8, price & 255, item >> 8, item & 255])

    def approve(self, at=READER, price=150):
        self.poll(at, [5, price >> 8, price & 255])

    def sell(self, at=READER, price=150, item=12):
        self.session(at)
        self.ask(at, price, item)
        self.poll(at)
        self.approve(at, price)
        self.do([at + 3, 2, item >> 8, item & 255])
        self.do([at + 3, 4])
        self.poll(at, [7])

    # ---- out ----

    def lines(self):
        out = ["bus-words 1"] + ["# " + n for n in self.notes]
        for at, line, byte, mode, flags in sorted(self.words, key=lambda w: w[0]):
            out.append("%d %s %02X%s" % (round(at), line, byte, "*" if mode else "") + "".join(" " + f for f in flags))
        return "\n".join(out) + "\n"

    def vcd(self, lines="CP", end=None, low=(), names=None):
        """Levels of some of the lines, idle high; those of `low` lie at their active level throughout."""
        bit = WORD / 11
        edges = []
        for at, line, byte, mode, flags in self.words:
            if line not in lines or line in low:
                continue
            brk = [f for f in flags if f.startswith("break")]
            if brk:
                edges += [(at, line, 0), (at + float(brk[0].split()[1]), line, 1)]
                continue
            levels = [0] + [byte >> i & 1 for i in range(8)] + [int(mode), 1]
            edges += [(at + i * bit, line, v) for i, v in enumerate(levels)]
        names = names or {"C": "controller", "P": "peripheral"}
        out = ["$comment %s $end" % n for n in self.notes] + ["$timescale 1 us $end"]
        out += ["$var wire 1 %s %s $end" % (x, names[x]) for x in lines] + ["$enddefinitions $end", "#0"]
        level = {x: 0 if x in low else 1 for x in lines}
        out += ["%d%s" % (level[x], x) for x in lines]
        last = 0
        for at, line, value in sorted(edges):
            if level[line] == value:
                continue
            if round(at) != last:
                last = round(at)
                out.append("#%d" % last)
            level[line] = value
            out.append("%d%s" % (value, line))
        out.append("#%d" % (end or last + 10000))
        return "\n".join(out) + "\n"
