// SPDX-License-Identifier: Apache-2.0
// Tables as loggers write them, read far enough to draw their curve. What is judged is judged by the program.

export interface Reading {
	at: number; // seconds from the first
	value: number;
}
export interface MarkAt {
	at: number;
	word: string;
}

function cells(line: string): string[] {
	const by = line.includes(";") ? ";" : line.includes("\t") ? "\t" : ",";
	return line.split(by).map((c) => c.trim().replace(/^"|"$/g, ""));
}

function timeOf(text: string): number | null {
	const t = Date.parse(text.replace(" ", "T"));
	return Number.isNaN(t) ? null : t / 1000;
}

/** The first time and the first number of each row; rows without both are passed over. */
export function readingsOf(text: string): { readings: Reading[]; marks: MarkAt[]; began: number | null } {
	const readings: Reading[] = [];
	const marks: MarkAt[] = [];
	let began: number | null = null;
	let last = ""; // a column that says the same in every row marks a moment only where it changes
	for (const line of text.split(/\r?\n/)) {
		if (line === "" || line.startsWith("#")) {
			continue;
		}
		const c = cells(line);
		const column = c.findIndex((x) => /^\d{4}-\d\d-\d\d[T ]\d\d:\d\d/.test(x));
		const t = column >= 0 ? timeOf(c[column] as string) : null;
		if (t === null) {
			continue;
		}
		began ??= t;
		const rest = c.filter((_, i) => i !== column);
		const value = rest.find((x) => /^[-+]?\d+([.,]\d+)?$/.test(x));
		if (value !== undefined) {
			readings.push({ at: t - began, value: Number(value.replace(",", ".")) });
		}
		const word = rest.find((x) => /^[a-z]{3,}/i.test(x));
		if (word !== undefined && word.toLowerCase() !== last) {
			last = word.toLowerCase();
			marks.push({ at: t - began, word: word.toLowerCase() });
		}
	}
	if (marks.length && marks[0]?.at === 0) {
		marks.shift();
	}
	return { readings: readings.sort((a, b) => a.at - b.at), marks, began };
}

/** At most `most` points that keep every top and bottom: the least and the most of each span. */
export function thinned(list: Reading[], most: number): Reading[] {
	if (list.length <= most) {
		return list;
	}
	const out: Reading[] = [];
	const per = Math.ceil(list.length / (most / 2));
	for (let i = 0; i < list.length; i += per) {
		const part = list.slice(i, i + per);
		const low = part.reduce((a, b) => (b.value < a.value ? b : a));
		const high = part.reduce((a, b) => (b.value > a.value ? b : a));
		out.push(...(low.at <= high.at ? [low, high] : [high, low]));
	}
	return out;
}
