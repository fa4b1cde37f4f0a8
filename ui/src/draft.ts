// SPDX-License-Identifier: Apache-2.0
// What stands half-written. Every keystroke goes into this browser's own store at once and into the book a moment
// later; whichever of browser, phone and bench dies, the other still has it.
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { ask, NoLine, pageId, Refusal } from "./api";
import type { DraftDoc } from "./documents";
import { listen } from "./live";

interface Local {
	text: string;
	base: number; // version in the book that this builds on
	unsent: boolean;
}
interface Held {
	local: Local;
	other: string | null; // what another browser wrote meanwhile
	timer: ReturnType<typeof setTimeout> | null;
	sending: boolean;
	fetched: boolean;
	readers: Set<() => void>;
}
export interface DraftText {
	text: string;
	set: (text: string) => void;
	clear: () => void;
	other: string | null;
	takeOther: () => void;
	kept: boolean; // in the book, not only in this browser
}

const store = "fettle.draft.";
const held = new Map<string, Held>();

export function draftKey(...parts: string[]): string {
	return parts
		.join(".")
		.replace(/[^A-Za-z0-9._:~-]/g, "~")
		.slice(0, 120);
}

function fromStore(key: string): Local {
	try {
		const found = localStorage.getItem(store + key);
		if (found) {
			const l = JSON.parse(found) as Partial<Local>;
			return { text: String(l.text ?? ""), base: Number(l.base ?? 0), unsent: l.unsent === true };
		}
	} catch {
		/* no store of its own: the book alone keeps it */
	}
	return { text: "", base: 0, unsent: false };
}

function toStore(key: string, l: Local): void {
	try {
		if (l.text === "" && !l.unsent) {
			localStorage.removeItem(store + key);
		} else {
			localStorage.setItem(store + key, JSON.stringify(l));
		}
	} catch {
		/* full or forbidden: the book alone keeps it */
	}
}

function hold(key: string): Held {
	let h = held.get(key);
	if (!h) {
		h = { local: fromStore(key), other: null, timer: null, sending: false, fetched: false, readers: new Set() };
		held.set(key, h);
	}
	return h;
}

const path = (key: string) => `/api/drafts/${encodeURIComponent(key)}`;
const tell = (h: Held) => h.readers.forEach((f) => f());

function later(key: string, ms: number): void {
	const h = hold(key);
	if (h.timer !== null) {
		clearTimeout(h.timer);
	}
	h.timer = setTimeout(() => {
		h.timer = null;
		void send(key);
	}, ms);
}

/** 409: somebody else wrote. Ours stays in the form; theirs is offered. */
function clash(h: Held, e: Refusal): void {
	const theirs = (e.doc as DraftDoc | null)?.draft ?? null;
	h.local.base = theirs?.version ?? 0;
	if (theirs && theirs.text !== undefined && theirs.text !== h.local.text && theirs.text !== "") {
		h.other = theirs.text;
	}
}

async function send(key: string): Promise<void> {
	const h = hold(key);
	if (h.sending || !h.local.unsent) {
		return;
	}
	h.sending = true;
	const text = h.local.text;
	try {
		if (text === "") {
			await ask("DELETE", path(key));
			h.local.base = 0;
		} else {
			const d = await ask<DraftDoc>(
				"PUT",
				`${path(key)}?version=${h.local.base}`,
				text,
				"text/plain; charset=utf-8",
			);
			h.local.base = d.draft?.version ?? h.local.base + 1;
		}
		h.local.unsent = h.local.text !== text;
	} catch (e) {
		if (e instanceof Refusal && e.status === 409) {
			clash(h, e);
		} else if (e instanceof Refusal && e.status === 404 && text === "") {
			h.local.unsent = false;
		}
		h.sending = false;
		toStore(key, h.local);
		later(key, e instanceof NoLine ? 2000 : 600);
		tell(h);
		return;
	}
	h.sending = false;
	toStore(key, h.local);
	tell(h);
	if (h.local.unsent) {
		later(key, 50);
	}
}

async function fetchDraft(key: string): Promise<void> {
	const h = hold(key);
	try {
		const d = await ask<DraftDoc>("GET", path(key));
		take(key, h, d.draft?.text ?? "", d.draft?.version ?? 0);
	} catch (e) {
		if (e instanceof Refusal && e.status === 404) {
			take(key, h, "", 0);
		}
	}
	h.fetched = true;
}

function take(key: string, h: Held, text: string, version: number): void {
	if (h.local.unsent) {
		if (version !== h.local.base) {
			h.other = text !== "" && text !== h.local.text ? text : null;
			h.local.base = version;
		}
		later(key, 0);
	} else if (!h.sending) {
		h.local = { text, base: version, unsent: false };
		toStore(key, h.local);
	}
	tell(h);
}

listen("draft", (key, version, page) => {
	const h = held.get(key);
	if (h && h.readers.size && page !== pageId && version !== h.local.base) {
		void fetchDraft(key);
	}
});
listen("line", (up) => {
	if (up) {
		for (const [key, h] of held) {
			if (h.local.unsent) {
				later(key, 0);
			} else if (h.readers.size) {
				void fetchDraft(key);
			}
		}
	}
});
if (typeof addEventListener === "function") {
	// A page that is put away sends what it has: a phone may never come back to it.
	addEventListener("pagehide", () => {
		for (const [key, h] of held) {
			if (h.local.unsent && h.local.text !== "") {
				void fetch(`${path(key)}?version=${h.local.base}`, {
					method: "PUT",
					body: h.local.text,
					keepalive: true,
					credentials: "same-origin",
					headers: { "Content-Type": "text/plain; charset=utf-8", "X-Fettle-Page": pageId },
				}).catch(() => undefined);
			}
		}
	});
}

export function useDraft(key: string): DraftText {
	const [, tick] = useState(0);
	const h = hold(key);
	const k = useRef(key);
	k.current = key;
	useEffect(() => {
		const f = () => tick((n) => n + 1);
		h.readers.add(f);
		void fetchDraft(key);
		return () => {
			h.readers.delete(f);
		};
	}, [key]);
	const set = (text: string) => {
		const held = hold(k.current);
		held.local = { text, base: held.local.base, unsent: true };
		toStore(k.current, held.local);
		later(k.current, 300);
		tell(held);
	};
	return {
		text: h.local.text,
		set,
		clear: () => {
			hold(k.current).other = null;
			set("");
			later(k.current, 0);
		},
		other: h.other,
		takeOther: () => {
			const held = hold(k.current);
			const text = held.other;
			held.other = null;
			if (text !== null) {
				set(text);
			}
		},
		kept: !h.local.unsent,
	};
}

/** A draft of several fields, held as JSON. */
export function useDraftOf<T extends object>(key: string, empty: T) {
	const d = useDraft(key);
	const read = (text: string): T => {
		try {
			return text === "" ? empty : { ...empty, ...(JSON.parse(text) as Partial<T>) };
		} catch {
			return empty; // unreadable: begin anew
		}
	};
	const value = useMemo<T>(() => read(d.text), [d.text, key]);
	// Keys typed faster than a page is drawn must not overwrite each other: the newest text is read, not the drawn one.
	const change = (part: Partial<T>) => d.set(JSON.stringify({ ...read(hold(key).local.text), ...part }));
	return { ...d, value, change };
}
