// SPDX-License-Identifier: Apache-2.0
// The capture drawn on squared paper: two lanes, from minutes down to bits. Blocks lie in typed arrays, and what is
// drawn is what lies in sight; where more than one block falls on a point of the screen the paper is hatched instead.
import type { Said, TrafficDoc } from "./documents";

export interface Blocks {
	n: number;
	from: Float64Array; // us, begin of what is drawn
	until: Float64Array;
	command: Float64Array; // us, begin and end; NaN: none
	commandEnd: Float64Array;
	answer: Float64Array;
	answerEnd: Float64Array;
	response: Float64Array; // us, NaN: none
	odd: Uint8Array; // 1: silent or garbled, 2: wrong check or framing, 4: reset or stray
	said: Uint32Array; // which of the words
	words: Words[];
}
export interface Words {
	command: string;
	answer: string;
	means: string;
}

const none = Number.NaN;

const halves = (d: Said) => ({
	c: d.command ?? (d.line === "controller" ? d.stray : null),
	a: d.answer ?? (d.line === "peripheral" ? d.stray : null),
});

function oddOf(d: Said): number {
	const { c, a } = halves(d);
	const damaged = (h: typeof c) => h !== null && (h.checksum_ok === false || h.framing_errors > 0);
	return (
		(d.answered === "silence" || d.answered === "garbled" ? 1 : 0) |
		(damaged(c) || damaged(a) ? 2 : 0) |
		(d.kind === "exchange" ? 0 : 4)
	);
}

function wordOf(d: Said): Words {
	const { c, a } = halves(d);
	return {
		command: c?.bytes ?? "",
		answer: a?.bytes ?? "",
		means: d.means ?? (d.kind === "bus-reset" ? "reset of the bus" : "stray"),
	};
}

export const wordsOf = (b: Blocks, i: number): Words => b.words[b.said[i] as number] as Words;

export function blocksOf({ said, blocks }: TrafficDoc["traffic"]): Blocks {
	const array = () => new Float64Array(blocks.length).fill(none);
	const b: Blocks = {
		n: blocks.length,
		from: array(),
		until: array(),
		command: array(),
		commandEnd: array(),
		answer: array(),
		answerEnd: array(),
		response: array(),
		odd: new Uint8Array(blocks.length),
		said: new Uint32Array(blocks.length),
		words: said.map(wordOf),
	};
	const odd = said.map(oddOf);
	// Where what passed is drawn: on the controller's lane, the peripherals', or nowhere, as a reset.
	const lanes = said.map(halves);
	blocks.forEach(([k, at, lasts, after, answer, response], i) => {
		const lane = lanes[k];
		const end = at + lasts;
		b.said[i] = k;
		b.odd[i] = odd[k] ?? 0;
		b.from[i] = at;
		b.until[i] = end;
		b.response[i] = response ?? none;
		if (lane?.c) {
			b.command[i] = at;
			b.commandEnd[i] = end;
		}
		if (after !== null && answer !== null) {
			b.answer[i] = at + after;
			b.answerEnd[i] = b.until[i] = at + after + answer;
		} else if (lane?.a) {
			b.answer[i] = at;
			b.answerEnd[i] = end;
		}
	});
	return b;
}

/** Index of the first block that ends after `t`; blocks lie in order of time. */
export function firstFrom(b: Blocks, t: number): number {
	let low = 0;
	let high = b.n;
	while (low < high) {
		const mid = (low + high) >> 1;
		if ((b.until[mid] as number) < t) {
			low = mid + 1;
		} else {
			high = mid;
		}
	}
	return low;
}

/** The exchange that lies nearest to `t`, as its begin; `t` itself where there is none. */
export function nearest(b: Blocks, t: number): number {
	const i = firstFrom(b, t);
	const after = i < b.n ? (b.from[i] as number) : Infinity;
	const before = i > 0 ? (b.until[i - 1] as number) : -Infinity;
	return b.n === 0 ? t : after - t < t - before ? after : (b.from[i - 1] as number);
}

export interface Ink {
	ink: string;
	pencil: string;
	rule: string;
	accent: string;
	bad: string;
	sheet: string;
}

export function inkOf(el: Element): Ink {
	const s = getComputedStyle(el);
	const v = (n: string) => s.getPropertyValue(n).trim();
	return {
		ink: v("--ink"),
		pencil: v("--pencil"),
		rule: v("--rule"),
		accent: v("--accent"),
		bad: v("--contradicted"),
		sheet: v("--sheet"),
	};
}

export interface View {
	from: number; // us
	until: number;
}

export const limitUs = 5000; // MDB/ICP section 3: an answer begins within 5 ms
const bitUs = 1e6 / 9600;
const laneTop = 76;
const laneBottom = 176;
const boxHeight = 40;

