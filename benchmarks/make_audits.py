#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Make a folder of audits for the benchmarks: invented machines, 2 to 20 kB, every identity closed.

usage: make_audits.py FOLDER COUNT [SEED]
"""
import os
import random
import sys

TABLE = []
for i in range(256):
    c = i
    for _ in range(8):
        c = c >> 1 ^ (0xA001 if c & 1 else 0)
    TABLE.append(c)


def crc16(data):
    c = 0
    for b in data:
        c = TABLE[(c ^ b) & 255] ^ c >> 8
    return c


def audit(rng, number):
    count = min(240, max(8, int(rng.lognormvariate(3.35, 0.55))))
    sel, paid, test, free = [], [0, 0, 0, 0], [0, 0, 0, 0], [0, 0, 0, 0]
    for i in range(count):
        price = rng.randrange(50, 400, 5)
        n, r = rng.randrange(0, 4000), rng.randrange(0, 90)
        n += r
        t, f = rng.randrange(0, 9), rng.randrange(0, 9)
        sel += [f"PA1*{i + 10}*{price}*PRODUCT {i + 10}****0", f"PA2*{n}*{n * price}*{r}*{r * price}*0*0*0*0",
                f"PA3*{t}*{t * price}*0*0", f"PA4*{f}*{f * price}*0*0",
                f"PA5*2504{rng.randrange(1, 29):02d}*{rng.randrange(0, 24):02d}15"]
        for total, (a, b, c, d) in ((paid, (n * price, n, r * price, r)), (test, (t * price, t, 0, 0)),
                                    (free, (f * price, f, 0, 0))):
            for k, v in enumerate((a, b, c, d)):
                total[k] += v
    card = [rng.randrange(0, 1 + v // 2) for v in paid]
    card[2], card[3] = min(card[2], card[0]), min(card[3], card[1])
    cash = [p - c for p, c in zip(paid, card)]
    if cash[2] > cash[0]:
        cash[2] = cash[0]
    out_i, out_r = cash[0] // 3, cash[2] // 3
    in_i, in_r = cash[0] + out_i, cash[2] + out_r
    bills_i, bills_r = in_i // 200 * 100, min(in_r // 200 * 100, in_i // 200 * 100)
    tubes_i, tubes_r = (in_i - bills_i) // 3, (in_r - bills_r) // 3
    coins = [(5, rng.randrange(80)), (10, rng.randrange(80)), (25, rng.randrange(80))]
    body = ["ST*001*0001", f"ID1*SN{number:07d}*BENCH 40*0112*PLACE {number}**A-{number}*6*0", "ID4*2*840*USD",
            "ID5*250430*0815", f"CB1*CB{number:07d}*BOARD 9*0205",
            "VA1*%d*%d*%d*%d" % tuple(paid), "VA2*%d*%d*%d*%d" % tuple(test), "VA3*%d*%d*%d*%d" % tuple(free),
            f"CA1*CM{number:07d}*THREE TUBE*0310", f"BA1*BV{number:07d}*BILLS 2*0107", f"DA1*CD{number:07d}*CARDS 1*0402",
            "CA2*%d*%d*%d*%d" % tuple(cash),
            f"CA3*{in_r}*{in_r - bills_r - tubes_r}*{tubes_r}*{bills_r // 100}*{in_i}*{in_i - bills_i - tubes_i}*{tubes_i}"
            f"*{bills_i // 100}*{bills_r}*{bills_i}",
            f"CA4*{out_r}*0*{out_i}*0", "CA8*0*0", "CA10*0*0", f"CA15*{sum(v * n for v, n in coins)}"]
    body += [f"CA17*{i}*{v}*{n}*0*0*0" for i, (v, n) in enumerate(coins)]
    body += ["CA16*0*0", "DA2*%d*%d*%d*%d" % tuple(card), "DA4*0*0", "TA2*0*0*0*0"] + sel
    body += ["EA1*EJB_12*250409*1422*0", "EA2*EJB_12*1*3**0", "EA2*EGS*1*5**0", "EA3*6*250430*0815*RT07*250303*0822*RT07**10*6",
             "EA7*1*2"]
    data = "".join(s + "\r\n" for s in body).encode()
    tail = f"G85*{crc16(data):04X}\r\nSE*{len(body) + 2}*0001\r\nDXE*1*1\r\n"
    return f"DXS*QQB{number:07d}*VA*V0/6*1\r\n".encode() + data + tail.encode()


def main():
    folder, count = sys.argv[1], int(sys.argv[2])
    rng = random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    os.makedirs(folder, exist_ok=True)
    for i in range(count):
        with open(f"{folder}/{i:06d}.dts", "wb") as f:
            f.write(audit(rng, i))


main()
