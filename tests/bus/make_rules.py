#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Makes tests/bus/rules: for each rule of the bus a capture that must trigger it and one close to it that must not.

    python3 tests/bus/make_rules.py [--check]

A comment `expect RULE` names a further finding that must be there, `expect RULE under CAUSE` one that must be
folded, and `allow RULE` one above a note that a capture of the second kind may have for another reason.
"""
import os
import sys

sys.dont_write_bytecode = True
import scenes_link
import scenes_presence
import scenes_setup

HERE = os.path.dirname(os.path.abspath(__file__))


def files():
    for name, make in scenes_link.SCENES + scenes_presence.SCENES + scenes_setup.SCENES:
        bus = make()
        text, ending = bus if isinstance(bus, tuple) else (bus.lines(), "words")
        yield "%s.%s" % (name, ending), text


def main():
    folder = os.path.join(HERE, "rules")
    os.makedirs(folder, exist_ok=True)
    wanted = dict(files())
    if "--check" in sys.argv[1:]:
        for name, text in wanted.items():
            with open(os.path.join(folder, name), encoding="ascii") as f:
                if f.read() != text:
                    sys.exit("tests/bus/rules/%s is not what make_rules.py makes: run it again" % name)
        spare = set(os.listdir(folder)) - set(wanted)
        if spare:
            sys.exit("tests/bus/rules holds what make_rules.py does not make: %s" % ", ".join(sorted(spare)))
        return
    for name, text in wanted.items():
        with open(os.path.join(folder, name), "w", encoding="ascii") as f:
            f.write(text)


main()
