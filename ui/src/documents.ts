// SPDX-License-Identifier: Apache-2.0
// The documents of docs/json.md and docs/bench.md as far as the pages read them.

export type Verdict = "shown" | "contradicted" | "open";
export type Stands = Verdict | "waived";
export type StageWord = "know" | "keep" | "fit" | "prove" | "hand-over" | "watch";

export interface Where {
	file: string | null;
	line: number | null;
	element: string | null;
	selection: string | null;
	at_us: number | null;
}
export interface Finding {
	rule: string;
	weight: "note" | "doubt" | "fault";
	where: Where;
	seen: string | null;
	expected: string | null;
	why: string;
	do: string;
	follows: string | null;
}
export interface Doc {
	command: string;
	verdict: Verdict;
	findings: Finding[];
	error?: string;
	exit?: number;
}

export interface Evidence {
	number: number;
	kind: string;
	stage: StageWord;
	name: string;
	hash: string;
	bytes: number;
	added: string;
}
export interface Word {
	by: string | null;
	at: string;
}
export interface Claim {
	id: string;
	stage: StageWord;
	sentence: string;
	stands: Stands;
	because: string;
	do: string | null;
	due_later: boolean;
	evidence: string[];
	said: (Word & { text: string }) | null;
	waived: (Word & { because: string }) | null;
}
export interface Visit {
	id: string;
	key: string;
	asset: string;
	site: string | null;
	machine_serial: string | null;
	unit: string | null;
	sim: string | null;
	technician: string | null;
	without: string | null;
	opened: string;
	closed: string | null;
	evidence: Evidence[];
}
export interface VisitDoc extends Doc {
	visit: Visit;
	claims: Claim[];
}
export interface VisitRow {
	id: string;
	asset: string;
	site: string | null;
	opened: string;
	closed: string | null;
	machine_serial?: string | null;
	unit?: string | null;
	verdict?: Verdict | null;
	stands?: Partial<Record<Stands, number>> | null;
}
export interface VisitsDoc extends Doc {
	visits: VisitRow[];
}

export interface Total {
	value: number | null;
	count: number | null;
	value_since_reset: number | null;
	count_since_reset: number | null;
}
export interface PriceList {
	device: string;
	list: number;
	price: number | null;
	count: number | null;
	value: number | null;
	count_since_reset: number | null;
	value_since_reset: number | null;
}
export interface Selection {
	id: string;
	price: number | null;
	name: string | null;
	status: number | null;
	paid: Total;
	test: Total;
	free: Total;
	lists: PriceList[];
}
export interface AuditEvent {
	code: string;
	meaning: string | null;
	date: string | null;
	time: string | null;
	duration_min: number | null;
	count: number | null;
	count_since_reset: number | null;
	active: boolean | null;
}
export interface Pair {
	init: number | null;
	reset: number | null;
}
export interface AuditDoc extends Doc {
	file: string;
	machine: {
		serial: string | null;
		model: string | null;
		revision: string | null;
		asset: string | null;
		location: string | null;
	};
	currency: { code: string | null; numeric: number | null; decimals: number | null; decimals_known: boolean };
	clock: string | null;
	totals: Record<"paid" | "cash" | "cashless_1" | "cashless_2" | "tokens" | "test" | "free", Total>;
	cash: Record<string, Pair | number | null>;
	selections: Selection[];
	events: AuditEvent[];
	reads: number | null;
	resets: number | null;
	power_outages: number | null;
	reliance: Record<string, "full" | "part" | "none">;
	reliance_because: Record<string, string>;
}

export interface Change {
	element: string;
	selection: string | null;
	key: string | null;
	list: number | null;
	kind: "identity" | "setting" | "meter" | "state" | "event";
	before: string | null;
	after: string | null;
}
export interface CompareDoc extends Doc {
	decimals: number | null;
	changes: Change[];
	lost: { element: string; selection: string | null; before: number | null; after: number | null; how: string }[];
	restore: { what: string; selection: string | null; value: string; now: string | null }[];
	reads: number | null;
	resets: number | null;
}