function ruler(
	g: CanvasRenderingContext2D,
	v: View,
	width: number,
	height: number,
	ink: Ink,
	x: (t: number) => number,
) {
	const steps = [
		100, 200, 500, 1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 5e5, 1e6, 2e6, 5e6, 1e7, 3e7, 6e7, 12e7, 3e8, 6e8,
	];
	const step = steps.find((s) => (s / (v.until - v.from)) * width >= 96) ?? 6e8;
	g.strokeStyle = ink.rule;
	g.fillStyle = ink.pencil;
	g.textAlign = "center";
	for (let t = Math.ceil(v.from / step) * step; t <= v.until; t += step) {
		const p = Math.round(x(t)) + 0.5;
		g.beginPath();
		g.moveTo(p, 28);
		g.lineTo(p, height);
		g.stroke();
		const text =
			step >= 1e6
				? `${Math.floor(t / 6e7)}:${String(Math.floor(t / 1e6) % 60).padStart(2, "0")}`
				: `${(t / 1e6).toFixed(step >= 1e5 ? 1 : step >= 1e3 ? 3 : 4)} s`;
		g.fillText(text, Math.min(Math.max(p, 28), width - 28), 18);
	}
}

function lanes(g: CanvasRenderingContext2D, width: number, ink: Ink) {
	g.strokeStyle = ink.pencil;
	g.fillStyle = ink.pencil;
	g.textAlign = "left";
	for (const [y, name] of [
		[laneTop, "controller"],
		[laneBottom, "peripherals"],
	] as const) {
		g.beginPath();
		g.moveTo(0, y + boxHeight + 0.5);
		g.lineTo(width, y + boxHeight + 0.5);
		g.stroke();
		g.fillText(name, 4, y - 8);
	}
}

/** Start, eight data bits, mode bit, stop, as they stand on the line. */
function bits(
	g: CanvasRenderingContext2D,
	byte: number,
	mode: boolean,
	x0: number,
	bit: number,
	y: number,
	ink: Ink,
) {
	const levels = [0, ...Array.from({ length: 8 }, (_, i) => (byte >> i) & 1), mode ? 1 : 0, 1];
	g.strokeStyle = ink.ink;
	g.beginPath();
	g.moveTo(x0, y);
	levels.forEach((l, i) => {
		const h = y + (l ? 0 : 16);
		g.lineTo(x0 + i * bit, h);
		g.lineTo(x0 + (i + 1) * bit, h);
	});
	g.stroke();
}

function box(
	g: CanvasRenderingContext2D,
	ink: Ink,
	from: number,
	until: number,
	y: number,
	bytes: string,
	odd: boolean,
	bit: number,
	first: boolean,
) {
	const w = Math.max(1, until - from);
	g.fillStyle = ink.sheet;
	g.fillRect(from, y, w, boxHeight);
	g.strokeStyle = odd ? ink.bad : ink.ink;
	g.lineWidth = odd ? 2 : 1;
	g.strokeRect(from + 0.5, y + 0.5, Math.max(0, w - 1), boxHeight);
	g.lineWidth = 1;
	const list = bytes.split(" ");
	const each = w / list.length;
	if (each < 22) {
		return;
	}
	g.fillStyle = ink.ink;
	g.textAlign = "center";
	list.forEach((h, i) => {
		const at = from + each * (i + 0.5);
		if (bit < 5 && each >= 22) {
			g.fillText(h, at, y + 25);
		}
		if (bit >= 5) {
			g.fillText(h, at, y + 14);
			const last = i === list.length - 1;
			bits(g, Number.parseInt(h, 16), first ? i === 0 : last, from + each * i, each / 11, y + 20, ink);
		}
	});
}

/** As much of a text as there is room for. */
function fitted(g: CanvasRenderingContext2D, text: string, room: number): string {
	if (g.measureText(text).width <= room) {
		return text;
	}
	let n = Math.floor((text.length * room) / g.measureText(text).width);
	while (n > 2 && g.measureText(text.slice(0, n) + "…").width > room) {
		n--;
	}
	return n > 2 ? text.slice(0, n).trimEnd() + "…" : "";
}

