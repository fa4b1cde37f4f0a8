// SPDX-License-Identifier: Apache-2.0
// The six stages, what is worked on in each, how each stands and what comes next.
import type { Claim, Stands, StageWord, Visit, VisitDoc } from "./documents";
import { to } from "./route";
import { count } from "./words";

export const stages: { word: StageWord; title: string }[] = [
	{ word: "know", title: "Know" },
	{ word: "keep", title: "Keep" },
	{ word: "fit", title: "Fit" },
	{ word: "prove", title: "Prove" },
	{ word: "hand-over", title: "Hand over" },
	{ word: "watch", title: "Watch" },
];

const pages: Record<StageWord, { page: string; text: string }[]> = {
	know: [
		{ page: "supply", text: "Supply" },
		{ page: "machine", text: "Numbers" },
	],
	keep: [
		{ page: "read", text: "Read" },
		{ page: "audit", text: "Audit" },
		{ page: "settings", text: "Settings" },
		{ page: "photographs", text: "Photographs" },
	],
	fit: [{ page: "sheet", text: "Wiring sheet" }],
	prove: [
		{ page: "sales", text: "Sales" },
		{ page: "bus", text: "Bus" },
		{ page: "signal", text: "Signal" },
		{ page: "cold", text: "Cold" },
	],
	"hand-over": [{ page: "hand-over", text: "Hand over" }],
	watch: [],
};

export function worksOf(stage: StageWord, id: string) {
	return pages[stage].map((p) => ({ text: p.text, page: p.page, href: to(["visit", id, p.page]) }));
}

const worst: Stands[] = ["contradicted", "open", "waived", "shown"];

export function of(doc: VisitDoc, stage: StageWord): Claim[] {
	const rank = (c: Claim) => worst.indexOf(c.stands);
	return doc.claims
		.filter((c) => c.stage === stage)
		.map((c, i) => ({ c, i }))
		.sort((a, b) => rank(a.c) - rank(b.c) || a.i - b.i)
		.map((x) => x.c);
}

export function stageStands(claims: Claim[]): Stands {
	return worst.find((s) => claims.some((c) => c.stands === s)) ?? "open";
}

function tally(claims: Claim[], s: Stands): number {
	return claims.filter((c) => c.stands === s).length;
}

/** "1 contradicted, 2 open", the worst first. */
export function stageWords(claims: Claim[]): string {
	if (claims.length && claims.every((c) => c.stands === "shown")) {
		return claims.length === 1 ? "shown" : `all ${claims.length} shown`;
	}
	if (claims.length && claims.every((c) => c.due_later && c.stands === "open")) {
		return "in the weeks after";
	}
	return worst
		.filter((s) => tally(claims, s))
		.map((s) => `${tally(claims, s)} ${s}`)
		.join(" · ");
}

export function verdictWords(doc: VisitDoc): string {
	const due = doc.claims.filter((c) => !c.due_later);
	const parts: string[] = [];
	const against = tally(doc.claims, "contradicted");
	const open = tally(due, "open");
	if (against) {
		parts.push(`${against} contradicted`);
	}
	if (open) {
		parts.push(`${open} open`);
	}
	if (!parts.length) {
		parts.push("Everything shown that closing asks for");
	}
	const waived = tally(doc.claims, "waived");
	if (waived) {
		parts.push(`${waived} waived`);
	}
	return parts.join(" · ");
}

export function verdictStands(doc: VisitDoc): Stands {
	return doc.verdict;
}

// ---- the one next step ----

export interface Step {
	verb: string;
	href: string;
	claim: Claim | null;
}

