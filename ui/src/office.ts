// SPDX-License-Identifier: Apache-2.0
// What the office's pages read: documents a line, tables that are kept beside the book.
import { useEffect, useState } from "preact/hooks";
import { ask, getLines, query, Refusal, sentenceOf } from "./api";
import type { Doc } from "./documents";
import { listen } from "./live";

export type Fit = "ready" | "with-parts" | "with-update" | "look-first" | "cannot";
export const fits: Fit[] = ["ready", "with-parts", "with-update", "look-first", "cannot"];
export const fitWords: Record<Fit, string> = {
	ready: "ready",
	"with-parts": "with parts",
	"with-update": "with update",
	"look-first": "look first",
	cannot: "cannot be fitted",
};

export interface Surveyed extends Doc {
	asset: string;
	line: number;
	site: string | null;
	latitude: number | null;
	longitude: number | null;
	family: string | null;
	unit: string | null;
	fit: Fit;
	possible: string[];
	reasons: {
		rule: string;
		sentence: string;
		source: string;
		fact: string | null;
		seen: string | null;
		expected: string | null;
		possible: string[];
	}[];
	kit: { kind: string; part: string; name: string | null; count: number; chance: number; price: number | null }[];
	decimals: number;
	minutes: number | null;
	minutes_spread: number | null;
	audit: { bytes: number | null; spread: number | null; limit: number | null };
	supply: { margin_v: number | null; margin_ma: number | null };
	signal: { margin_db: number | null; lead: string | null; lead_margin_db: number | null };
	questions: { fact: string; way: string; ask: string; worth_min: number; rank: number }[];
}

export interface TableRow {
	table: string;
	bytes: number | null;
	changed: string | null;
}
export interface TablesDoc extends Doc {
	audits: boolean;
	tables: TableRow[];
}

export interface Stop {
	asset: string;
	site: string | null;
	arrive: string;
	start: string;
	leave: string;
	km: number;
	moved: boolean;
}
export interface PlanDay {
	technician: string;
	date: string;
	leave: string;
	back: string;
	distance_km: number;
	late_risk: number;
	stops: Stop[];
}
export interface Load {
	technician: string;
	from: string;
	until: string;
	part: string;
	expected: number;
	sure: number;
	carry: number;
	risk: number;
	risk_with_one_more: number;
}
export interface PlanDoc extends Doc {
	distance_km: number;
	lower_bound_km: number;
	days: PlanDay[];
	load: Load[];
	risk_asked: number;
	risk_worst: number;
	buy: { part: string; needed: number; stock: number | null; buy: number; by: string | null }[];
	left_out: { asset: string; why: string }[];
	promised: number;
	kept: number;
	moved: number;
}

export interface Exception {
	rule: string;
	weight: "note" | "doubt" | "fault";
	rank: number;
	selection: string | null;
	since: string | null;
	seen_at: string | null;
	ended: string | null;
	open: boolean;
	money: number | null;
	money_is: "once" | "a week" | null;
	sure: number;
	seen: string | null;
	expected: string | null;
	before: string | null;
	after: string | null;
	acknowledged: boolean;
	known: { because: string; by: string | null; at: string } | null;
}
export interface Watched extends Doc {
	asset: string;
	serial: string | null;
	model: string | null;
	currency: string | null;
	decimals: number;
	first_read: string | null;
	last_read: string | null;
	reads_expected: number | null;
	reads_arrived: number;
	reads_part: number;
	reads_again: number;
	week_value: number;
	cash_variance: number | null;
	cash_spread: number | null;
	collections: {
		after: string;
		at: string;
		expected: number;
		counted: number | null;
		unsure: number;
		by: string | null;
		bag: string | null;
	}[];
	exceptions: Exception[];
	days?: { day: string; expected: boolean; arrived: number; part: number; again: number }[];
	reads?: {
		at: string;
		file: string | null;
		sold: number | null;
		sold_count: number | null;
		cash: number | null;
		card: number | null;
	}[];
}

export interface Lines<T> {
	list: T[] | null;
	error: string | null;
}
const kept = new Map<string, Lines<unknown>>();

/** Forgets what hangs on what changed; whoever looks at it reads it anew. */
const changes = new Set<(what: string) => void>();
function readAnew(what: string): void {
	kept.clear();
	changes.forEach((f) => f(what));
}
listen("office", readAnew);