/** The gap between command and answer as a dimension line, with the limit dashed in the same scale. */
function gap(
	g: CanvasRenderingContext2D,
	ink: Ink,
	x: (t: number) => number,
	end: number,
	answer: number,
	response: number,
) {
	const a = x(end);
	const z = x(answer);
	const y = laneTop + boxHeight + 20;
	if (!(z - a >= 36)) {
		return; // too small to read, or there is no answer
	}
	g.strokeStyle = response > limitUs ? ink.bad : ink.accent;
	g.fillStyle = g.strokeStyle;
	g.beginPath();
	g.moveTo(a, y - 5);
	g.lineTo(a, y + 5);
	g.moveTo(a, y);
	g.lineTo(z, y);
	g.moveTo(z, y - 5);
	g.lineTo(z, y + 5);
	g.stroke();
	g.textAlign = "center";
	g.fillText(`${(response / 1000).toFixed(2)} ms`, (a + z) / 2, y - 8);
	const l = x(end + limitUs);
	g.setLineDash([5, 4]);
	g.strokeStyle = ink.pencil;
	g.beginPath();
	g.moveTo(l, y - 14);
	g.lineTo(l, laneBottom + boxHeight);
	g.stroke();
	g.setLineDash([]);
	g.fillStyle = ink.pencil;
	g.textAlign = "left";
	g.fillText("5 ms", l + 4, y - 4);
}

function hatch(g: CanvasRenderingContext2D, ink: Ink, b: Blocks, v: View, width: number, x: (t: number) => number) {
	const columns = new Uint16Array(width + 1);
	const bad = new Uint8Array(width + 1);
	for (let i = firstFrom(b, v.from); i < b.n && (b.from[i] as number) <= v.until; i++) {
		const c = Math.min(width, Math.max(0, Math.floor(x(b.from[i] as number))));
		columns[c] = Math.min(60000, (columns[c] as number) + 1);
		bad[c] = (bad[c] as number) | (b.odd[i] as number) | ((b.response[i] as number) > limitUs ? 8 : 0);
	}
	const most = columns.reduce((m, c) => Math.max(m, c), 1);
	for (let c = 0; c <= width; c++) {
		const n = columns[c] as number;
		if (!n) {
			continue;
		}
		const h = Math.max(3, (n / most) * boxHeight);
		g.fillStyle = ink.pencil;
		g.fillRect(c, laneTop + boxHeight - h, 1, h);
		g.fillRect(c, laneBottom + boxHeight - h, 1, h);
		if (bad[c]) {
			g.fillStyle = ink.bad;
			g.fillRect(c, (laneTop + laneBottom + boxHeight) / 2 - 4, 1, 8);
		}
	}
}

const nothing: Words = { command: "", answer: "", means: "" };

export interface Pin {
	at: number;
	text: string;
	bad: boolean;
}

export function drawBus(
	g: CanvasRenderingContext2D,
	b: Blocks,
	v: View,
	width: number,
	height: number,
	ink: Ink,
	pins: Pin[],
) {
	const x = (t: number) => ((t - v.from) / (v.until - v.from)) * width;
	g.fillStyle = ink.sheet;
	g.fillRect(0, 0, width, height);
	g.font = "13px system-ui, sans-serif";
	g.lineWidth = 1;
	ruler(g, v, width, height, ink, x);
	lanes(g, width, ink);
	const first = firstFrom(b, v.from);
	const last = firstFrom(b, v.until) + 1;
	if (last - first > width / 3) {
		hatch(g, ink, b, v, width, x);
	} else {
		const bit = (bitUs / (v.until - v.from)) * width;
		const plain = last - first > 120; // so small that nothing could be read
		for (let i = first; i < Math.min(last, b.n); i++) {
			const t = plain ? nothing : wordsOf(b, i);
			const odd = b.odd[i] as number;
			const half = (from: number, until: number, y: number, bytes: string, bad: boolean) => {
				if (!Number.isNaN(from)) {
					box(g, ink, x(from), x(until), y, bytes, bad, bit, y === laneTop);
				}
			};
			const answer = b.answer[i] as number;
			half(b.command[i] as number, b.commandEnd[i] as number, laneTop, t.command, (odd & 6) !== 0);
			half(answer, b.answerEnd[i] as number, laneBottom, t.answer, odd !== 0);
			gap(g, ink, x, b.commandEnd[i] as number, answer, b.response[i] as number);
			const room = x(i + 1 < b.n ? (b.from[i + 1] as number) : v.until) - x(b.from[i] as number);
			if (room > 60) {
				g.fillStyle = odd ? ink.bad : ink.ink;
				g.textAlign = "left";
				const at = Math.max(4, x(b.from[i] as number));
				g.fillText(fitted(g, t.means, room - 12), at, laneBottom + boxHeight + 22);
			}
		}
	}
	for (const p of pins) {
		if (p.at >= v.from && p.at <= v.until) {
			const at = Math.round(x(p.at)) + 0.5;
			g.strokeStyle = p.bad ? ink.bad : ink.accent;
			g.fillStyle = g.strokeStyle;
			g.beginPath();
			g.moveTo(at, 34);
			g.lineTo(at, 44);
			g.moveTo(at - 4, 40);
			g.lineTo(at, 46);
			g.lineTo(at + 4, 40);
			g.stroke();
		}
	}
}