export interface Story {
	kind: string;
	selections: string[];
	detail: string;
	edits: number;
	parts: { kind: string; selections: string[]; detail: string }[];
}
export interface Counter {
	element: string;
	title: string;
	selection: string | null;
	device: string | null;
	list: number | null;
	expected: number;
	observed: number | null;
	at_least: boolean;
	money: boolean;
	since_reset: boolean;
	before: number | null;
	after: number | null;
}
export interface ProveDoc extends Doc {
	agree: boolean | null;
	decimals: number | null;
	witnesses: { name: string; says: string | null; agrees: boolean | null }[];
	differ: number;
	alone: string | null;
	counters: Counter[];
	stories: Story[];
	stories_more: number;
	sold: { selection: string | null; device: string | null; list: number | null; count: number; value: number }[];
}

export interface BusPeripheral {
	address: string;
	name: string;
	addressed: number;
	answered: number;
	silent: number;
	response_us: { min: number; median: number; p99: number; max: number } | null;
	late: number | null;
	checksum_errors: number;
	framing_errors: number;
	command_errors: number;
	naks: number;
	controller_naks: number;
	rets: number;
	unclosed: number;
	resets: number;
	resets_sent: number;
	baud: number | null;
	identity: Record<string, string | null> | null;
	setup: Record<string, unknown> | null;
	state: string | null;
}
export interface BusSale {
	at_us: number;
	selection: string | null;
	price: number | null;
	paid_with: string;
	outcome: string;
	address: string | null;
	approved: number | null;
	closed_us: number | null;
}
export interface BusLine {
	channel: string | null;
	baud: number | null;
	words: number;
	framing_errors: number;
	inverted: boolean;
	breaks: number;
	flat: boolean;
}
export interface BusDoc extends Doc {
	file: string;
	format: string;
	timing_known: boolean;
	cut: boolean;
	from_us: number;
	until_us: number;
	bytes: number;
	exchanges: number;
	damaged: number;
	strays: number;
	lines: { controller: BusLine; peripheral: BusLine };
	decimals: number | null;
	currency: string | null;
	peripherals: BusPeripheral[];
	sales: BusSale[];
	money: { at_us: number; source: string; value: number | null; route: string | null; type: number | null }[];
}
export interface BlockHalf {
	bytes: string;
	checksum_ok: boolean | null;
	framing_errors: number;
}
export interface Said {
	kind: "exchange" | "bus-reset" | "stray";
	line: string | null;
	command: BlockHalf | null;
	answer: BlockHalf | null;
	stray: BlockHalf | null;
	answered: string | null;
	closed: string | null;
	again: boolean | null;
	means: string | null;
}
/** With what passed: each thing said once, and a row for each block; see docs/json.md. */
export interface TrafficDoc extends BusDoc {
	traffic: { said: Said[]; blocks: [number, number, number, number | null, number | null, number | null][] };
}

