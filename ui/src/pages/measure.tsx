// SPDX-License-Identifier: Apache-2.0
// Cold, signal and supply: what was measured, drawn, with the limit and what it leaves.
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { addEvidence, getText, post, query, visitPath } from "../api";
import type { ColdDoc, SignalDoc, SupplyDoc, VisitDoc } from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { ChainDrawing, Levels, Squared, stepsOf, type Axis } from "../drawings";
import { put, useDoc } from "../live";
import { FileEntry, MeasuredLeaf, Result, useEvidence } from "../measured";
import { Choose, Do, Entry, Field, Findings, KeptForm, Typing, Waiting } from "../parts";
import { readingsOf, thinned, type MarkAt, type Reading } from "../table";
import { count, dbm, lasting, number, spare } from "../words";

function useText(path: string | null): string | null {
	const [text, set] = useState<string | null>(null);
	const want = useRef(path);
	want.current = path;
	useEffect(() => {
		set(null);
		if (path) {
			void getText(path).then(
				(t) => want.current === path && set(t),
				() => undefined,
			);
		}
	}, [path]);
	return text;
}

function Facts({ rows }: { rows: [string, ComponentChildren | null | false][] }) {
	return (
		<dl class="facts">
			{rows
				.filter(([, v]) => v !== null && v !== false)
				.map(([name, v]) => (
					<>
						<dt>{name}</dt>
						<dd>{v}</dd>
					</>
				))}
		</dl>
	);
}

// ---- cold ----

const degrees = (v: number | null | undefined) =>
	v === null || v === undefined ? "–" : `${v.toFixed(1).replace("-", "−")} °C`;

/** A log may be in Fahrenheit; which of both it is tell the figures that the program read from it. */
function inCelsius(t: ReturnType<typeof readingsOf>, d: ColdDoc): ReturnType<typeof readingsOf> {
	const values = t.readings.map((r) => r.value).sort((a, b) => a - b);
	const middle = values[Math.floor(values.length / 2)];
	if (middle === undefined || d.least_c === null || d.most_c === null) {
		return t;
	}
	const off = (v: number) => Math.max(0, (d.least_c as number) - v, v - (d.most_c as number));
	const celsius = (f: number) => (f - 32) / 1.8;
	return off(celsius(middle)) < off(middle)
		? { ...t, readings: t.readings.map((r) => ({ ...r, value: celsius(r.value) })) }
		: t;
}

function timeAxis(seconds: number, about: number): Axis {
	const hour = seconds >= 7200;
	const unit = seconds >= 4 * 86400 ? 86400 : hour ? 3600 : 60;
	return {
		from: 0,
		to: seconds,
		ticks: stepsOf(0, seconds / unit, about).map((n) => ({
			at: n * unit,
			text: `${n}${unit === 86400 ? " d" : unit === 3600 ? " h" : " min"}`,
		})),
	};
}

function Fit({
	d,
	list,
	x,
	y,
}: {
	d: ColdDoc;
	list: Reading[];
	x: (v: number) => number;
	y: (v: number) => number;
}) {
	if (d.tau_s === null || d.settles_at_c === null || !list.length) {
		return null;
	}
	const early = list.slice(0, Math.max(2, Math.floor(list.length / 4)));
	const top = early.reduce((a, b) => (b.value > a.value ? b : a));
	const until = Math.min(list[list.length - 1]?.at ?? 0, top.at + 5 * d.tau_s);
	const curve = (tau: number, settles: number) =>
		Array.from({ length: 60 }, (_, i) => {
			const t = ((until - top.at) * i) / 59;
			return `${x(top.at + t).toFixed(1)} ${y(settles + (top.value - settles) * Math.exp(-t / tau)).toFixed(1)}`;
		});
	const low = d.tau_low_s !== null && d.settles_low_c !== null ? curve(d.tau_low_s, d.settles_low_c) : null;
	const high = d.tau_high_s !== null && d.settles_high_c !== null ? curve(d.tau_high_s, d.settles_high_c) : null;
	return (
		<>
			{low && high && <path class="band" d={`M${low.join("L")}L${high.reverse().join("L")}Z`} />}
			<path class="line" d={`M${curve(d.tau_s, d.settles_at_c).join("L")}`} />
		</>
	);
}

