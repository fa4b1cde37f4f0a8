// SPDX-License-Identifier: Apache-2.0
// Facts as people read them: money as the machine writes it, local time, lengths, numbers of things.

export function money(minor: number | null | undefined, decimals: number | null | undefined): string {
	if (minor === null || minor === undefined) {
		return "–";
	}
	const places = decimals ?? 2;
	const digits = String(Math.abs(minor)).padStart(places + 1, "0");
	const whole = digits.slice(0, digits.length - places);
	return (minor < 0 ? "−" : "") + whole + (places ? "." + digits.slice(digits.length - places) : "");
}

/** What somebody typed as an amount, in minor units; null where it is none. */
export function minorOf(text: string, decimals: number): number | null {
	const found = /^\s*(\d{1,9})(?:[.,](\d*))?\s*$/.exec(text);
	if (!found || (found[2] ?? "").length > decimals) {
		return null;
	}
	return Number(found[1]) * 10 ** decimals + Number((found[2] ?? "").padEnd(decimals, "0") || "0");
}

export function number(n: number | null | undefined): string {
	return n === null || n === undefined ? "–" : n.toLocaleString("en-GB").replace(/,/g, "\u202f");
}

export function count(n: number, one: string, many = one + "s"): string {
	return `${number(n)} ${n === 1 ? one : many}`;
}

export function size(bytes: number): string {
	if (bytes < 1000) {
		return count(bytes, "byte");
	}
	return bytes < 1e6 ? `${(bytes / 1000).toFixed(1)} kB` : `${(bytes / 1e6).toFixed(1)} MB`;
}

/** With a capital, except where it begins with the name of a file, whose letters are its own. */
export function capital(text: string): string {
	if (/^\S*[./_]\S/.test(text)) {
		return text;
	}
	return text.charAt(0).toUpperCase() + text.slice(1);
}

/** A sentence with a capital and a full stop, whatever it came with. */
export function sentence(text: string): string {
	const t = capital(text.trim());
	return /[.?…]$/.test(t) ? t : t + ".";
}

const two = (n: number) => String(n).padStart(2, "0");

export function dayOf(iso: string): string {
	const t = new Date(iso);
	return `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())}`;
}

export function today(): string {
	return dayOf(new Date().toISOString());
}

/** "10:42" of today, "3 Mar 10:42" else; the offset is for the title. */
export function clock(iso: string): string {
	const t = new Date(iso);
	if (Number.isNaN(t.getTime())) {
		return iso;
	}
	const hour = `${two(t.getHours())}:${two(t.getMinutes())}`;
	if (dayOf(iso) === today()) {
		return hour;
	}
	const year = t.getFullYear() === new Date().getFullYear() ? "" : ` ${t.getFullYear()}`;
	return `${t.getDate()} ${t.toLocaleString("en-GB", { month: "short" })}${year} ${hour}`;
}

/** Local time with its offset, the way lists of sales hold it. */
export function isoLocal(t: Date): string {
	const off = -t.getTimezoneOffset();
	const sign = off < 0 ? "-" : "+";
	const z = `${sign}${two(Math.floor(Math.abs(off) / 60))}:${two(Math.abs(off) % 60)}`;
	return (
		`${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())}T` +
		`${two(t.getHours())}:${two(t.getMinutes())}:${two(t.getSeconds())}${z}`
	);
}

/** Microseconds as a length of time that can be read at a glance. */
export function span(us: number): string {
	const a = Math.abs(us);
	if (a === 0) {
		return "0 s";
	}
	if (a < 1000) {
		return `${Math.round(us)} µs`;
	}
	if (a < 1e6) {
		return `${(us / 1000).toFixed(a < 1e4 ? 2 : a < 1e5 ? 1 : 0)} ms`;
	}
	if (a < 6e7) {
		return `${(us / 1e6).toFixed(a < 1e7 ? 2 : 1)} s`;
	}
	return `${Math.floor(us / 6e7)} min ${two(Math.floor(us / 1e6) % 60)} s`;
}

/** A level of radio; more than nothing is far away from it. */
export const dbm = (v: number | null): string => `${String(v ?? "–").replace("-", "−")} dBm`;

const mostLookedFor = 20000; // mA: the program looks for no margin beyond it

/** A current that is left. */
export const spare = (ma: number): string => (ma >= mostLookedFor ? "more than 20 A" : `${number(ma)} mA`);

/** YYMMDD and HHMM or HHMMSS, as an audit sends them; what is neither stays as it was sent. */
export const sentDay = (date: string | null) => date?.replace(/^(\d\d)(\d\d)(\d\d)$/, "20$1-$2-$3");
export const sentHour = (time: string | null) => time?.replace(/^(\d\d)(\d\d)(\d\d)?$/, "$1:$2");

/** What an event means, its "_n" told by its own code: EJB_24 is one of selection 24. */
export function eventWords(code: string, meaning: string | null): string {
	const which = /_(\w+)$/.exec(code)?.[1];
	return (meaning ?? "not in the list of events")
		.replace(/ \([A-Z]+_n = (\w+) n\)/, which ? ` at $1 ${which}` : "")
		.replace(/ \([A-Z]+_n\)/, which ? ` ${which}` : "");
}

/** Seconds as hours, minutes, days. */
export function lasting(s: number | null | undefined): string {
	if (s === null || s === undefined) {
		return "–";
	}
	if (s < 120) {
		return `${Math.round(s)} s`;
	}
	if (s < 7200) {
		return `${Math.round(s / 60)} min`;
	}
	return s < 172800 ? `${(s / 3600).toFixed(1)} h` : `${(s / 86400).toFixed(1)} days`;
}

export function list(words: string[]): string {
	if (words.length < 2) {
		return words[0] ?? "";
	}
	return `${words.slice(0, -1).join(", ")} and ${words[words.length - 1]}`;
}

/** What to do, without the words of the command line; null where nothing else is said. */
export function handsOnly(todo: string | null): string | null {
	const said = todo?.replace(/: fettle [^;.]*$/, "") ?? null; // how it is typed, behind what is to be done
	if (said === null || said === "" || said.includes("fettle ")) {
		return null;
	}
	return said
		.replace(/\b(?:know|keep|fit|prove|hand-over|watch)\.([a-z-]+)/g, "the $1")
		.replace(/ and add it with --stage [a-z-]+/, "")
		.replace(/,? --[a-z-]+/g, "");
}

const labels: Record<string, string> = { from: "First day", days: "Days to look at", limit: "Limit" };

/** A refusal of a command in the words of the pages: their labels for its options, their places for its commands. */
export function pageWords(text: string): string {
	return text
		.replace(/(^|[\s"])\.\/(?=\S+\.\w)/g, "$1")
		.replace(
			/There is no file (\w+)\.csv to read as [^;]*; look at the name/,
			"There is no table $1 yet; put it in under Tables on the page Fleet",
		)
		.replace(/fettle survey --template (\w+) prints (?:the headings|it)/, "the template of $1 under Tables shows them")
		.replace(/fettle visit show lists those it has/, "the page Visits lists those it has")
		.replace(/fettle survey (tells|says)/, "the page Fleet $1")
		.replace(/The (?:field|parameter) (\w+) does not hold what it must/, (all, name: string) =>
			labels[name] ? `${labels[name]} cannot be read as it is written` : all,
		)
		.replace(/(^|\s)--([a-z-]+)(?= (?:takes|is|must)\b)/g, (all, before: string, name: string) =>
			labels[name] ? before + labels[name] : all,
		);
}