/** Counts what changed in the office, so that pages read anew. */
export function useOffice(): number {
	const [n, set] = useState(0);
	useEffect(() => {
		const f = () => set((k) => k + 1);
		changes.add(f);
		return () => {
			changes.delete(f);
		};
	}, []);
	return n;
}

export function useLines<T>(path: string | null): Lines<T> {
	const turn = useOffice();
	const [, tick] = useState(0);
	useEffect(() => {
		if (path === null || kept.has(path)) {
			return undefined;
		}
		let here = true;
		const done = (found: Lines<unknown>) => {
			kept.set(path, found);
			if (here) {
				tick((n) => n + 1);
			}
		};
		getLines<T>(path).then(
			(list) => done({ list, error: null }),
			(e: unknown) => {
				done({ list: null, error: sentenceOf(e) });
				setTimeout(() => kept.delete(path), 0); // asked again when somebody comes back
			},
		);
		return () => {
			here = false;
		};
	}, [path, turn]);
	return (path !== null && (kept.get(path) as Lines<T> | undefined)) || { list: null, error: null };
}

export const tablePath = (name: string) => `/api/tables/${encodeURIComponent(name)}`;
export const putTable = (name: string, bytes: Blob | string, was?: string) =>
	ask<TablesDoc>("PUT", query(tablePath(name), { was }), bytes, "application/octet-stream");

/** Only in the place of the plan that it was made from; false: another one stands, which is read now. */
export async function keepPlan(plan: PlanDoc, was: string): Promise<boolean> {
	try {
		await putTable("plan", JSON.stringify(plan), was);
	} catch (e) {
		if (!(e instanceof Refusal) || e.status !== 409) {
			throw e;
		}
		readAnew("plan");
		return false;
	}
	return true;
}
export const watchPath = (params: Record<string, string | boolean | null>) => query("/api/watch", params);

/** Rows of a table by its headings, far enough to draw what stands in it. What is judged is judged by the program. */
export function rowsOf(text: string): Record<string, string>[] {
	const lines = text
		.replace(/^\uFEFF/, "")
		.split(/\r?\n/)
		.filter((l) => l.trim() !== "" && !l.startsWith("#") && !/^sep=/i.test(l));
	const head = lines[0] ?? "";
	const by = [";", "\t", ","].find((s) => head.includes(s)) ?? ",";
	const cells = (l: string) => l.split(by).map((c) => c.trim().replace(/^"|"$/g, ""));
	const names = cells(head).map((h) => h.toLowerCase().replace(/\(.*?\)|[^a-z0-9]/g, ""));
	return lines.slice(1).map((l) => Object.fromEntries(cells(l).map((c, i) => [names[i] ?? "", c])));
}

export interface Home {
	name: string;
	latitude: number;
	longitude: number;
}
export function homesOf(text: string): Home[] {
	return rowsOf(text).flatMap((r) => {
		const latitude = Number((r["latitude"] ?? "").replace(",", "."));
		const longitude = Number((r["longitude"] ?? "").replace(",", "."));
		return r["technician"] &&
			r["latitude"] &&
			r["longitude"] &&
			Number.isFinite(latitude) &&
			Number.isFinite(longitude)
			? [{ name: r["technician"], latitude, longitude }]
			: [];
	});
}

export interface Table {
	text: string; // "" where there is none
	tag: string; // of just this text
}

export function useTableNow(name: string): Table | null {
	const turn = useOffice();
	const [table, set] = useState<Table | null>(null);
	useEffect(() => {
		let here = true;
		const none = { text: "", tag: "none" };
		fetch(tablePath(name), { credentials: "same-origin" })
			.then(async (r) =>
				r.ok ? { text: await r.text(), tag: (r.headers.get("ETag") ?? "").replaceAll('"', "") } : none,
			)
			.then(
				(t) => here && set(t),
				() => here && set(none),
			);
		return () => {
			here = false;
		};
	}, [name, turn]);
	return table;
}
export const useTable = (name: string): string | null => useTableNow(name)?.text ?? null;

export const percent = (p: number) =>
	p <= 0 ? "none" : p < 0.0001 ? "under 0.01 %" : `${(100 * p).toFixed(p < 0.01 ? 2 : p < 0.1 ? 1 : 0)} %`;