const steps: Record<string, { verb: string; page: string }> = {
	"know.machine": { verb: "Read the audit", page: "read" },
	"know.supply": { verb: "Work out the supply", page: "supply" },
	"keep.audit": { verb: "Read the audit", page: "read" },
	"keep.prices": { verb: "Read the audit", page: "read" },
	"keep.settings": { verb: "Write down the settings", page: "settings" },
	"keep.condition": { verb: "Photograph the machine", page: "photographs" },
	"fit.photographs": { verb: "Photograph the work", page: "photographs" },
	"prove.audit": { verb: "Read the audit again", page: "read" },
	"prove.meters": { verb: "Compare the audits", page: "audit" },
	"prove.prices": { verb: "Key the prices back", page: "audit" },
	"prove.settings": { verb: "Set the settings back", page: "audit" },
	"prove.sales": { verb: "Make the sales", page: "sales" },
	"prove.coin": { verb: "Sell one for coins", page: "sales" },
	"prove.bill": { verb: "Sell one for a bill", page: "sales" },
	"prove.card": { verb: "Sell one by card", page: "sales" },
	"prove.cash": { verb: "Look into the cash", page: "audit" },
	"prove.clock": { verb: "Set the clock and read again", page: "read" },
	"prove.bus": { verb: "Look at the bus", page: "bus" },
	"prove.temperature": { verb: "Add the temperature log", page: "cold" },
	"prove.signal": { verb: "Add the signal log", page: "signal" },
	"hand-over.numbers": { verb: "Give the numbers", page: "machine" },
	"hand-over.package": { verb: "Pack it for the office", page: "hand-over" },
};
const says: Record<string, string> = {
	"know.fits": "Say what was looked at",
	"know.works": "Try the machine and say so",
	"fit.isolated": "Say how it was isolated",
	"fit.level": "Look at the feet and say so",
	"fit.antenna": "Look at the antenna lead and say so",
	"fit.cables": "Swing the door and say so",
	"fit.old-unit": "Say where the old unit went",
	"hand-over.box": "Say that all is back in its place",
	"prove.door": "Say why the door was not tried",
};

function stepFor(claim: Claim, v: Visit): Step {
	const known = steps[claim.id];
	if (claim.id === "prove.sales" && claim.stands === "contradicted") {
		return { verb: "See what the sales tell", href: to(["visit", v.id, "sales"]), claim };
	}
	if (claim.id === "know.machine" && claim.stands === "open" && claim.evidence.length) {
		return v.machine_serial
			? { verb: "Look at the plate and say so", href: to(["visit", v.id], { claim: claim.id }), claim }
			: { verb: "Give the serial number", href: to(["visit", v.id, "machine"]), claim };
	}
	if (claim.id.startsWith("watch.")) {
		return { verb: "See the weeks after", href: to(["watch", v.asset]), claim };
	}
	if (known) {
		return { verb: known.verb, href: to(["visit", v.id, known.page]), claim };
	}
	return { verb: says[claim.id] ?? "Settle what is open", href: to(["visit", v.id], { claim: claim.id }), claim };
}

/** The page where a claim is worked on, unless it is settled by a word. */
export function workFor(claim: Claim, v: Visit): Step | null {
	return steps[claim.id] || claim.id.startsWith("watch.") ? stepFor(claim, v) : null;
}

export function nextStep(doc: VisitDoc): Step | null {
	const v = doc.visit;
	if (v.closed) {
		const after = doc.claims.find((c) => c.due_later && c.stands === "contradicted");
		const pack = doc.claims.find((c) => c.id === "hand-over.package" && c.stands === "open");
		const next = after ?? pack;
		return next ? stepFor(next, v) : null;
	}
	const due = doc.claims.filter((c) => !c.due_later);
	const first = due.find((c) => c.stands === "contradicted") ?? due.find((c) => c.stands === "open");
	if (first) {
		return stepFor(first, v);
	}
	return { verb: "Close the visit", href: to(["visit", v.id, "hand-over"]), claim: null };
}

export function openWords(stands: Partial<Record<Stands, number>> | null | undefined): string | null {
	if (!stands) {
		return null;
	}
	const parts = (["contradicted", "open"] as const).filter((s) => stands[s]).map((s) => `${stands[s]} ${s}`);
	return parts.length ? parts.join(" · ") : count(stands.shown ?? 0, "claim") + " shown";
}
