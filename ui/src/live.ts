// SPDX-License-Identifier: Apache-2.0
// Documents that stay in step with the book: read once, kept, read anew when the stream of events says so.
import { useEffect, useState } from "preact/hooks";
import { get, sentenceOf } from "./api";
import type { Doc, Job, Machine, PracticeEvent } from "./documents";

interface Kept {
	doc: Doc | null;
	error: string | null;
	reading: boolean;
	again: boolean;
	readers: Set<() => void>;
}
export interface Read<T> {
	doc: T | null;
	error: string | null;
	reading: boolean;
}

const kept = new Map<string, Kept>();

function place(path: string): Kept {
	let k = kept.get(path);
	if (!k) {
		k = { doc: null, error: null, reading: false, again: false, readers: new Set() };
		kept.set(path, k);
	}
	return k;
}

async function read(path: string): Promise<void> {
	const k = place(path);
	if (k.reading) {
		k.again = true;
		return;
	}
	k.reading = true;
	do {
		k.again = false;
		try {
			k.doc = await get<Doc>(path);
			k.error = null;
		} catch (e) {
			k.error = sentenceOf(e);
		}
	} while (k.again);
	k.reading = false;
	k.readers.forEach((f) => f());
}

/** Puts an answer that has come anyway where its readers find it. */
export function put(path: string, doc: Doc): void {
	const k = place(path);
	k.doc = doc;
	k.error = null;
	k.readers.forEach((f) => f());
}

/** Reads anew what somebody looks at, and forgets the rest. */
export function stale(match: (path: string) => boolean): void {
	for (const [path, k] of kept) {
		if (!match(path)) {
			continue;
		}
		if (k.readers.size) {
			void read(path);
		} else {
			kept.delete(path);
		}
	}
}

export function useDoc<T extends Doc>(path: string | null): Read<T> {
	const [, tick] = useState(0);
	useEffect(() => {
		if (path === null) {
			return undefined;
		}
		const k = place(path);
		const f = () => tick((n) => n + 1);
		k.readers.add(f);
		if (!k.doc || k.error) {
			void read(path);
		}
		return () => {
			k.readers.delete(f);
		};
	}, [path]);
	if (path === null) {
		return { doc: null, error: null, reading: false };
	}
	const k = place(path);
	return { doc: k.doc as T | null, error: k.error, reading: !k.doc && !k.error };
}

// ---- the stream ----

export interface Told {
	job: (job: Job) => void;
	practice: (id: string, event: PracticeEvent | null, machine: Machine | null) => void;
	draft: (key: string, version: number, page: string | null) => void;
	line: (up: boolean) => void;
	office: (what: string) => void;
}
const listeners: { [K in keyof Told]: Set<Told[K]> } = {
	job: new Set(),
	practice: new Set(),
	draft: new Set(),
	line: new Set(),
	office: new Set(),
};

export function listen<K extends keyof Told>(kind: K, f: Told[K]): () => void {
	(listeners[kind] as Set<Told[K]>).add(f);
	return () => {
		(listeners[kind] as Set<Told[K]>).delete(f);
	};
}

let up = true;
export const lineUp = () => up;

function tellLine(now: boolean): void {
	if (now !== up) {
		up = now;
		listeners.line.forEach((f) => f(now));
	}
}

export function useLine(): boolean {
	const [now, set] = useState(up);
	useEffect(() => listen("line", set), []);
	return now;
}

function changed(visits: string[]): void {
	if (!visits.length) {
		stale(() => true);
		return;
	}
	const starts = visits.map((v) => `/api/visits/${encodeURIComponent(v)}`);
	stale((p) => p.startsWith("/api/visits?") || starts.some((s) => p === s || p.startsWith(s + "/")));
}

/** Opens the stream and opens it again for as long as the page lives. */
export function startStream(): void {
	const source = new EventSource("/api/events");
	let opened = false;
	source.onopen = () => {
		if (!up || opened) {
			stale(() => true);
		}
		opened = true;
		tellLine(true);
	};
	source.onerror = () => {
		tellLine(false);
		if (source.readyState === EventSource.CLOSED) {
			source.close();
			setTimeout(startStream, 1500);
		}
	};
	const on = (name: string, f: (data: Record<string, unknown>) => void) =>
		source.addEventListener(name, (e) => {
			const text = (e as MessageEvent<string>).data;
			f(text ? (JSON.parse(text) as Record<string, unknown>) : {});
		});
	on("book", (d) => changed((d["visits"] as string[] | undefined) ?? []));
	on("reset", () => {
		stale(() => true);
		listeners.office.forEach((f) => f(""));
	});
	on("browsers", () => stale((p) => p.startsWith("/api/browsers")));
	on("draft", (d) =>
		listeners.draft.forEach((f) =>
			f(String(d["key"]), Number(d["version"]), (d["browser"] ?? d["page"] ?? null) as string | null),
		),
	);
	on("office", (d) => listeners.office.forEach((f) => f(String(d["what"]))));
	on("job", (d) => {
		const job = (d["job"] ?? d) as Job;
		stale((p) => p === "/api/jobs");
		listeners.job.forEach((f) => f(job));
	});
	on("practice", (d) => {
		const machine = (d["machine"] as Machine | undefined) ?? null;
		const id = String(d["id"] ?? machine?.id);
		if (machine) {
			stale((p) => p.startsWith("/api/practice") && p !== "/api/practice/choices");
		}
		listeners.practice.forEach((f) => f(id, (d["event"] as PracticeEvent | undefined) ?? null, machine));
	});
}