function ColdCurve({ d, readings, marks }: { d: ColdDoc; readings: Reading[]; marks: MarkAt[] }) {
	const values = readings.map((r) => r.value).concat(d.limit_c ?? []);
	const low = Math.min(...values) - 1;
	const high = Math.max(...values) + 1;
	const end = readings[readings.length - 1]?.at ?? 1;
	const points = thinned(readings, 1400);
	return (
		<Squared
			unit="°C"
			x={(about) => timeAxis(end, about)}
			label={`Temperature over ${lasting(end)}, from ${degrees(d.least_c)} to ${degrees(d.most_c)}, limit ${degrees(d.limit_c)}`}
			y={{
				from: low,
				to: high,
				ticks: stepsOf(low, high, 6).map((n) => ({ at: n, text: String(n).replace("-", "−") })),
			}}
			draw={(f) => (
				<>
					<Fit d={d} list={readings} x={f.x} y={f.y} />
					<path
						d={`M${points.map((p) => `${f.x(p.at).toFixed(1)} ${f.y(p.value).toFixed(1)}`).join("L")}`}
						stroke-width="1.5"
					/>
					{d.limit_c !== null && (
						<>
							<path class="bad dash" d={`M${f.left} ${f.y(d.limit_c)} H${f.right}`} />
							<text x={f.right - 4} y={f.y(d.limit_c) - 6} text-anchor="end">
								limit {degrees(d.limit_c)}
							</text>
						</>
					)}
					{d.alarm && <path class="line dash" d={`M${f.left} ${f.y(d.alarm.threshold_c)} H${f.right}`} />}
					{marks.map((m, i) => {
						const x = f.x(m.at);
						const y = f.height - 32;
						return (
							<g key={i}>
								<path d={`M${x} ${y} v-12 m-4 5 l4 -5 l4 5`} />
								<title>{m.word}</title>
							</g>
						);
					})}
				</>
			)}
		/>
	);
}

interface ColdWish {
	kind: string;
	reference: string;
	ice: string;
	limit: string;
}

export function ColdPage({ id }: { id: string }) {
	const e = useEvidence(id, "temperature");
	const w = useDraftOf<ColdWish>(draftKey(id, "cold"), { kind: "cold", reference: "", ice: "", limit: "" });
	const base = e.chosen ? `${visitPath(id)}/evidence/${e.chosen.number}` : null;
	const amount = (t: string) =>
		/^-?\d+(\.\d+)?$/.test(t.trim().replace(",", ".")) ? t.trim().replace(",", ".") : null;
	const read = useDoc<ColdDoc>(
		base &&
			query(`${base}/cold`, {
				kind: w.value.kind,
				reference: amount(w.value.reference),
				ice: amount(w.value.ice),
				limit: amount(w.value.limit),
			}),
	);
	const text = useText(base);
	const d = read.doc;
	const table = text && d ? inCelsius(readingsOf(text), d) : null;
	return (
		<MeasuredLeaf
			title="Cold"
			lead="Does the cabinet hold its temperature, and does the probe tell the truth?"
			of={e}
		>
			<FileEntry of={e} look="cold" title="Log" label="Add a logger's table" accept=".csv,.txt,text/csv,text/plain">
				<details open={!e.chosen}>
					<summary>Limit and second thermometer</summary>
					<div class="fields two">
						<Choose
							label="The cabinet holds"
							value={w.value.kind}
							onPick={(kind) => w.change({ kind })}
							options={[
								{ value: "cold", text: "cold food" },
								{ value: "frozen", text: "frozen food" },
								{ value: "hot", text: "hot food" },
							]}
						/>
						<Field
							label="Limit of the local code, °C"
							value={w.value.limit}
							onText={(limit) => w.change({ limit })}
							hint="Empty: the model code"
						/>
						<Field
							label="A second thermometer read at the end, °C"
							value={w.value.reference}
							onText={(reference) => w.change({ reference })}
						/>
						<Field
							label="The probe read in ice, °C"
							value={w.value.ice}
							onText={(ice) => w.change({ ice })}
						/>
					</div>
					<KeptForm draft={w} />
				</details>
			</FileEntry>
			{e.chosen && <Waiting read={read} what="the log" />}
			{d && (
				<>
					<Entry title="Curve">
						<Result stands={d.verdict} good="holds its temperature" bad="does not hold" />
						{table && table.readings.length > 1 ? (
							<ColdCurve d={d} readings={table.readings} marks={table.marks} />
						) : (
							base &&
							text !== null && (
								<div class="plate" tabIndex={0} role="group" aria-label="Curve">
									<img
										src={query(`${base}/cold.svg`, { kind: w.value.kind })}
										alt="The curve of the log with its limit"
									/>
								</div>
							)
						)}
					</Entry>
					<Entry title="Figures">
						<ColdFigures d={d} />
					</Entry>
					<Entry title="Findings">
						<Findings list={d.findings} none="Nothing speaks against the cabinet or its probe." />
					</Entry>
				</>
			)}
		</MeasuredLeaf>
	);
}