export interface ColdDoc extends Doc {
	kind: string;
	measured: string;
	readings: number;
	step_s: number | null;
	limit_c: number | null;
	guard_c: number | null;
	time_above_s: number | null;
	time_judged_s: number | null;
	least_c: number | null;
	most_c: number | null;
	tau_s: number | null;
	tau_low_s: number | null;
	tau_high_s: number | null;
	settles_at_c: number | null;
	settles_low_c: number | null;
	settles_high_c: number | null;
	reach_s: number | null;
	probe_error_c: number | null;
	cycle: { cycles: number; period_s: number; duty: number; swing_c: number } | null;
	defrost: { count: number; every_s: number | null; peak_c: number } | null;
	alarm: {
		threshold_c: number;
		delay_s: number;
		dead_compressor_s: number | null;
		door_ajar_s: number | null;
	} | null;
}
export interface SignalDoc extends Doc {
	samples: number;
	unknown: number;
	metric: string | null;
	position: string | null;
	least_dbm: number | null;
	level_dbm: { median: number | null; p10: number | null };
	margin_db: number | null;
	share_above: number | null;
	registered: boolean | null;
	positions: {
		name: string | null;
		samples: number;
		margin_db: number | null;
		share_above: number | null;
		level_dbm: { median: number | null; p10: number | null };
	}[];
	leads: { lead: string; loss_db: number | null; margin_db: number | null }[];
}
export interface SupplyDoc extends Doc {
	margin_ma: number | null;
	margin_v: number | null;
	weakest: string | null;
	place: string | null;
	collapses: boolean;
	devices: {
		name: string;
		idle: number | null;
		continuous: number | null;
		peak: number | null;
		least: number | null;
		assumed: boolean;
	}[];
	changes: { what: string; margin_v: number | null; margin_ma: number | null }[];
}

export interface Job {
	id: string | number;
	kind: string;
	state: "running" | "done" | "failed" | "stopped";
	port: string;
	visit: string | null;
	started: string;
	ended: string | null;
	progress: {
		phase: "waiting" | "reading" | "ended" | null;
		link: string | null;
		baud: number | null;
		bytes: number | null;
		blocks: number | null;
		retries: number | null;
		seconds: number | null;
	} | null;
	document:
		| (Doc & {
				link: string | null;
				bytes: number;
				blocks: number;
				retries: number;
				baud: number | null;
				seconds: number;
				hash: string | null;
		  })
		| null;
	filed: number | null;
	error: string | null;
}
export interface JobDoc extends Doc {
	job: Job;
}
export interface JobsDoc extends Doc {
	jobs: Job[];
}
export interface PortsDoc extends Doc {
	ports: { path: string; description: string | null; kind: string | null; serial: string | null }[];
}

export interface PracticeEvent {
	event: string;
	at: string | null;
	selection: string | null;
	delivered: string | null;
	paid_with: string | null;
	price: number | null;
	amount: number | null;
	text: string;
}
export interface Machine {
	id: string | number;
	state: "running" | "ended";
	started: string;
	ports: { dex: string; ddcmp: string } | null;
	machine: {
		name: string | null;
		dialect: string | null;
		serial: string | null;
		model: string | null;
		revision: string | null;
		asset: string | null;
		location: string | null;
	} | null;
	currency: string | null;
	decimals: number | null;
	seed: number | null;
	pace: string | null;
	hidden: boolean;
	faults: string[] | null;
	events?: PracticeEvent[];
}
export interface MachineDoc extends Doc {
	machine: Machine;
}
export interface MachinesDoc extends Doc {
	machines: Machine[];
}
export interface ChoicesDoc extends Doc {
	machines: { name: string; title: string }[];
	faults: { name: string; about: string }[];
}

export interface HandoverDoc extends Doc {
	package: string | null;
	signed_by: string | null;
	file: string;
	stated_verdict?: Verdict;
}
export interface KeyDoc extends Doc {
	signed_by: string | null;
	public_key: string;
	fingerprint: string;
}
export interface NumberDoc extends Doc {
	kind: string;
	valid: boolean;
	form: string | null;
	value: string | null;
	parts: { check_digit?: string | null; check_digit_expected?: string | null };
}
export interface Draft {
	key: string;
	version: number;
	changed: string;
	text: string;
}
export interface DraftDoc extends Doc {
	draft: Draft | null;
}
export interface BenchDoc extends Doc {
	version: string;
	book: string;
	loopback: boolean;
	paired: boolean;
	pairing: boolean;
	browser: string | null;
}
export interface BrowsersDoc extends Doc {
	browsers: { id: string; name: string; paired: string; seen: string | null; this: boolean }[];
}
export interface CodeDoc extends Doc {
	code: string;
	until: string;
	url: string;
	qr: string[];
}
