// SPDX-License-Identifier: Apache-2.0
// Asking the bench. A refusal is a sentence for people and is thrown as one.
import type { Doc } from "./documents";
import { pageWords } from "./words";

/** Tells this page's own changes from those of other browsers in the stream of events. */
export const pageId = Math.random().toString(36).slice(2, 10);

export class Refusal extends Error {
	constructor(
		sentence: string,
		readonly status: number,
		readonly doc: Doc | null,
	) {
		super(sentence);
	}
}

/** The bench cannot be reached: nothing was refused, it may be tried again. */
export class NoLine extends Error {
	constructor() {
		super("The bench does not answer. What you wrote is kept here and sent when it is back.");
	}
}

type Body = Record<string, unknown> | Blob | string | null;

async function send(method: string, path: string, body: Body, type?: string): Promise<Response> {
	const head: Record<string, string> = { "X-Fettle-Page": pageId };
	let bytes: BodyInit | null = null;
	if (body instanceof Blob || typeof body === "string") {
		bytes = body;
		head["Content-Type"] = type ?? "application/octet-stream";
	} else if (body !== null) {
		bytes = JSON.stringify(body);
		head["Content-Type"] = "application/json";
	}
	try {
		return await fetch(path, { method, headers: head, body: bytes, credentials: "same-origin" });
	} catch {
		throw new NoLine();
	}
}

async function refusal(r: Response): Promise<Refusal> {
	let doc: Doc | null = null;
	try {
		doc = (await r.json()) as Doc;
	} catch {
		/* a refusal without a document still has its status */
	}
	return new Refusal(doc?.error ? pageWords(doc.error) : `The bench refused this (${r.status}).`, r.status, doc);
}

export async function ask<T extends Doc>(
	method: string,
	path: string,
	body: Body = null,
	type?: string,
): Promise<T> {
	const r = await send(method, path, body, type);
	if (!r.ok) {
		throw await refusal(r);
	}
	try {
		return (await r.json()) as T;
	} catch {
		throw new NoLine();
	}
}

export const get = <T extends Doc>(path: string) => ask<T>("GET", path);
export const post = <T extends Doc>(path: string, body: Body = {}) => ask<T>("POST", path, body);

/** One document a line. */
export async function getLines<T>(path: string): Promise<T[]> {
	const text = await getText(path);
	return text
		.split("\n")
		.filter((l) => l !== "")
		.map((l) => JSON.parse(l) as T);
}

/** For answers of many documents of which none is looked at. */
export async function postLines(path: string, body: Body): Promise<void> {
	const r = await send("POST", path, body);
	if (!r.ok) {
		throw await refusal(r);
	}
}

export async function getText(path: string): Promise<string> {
	const r = await send("GET", path, null);
	if (!r.ok) {
		throw await refusal(r);
	}
	return r.text();
}

export function query(path: string, params: Record<string, string | number | boolean | null | undefined>): string {
	const parts = Object.entries(params)
		.filter(([, v]) => v !== null && v !== undefined && v !== "")
		.map(([k, v]) => `${k}=${encodeURIComponent(String(v))}`);
	return parts.length ? `${path}?${parts.join("&")}` : path;
}

export const visitPath = (id: string) => `/api/visits/${encodeURIComponent(id)}`;

/** Files bytes with a visit. */
export function addEvidence<T extends Doc>(
	visit: string,
	bytes: Blob,
	name: string,
	kind?: string,
	stage?: string,
) {
	return ask<T>("POST", query(`${visitPath(visit)}/evidence`, { name, kind, stage }), bytes);
}

export function sentenceOf(e: unknown): string {
	return e instanceof Error ? e.message : String(e);
}