function ColdFigures({ d }: { d: ColdDoc }) {
	return (
		<Facts
			rows={[
				["Readings", `${number(d.readings)}${d.step_s ? `, one every ${lasting(d.step_s)}` : ""}`],
				["Lies between", `${degrees(d.least_c)} and ${degrees(d.most_c)}`],
				["Beyond the limit", lasting(d.time_above_s)],
				[
					"Pulls down",
					d.tau_s !== null &&
						`time constant ${lasting(d.tau_s)}${d.tau_low_s !== null && d.tau_high_s !== null ? ` (${lasting(d.tau_low_s)} to ${lasting(d.tau_high_s)})` : ""}`,
				],
				["Settles at", d.settles_at_c !== null && degrees(d.settles_at_c)],
				["At the limit after", d.reach_s !== null && lasting(d.reach_s)],
				[
					"Compressor",
					d.cycle &&
						`${d.cycle.cycles} cycles of ${lasting(d.cycle.period_s)}, runs ${Math.round(d.cycle.duty * 100)} % of the time`,
				],
				[
					"Defrosts",
					d.defrost &&
						`${d.defrost.count}${d.defrost.every_s ? `, every ${lasting(d.defrost.every_s)}` : ""}, up to ${degrees(d.defrost.peak_c)}`,
				],
				[
					"Probe",
					d.probe_error_c !== null
						? `reads ${degrees(Math.abs(d.probe_error_c))} too ${d.probe_error_c < 0 ? "low" : "high"}`
						: "not compared with anything yet",
				],
				[
					"Alarm",
					d.alarm &&
						`${degrees(d.alarm.threshold_c)} for ${lasting(d.alarm.delay_s)}: never fires on this log${d.alarm.dead_compressor_s !== null ? `, tells of a dead compressor after ${lasting(d.alarm.dead_compressor_s)}` : ""}`,
				],
			]}
		/>
	);
}

// ---- signal ----

export function SignalPage({ id }: { id: string }) {
	const e = useEvidence(id, "signal");
	const w = useDraftOf<{ least: string; lead: string; frequency: string }>(draftKey(id, "signal"), {
		least: "",
		lead: "",
		frequency: "",
	});
	const read = useDoc<SignalDoc>(
		e.chosen
			? query(`${visitPath(id)}/evidence/${e.chosen.number}/signal`, {
					least: /^-?\d+$/.test(w.value.least.trim()) ? w.value.least.trim() : null,
					lead: /^[\w.=,-]+:\d/.test(w.value.lead.trim()) ? w.value.lead.trim() : null,
					frequency: /^\d+$/.test(w.value.frequency.trim()) ? w.value.frequency.trim() : null,
				})
			: null,
	);
	const d = read.doc;
	return (
		<MeasuredLeaf
			title="Signal"
			lead="Is the level good enough where the antenna will live, with the door closed?"
			of={e}
		>
			<FileEntry of={e} look="signal" title="Log" label="Add a modem's answers or a table of levels" accept=".csv,.txt,.log,text/csv,text/plain">
				<details open={!e.chosen}>
					<summary>What the unit needs, and its lead</summary>
					<div class="fields two">
						<Field
							label="The unit needs at least, dBm"
							value={w.value.least}
							onText={(least) => w.change({ least })}
							hint="By its data sheet"
						/>
						<Field
							label="Antenna lead"
							value={w.value.lead}
							onText={(lead) => w.change({ lead })}
							hint="Class and metres, such as RG-174:3"
						/>
					</div>
					<KeptForm draft={w} />
				</details>
			</FileEntry>
			{e.chosen && <Waiting read={read} what="the log" />}
			{d && (
				<>
					<Entry title="Places">
						<Result stands={d.verdict} good="good enough" bad="not good enough" />
						<Levels d={d} />
						<Facts
							rows={[
								[
									"Readings",
									`${number(d.samples)}${d.unknown ? `, ${d.unknown} of them not known` : ""}`,
								],
								["Counts", d.position && `the place “${d.position}”`],
								[
									"Level",
									d.level_dbm.median !== null &&
										`${dbm(d.level_dbm.median)} in the middle, nine of ten reach ${dbm(d.level_dbm.p10)}`,
								],
								[
									"To spare",
									d.margin_db !== null && `${d.margin_db.toFixed(1)} dB above ${dbm(d.least_dbm)}`,
								],
								[
									"Above it",
									d.share_above !== null && `${(d.share_above * 100).toFixed(1)} % of the time`,
								],
							]}
						/>
					</Entry>
					{d.leads.length > 0 && (
						<Entry title="Leads">
							<ul>
								{d.leads.map((l) => (
									<li key={l.lead}>
										{l.lead} loses {l.loss_db?.toFixed(1) ?? "–"} dB and leaves{" "}
										{l.margin_db?.toFixed(1) ?? "–"} dB.
									</li>
								))}
							</ul>
						</Entry>
					)}
					<Entry title="Findings">
						<Findings list={d.findings} none="Nothing speaks against the place." />
					</Entry>
				</>
			)}
		</MeasuredLeaf>
	);
}

// ---- supply ----

interface Chain {
	rows: Record<string, string>[];
}
const chainColumns = ["device", "kind", "volts", "idle", "continuous", "peak", "length", "gauge", "temperature"];
const chainTitles: Record<string, string> = {
	device: "Device",
	volts: "Least volts",
	idle: "Idle",
	continuous: "All the time",
	peak: "Peak",
	length: "Run of cable",
	gauge: "Wire",
};

function rowsOf(csv: string): Record<string, string>[] {
	const lines = csv.split(/\r?\n/).filter((l) => l !== "" && !l.startsWith("#"));
	const head = (lines[0] ?? "").split(",");
	return lines.slice(1).map((l) => Object.fromEntries(l.split(",").map((c, i) => [head[i] ?? "", c])));
}

export function SupplyPage({ id }: { id: string }) {
	const e = useEvidence(id, "supply");
	const template = useText("/api/supply/template");
	const read = useDoc<SupplyDoc>(e.chosen ? `${visitPath(id)}/evidence/${e.chosen.number}/supply` : null);
	const filed = useText(e.chosen ? `${visitPath(id)}/evidence/${e.chosen.number}` : null);
	const closed = !!e.visit.doc?.visit.closed;
	const draft = useDraftOf<Chain>(draftKey(id, "supply"), { rows: [] });
	const rows = draft.value.rows.length ? draft.value.rows : rowsOf(filed ?? template ?? "");
	const change = (i: number, c: string, v: string) =>
		draft.change({ rows: rows.map((r, k) => (k === i ? { ...r, [c]: v } : r)) });
	const d = read.doc;
	const file = async () => {
		const csv = [
			chainColumns.join(","),
			...rows.map((r) => chainColumns.map((c) => r[c] ?? "").join(",")),
			"",
		].join("\n");
		const name = `supply-${e.list.length + 1}.csv`;
		const bytes = new Blob([csv], { type: "text/csv" });
		await post(query("/api/look/supply", { name }), bytes);
		put(visitPath(id), await addEvidence<VisitDoc>(id, bytes, name, "supply", "know"));
		draft.clear();
	};
	return (
		<MeasuredLeaf
			title="Supply"
			lead="Does the supply of the bus carry one more peripheral? Measure the volts at the harness under load."
			of={e}
		>
			{d && (
				<>
					<Entry title="Chain">
						<Result stands={d.verdict} good="carries it" bad="does not carry it" />
						<ChainDrawing d={d} runs={rowsOf(filed ?? "")} />
						<Facts
							rows={[
								[
									"Still to draw",
									d.margin_ma !== null &&
										`${spare(d.margin_ma)}${d.place ? ` at the ${d.place}` : ""}`,
								],
								[
									"Weakest",
									d.weakest &&
										`${d.weakest}${d.margin_v !== null ? `, ${d.margin_v.toFixed(1)} V to spare at the worst peak` : ""}`,
								],
							]}
						/>
						{d.changes.length > 0 && (
							<ul>
								{d.changes.map((c) => (
									<li key={c.what}>
										{c.what}: {c.margin_v !== null ? `${c.margin_v.toFixed(1)} V` : "–"}
										{c.margin_ma !== null ? ` and ${spare(c.margin_ma)}` : ""} to spare.
									</li>
								))}
							</ul>
						)}
					</Entry>
					<Entry title="Findings">
						<Findings list={d.findings} none="Nothing speaks against it." />
					</Entry>
				</>
			)}
			<Typing closed={closed}>
				<Entry title="Figures">
					<p class="quiet">
						In the order of the harness, the supply first. What stays empty is a usual figure from memory,
						and said to be.
					</p>
					{rows.map((r, i) => (
						<div class="keys wide" role="group" key={i} aria-label={r["device"] || `device ${i + 1}`}>
							{Object.keys(chainTitles)
								.filter(
									(c) => r["kind"] !== "supply" || !["idle", "peak", "length", "gauge"].includes(c),
								)
								.map((c) => (
									<label key={c}>
										<span>
											{r["kind"] === "supply" && c === "volts"
												? "Volts measured"
												: r["kind"] === "supply" && c === "continuous"
													? "Rated for"
													: chainTitles[c]}
										</span>
										<input
											value={r[c] ?? ""}
											autoComplete="off"
											onInput={(x) => change(i, c, x.currentTarget.value)}
										/>
									</label>
								))}
						</div>
					))}
					<KeptForm draft={draft} />
				</Entry>
			</Typing>
			{!closed && (
				<div class="next">
					<Do verb="File the figures" doing="Filing" first disabled={!rows.length} act={file} />
				</div>
			)}
			{e.list.length > 0 && <p class="quiet small">{count(e.list.length, "table")} filed.</p>}
		</MeasuredLeaf>
	);
}
