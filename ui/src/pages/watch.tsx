// SPDX-License-Identifier: Apache-2.0
// The weeks after: what needs a person, ranked; the fleet as it stands; one machine over time; the audits that show
// it.
import { useState } from "preact/hooks";
import sentences from "facts:rules";
import { postLines, query } from "../api";
import { useDeferred } from "../defer";
import type { AuditDoc, CompareDoc } from "../documents";
import { stepsOf, useWidth } from "../drawings";
import { useDoc } from "../live";
import { OfficeWays } from "../map";
import { Standing, Weight } from "../marks";
import { useLines, watchPath, type Exception, type TablesDoc, type Watched } from "../office";
import { Complaint, Entry, Field, Findings, Leaf, ownName, setOwnName, Waiting, Writing } from "../parts";
import { become, to, type Place } from "../route";
import { capital, count, money, number, sentence } from "../words";
import { Changes, FaceOf, Named, Whole } from "./audit";
import { Tables } from "./tables";

const watchTables = ["counts", "settlements", "doors", "temperatures"];
const shownAtOnce = 40;

interface Case {
	m: Watched;
	x: Exception;
}
const keyOf = ({ m, x }: Case) => `${m.asset} ${x.rule}${x.selection ? ` ${x.selection}` : ""} ${x.since ?? ""}`;
const day = (iso: string | null) => (iso ? iso.slice(0, 10) : "unknown");
const amount = (m: Watched, value: number | null) =>
	value === null ? "" : `${money(value, m.decimals)}${m.currency ? ` ${m.currency}` : ""}`;
const toldOf = (m: Watched, all = false) =>
	m.exceptions.filter((x) => x.open && x.weight !== "note" && (all || !x.acknowledged));

const missing = (m: Watched) =>
	m.reads_expected === null ? null : Math.max(0, m.reads_expected - m.reads_arrived);

/** How many times its usual spread a variance is, where it is more than people are off anyway. */
function beyondUsual(m: Watched): string {
	const times = m.cash_variance !== null && m.cash_spread ? Math.abs(m.cash_variance) / m.cash_spread : 0;
	return times > 2 ? `, ${times.toFixed(times < 9.95 ? 1 : 0)} times usual` : "";
}

function Facts({ m, x }: Case) {
	const f = m.findings.find((y) => y.rule === x.rule && y.where.selection === x.selection);
	return (
		<>
			<p class="quiet">{sentence(sentences[x.rule] ?? x.rule)}</p>
			<dl class="facts">
				<dt>Began</dt>
				<dd>{day(x.since)}</dd>
				<dt>Shown</dt>
				<dd>by the audit of {x.seen_at ? x.seen_at.replace("T", " ").slice(0, 16) : "an unknown time"}</dd>
				{x.money !== null && (
					<>
						<dt>Money</dt>
						<dd>
							{amount(m, x.money)} {x.money_is}, lost or at stake
						</dd>
					</>
				)}
				<dt>How sure</dt>
				<dd>
					{x.sure >= 0.9999 ? "more than 99.99 %" : `${(100 * x.sure).toFixed(x.sure > 0.99 ? 2 : 0)} %`}
				</dd>
			</dl>
			{f && (
				<p>
					{sentence(f.do)} <span class="quiet small">{sentence(f.why)}</span>
				</p>
			)}
		</>
	);
}

function Acknowledge({ m, x }: Case) {
	const [by, setBy] = useState(ownName());
	return (
		<details>
			<summary>Acknowledge</summary>
			<p class="quiet small">It stays quiet until it begins anew, or is about half as much money again.</p>
			<Field
				label="Who says so"
				value={by}
				onText={(t) => {
					setBy(t);
					setOwnName(t);
				}}
				auto="name"
			/>
			<Writing
				label="Why it is known"
				verb="Acknowledge it"
				doing="Writing it down"
				draft={`watch.${m.asset}.${x.rule}.${x.selection ?? "-"}`
					.replace(/[^A-Za-z0-9._:~-]/g, "~")
					.slice(0, 120)}
				send={(because) =>
					postLines("/api/watch/acknowledge", {
						exception: `${m.asset} ${x.rule}${x.selection ? ` ${x.selection}` : ""}`,
						because,
						by: by || null,
					})
				}
			/>
		</details>
	);
}

function CaseLine({ c, open, turn, alone }: { c: Case; open: boolean; turn: () => void; alone?: boolean }) {
	const { m, x } = c;
	const id = `case-${keyOf(c).replace(/[^A-Za-z0-9]/g, "-")}`;
	return (
		<li class="case" data-open={open ? "" : undefined}>
			<button type="button" aria-expanded={open} aria-controls={open ? id : undefined} onClick={turn}>
				<Weight weight={x.weight} />
				<span>
					{!alone && <b class="asset">{m.asset}</b>} {capital(x.seen ?? sentences[x.rule] ?? x.rule)}
					{x.expected ? <span class="quiet">; expected {x.expected}</span> : ""}
				</span>
				<span class="num">{amount(m, x.money)}</span>
			</button>
			{open && (
				<div class="within" id={id}>
					<Facts m={m} x={x} />
					<p class="work">
						{x.after && (
							<a href={to(["watch", m.asset], { before: x.before, after: x.after })}>
								{x.before ? "The audits before and after" : "The audit that shows it"}
							</a>
						)}
						{!alone && <a href={to(["watch", m.asset])}>{m.asset} over time</a>}
					</p>
					{x.acknowledged ? (
						<p>
							Known{x.known && `: ${x.known.because} (${x.known.by ? `${x.known.by}, ` : ""}${day(x.known.at)})`}
							. It stays quiet until it changes.
						</p>
					) : (
						<Acknowledge m={m} x={x} />
					)}
				</div>
			)}
		</li>
	);
}

function Cases({ list, none, alone }: { list: Case[]; none: string; alone?: boolean }) {
	const [open, setOpen] = useState<string | null>(null);
	const [more, setMore] = useState(false);
	const seen = more ? list : list.slice(0, shownAtOnce);
	if (!list.length) {
		return <p class="quiet">{none}</p>;
	}
	return (
		<>
			<ul class="cases">
				{seen.map((c) => (
					<CaseLine
						key={keyOf(c)}
						c={c}
						alone={alone}
						open={open === keyOf(c)}
						turn={() => setOpen(open === keyOf(c) ? null : keyOf(c))}
					/>
				))}
			</ul>
			{seen.length < list.length && (
				<button type="button" class="plain" onClick={() => setMore(true)}>
					Show {list.length - seen.length} more
				</button>
			)}
		</>
	);
}

/** The machine's word of today: the worst that is open, or that nothing is. */
function WordOf({ m }: { m: Watched }) {
	const told = toldOf(m);
	if (told.length) {
		const fault = told.some((x) => x.weight === "fault");
		return <Standing stands={fault ? "contradicted" : "open"} word={count(told.length, "exception")} />;
	}
	if (toldOf(m, true).length) {
		return <Standing stands="waived" word="known" />;
	}
	const gone = missing(m);
	return <Standing stands="shown" word={gone ? `nothing open, ${count(gone, "audit")} missing` : "as it should be"} />;
}

function Today({ list }: { list: Watched[] }) {
	const [text, setText] = useState("");
	const [more, setMore] = useState(false);
	const wanted = useDeferred(text.toLowerCase().trim());
	const worst = (m: Watched) => Math.max(-1, ...toldOf(m).map((x) => x.rank));
	const found = [...list]
		.sort((a, b) => worst(b) - worst(a) || a.asset.localeCompare(b.asset))
		.filter((m) => `${m.asset} ${m.model ?? ""} ${m.serial ?? ""}`.toLowerCase().includes(wanted));
	const seen = more ? found : found.slice(0, shownAtOnce);
	return (
		<>
			<Field label="Asset, model or serial number" type="search" value={text} onText={setText} />
			<p class="unseen" role="status">
				{wanted ? `${found.length} found` : ""}
			</p>
			<div class="scroll" tabIndex={0} role="group" aria-label="Machines today">
				<table class="machines first-two">
					<thead>
						<tr>
							<th scope="col">Asset</th>
							<th scope="col">Today</th>
							<th scope="col">Last audit</th>
							<th scope="col" class="num">
								Missing
							</th>
							<th scope="col" class="num">
								Week's sales
							</th>
							<th scope="col" class="num">
								Cash counted
							</th>
						</tr>
					</thead>
					<tbody>
						{seen.map((m) => (
							<tr key={`${m.asset}${m.serial ?? ""}`}>
								<th scope="row">
									<a href={to(["watch", m.asset])}>{m.asset}</a>
								</th>
								<td>
									<WordOf m={m} />
								</td>
								<td>
									<time>{day(m.last_read)}</time>
								</td>
								<td class="num">{missing(m) ?? "–"}</td>
								<td class="num">{amount(m, m.week_value)}</td>
								<td class="num">
									{m.cash_variance === null
										? "–"
										: (m.cash_variance > 0 ? "+" : "") +
											money(m.cash_variance, m.decimals) +
											beyondUsual(m)}
								</td>
							</tr>
						))}
					</tbody>
				</table>
			</div>
			{seen.length < found.length && (
				<button type="button" class="plain" onClick={() => setMore(true)}>
					Show {found.length - seen.length} more
				</button>
			)}
		</>
	);
}

export function WatchPage(_: { place: Place }) {
	const tables = useDoc<TablesDoc>("/api/tables");
	const watched = tables.doc?.audits === true;
	const read = useLines<Watched>(watched ? "/api/watch" : null);
	const list = read.list ?? [];
	const cases = list.flatMap((m) => toldOf(m, true).map((x) => ({ m, x }))).sort((a, b) => b.x.rank - a.x.rank);
	const open = cases.filter((c) => !c.x.acknowledged);
	const newest = list.reduce((t, m) => ((m.last_read ?? "") > t ? (m.last_read as string) : t), "");
	const oneMoney = new Set(list.map((m) => m.currency).filter((c) => c !== null)).size < 2;
	// amounts of machines that tell no currency are in no sum where others tell one
	const told = list.find((m) => m.currency !== null);
	const summed = open.filter((c) => oneMoney && c.m.currency === (told?.currency ?? null));
	const stakes = (["once", "a week"] as const)
		.map((is) => [is, summed.reduce((n, c) => n + (c.x.money_is === is ? (c.x.money ?? 0) : 0), 0)] as const)
		.flatMap(([is, n]) => (n > 0 && summed[0] ? [`${amount(summed[0].m, n)} ${is}`] : []));
	return (
		<Leaf
			title="Watch"
			lead={
				<OfficeWays
					at="watch"
					beside={
						read.list
							? `${count(list.length, "machine")} up to ${newest.replace("T", " ").slice(0, 16)}; ${count(open.length, "exception")}${stakes.length ? `, lost or at stake ${stakes.join(" and ")}` : ""}`
							: ""
					}
				/>
			}
		>
			{tables.doc && !watched && (
				<Entry title="Begin">
					<p>The bench watches a folder of audits that it was given when it was begun:</p>
					<p class="code">fettle bench --audits FOLDER</p>
				</Entry>
			)}
			{watched && !read.list && !read.error && (
				<p class="quiet" role="status">
					Reading what is new <span class="working" />
				</p>
			)}
			<Complaint text={read.error} />
			{read.list && (
				<>
					<Entry title="Needs a person">
						<Cases list={open} none="Nothing needs a person." />
					</Entry>
					<Entry title="Fleet today">
						<Today list={list} />
					</Entry>
					{cases.length > open.length && (
						<Entry title="Known">
							<Cases list={cases.filter((c) => c.x.acknowledged)} none="" />
						</Entry>
					)}
				</>
			)}
			{watched && (
				<Entry title="Tables">
					<Tables
						names={watchTables}
						hint="counts.csv, settlements.csv, doors.csv, temperatures.csv: what people counted, cards settled, doors and cabinets told."
					/>
				</Entry>
			)}
		</Leaf>
	);
}

// ---- one machine over time ----

const dayNumber = (iso: string) => Math.round(Date.parse(`${iso.slice(0, 10)}T00:00:00Z`) / 864e5);
const dayText = (n: number) => new Date(n * 864e5).toISOString().slice(0, 10);

function Bars({ m }: { m: Watched }) {
	const { ref, width } = useWidth();
	const sold = new Map<number, number>();
	for (const r of m.reads ?? []) {
		if (r.sold !== null) {
			sold.set(dayNumber(r.at), (sold.get(dayNumber(r.at)) ?? 0) + r.sold);
		}
	}
	const days = (m.days ?? []).map((d) => ({ ...d, n: dayNumber(d.day) }));
	const first = Math.min(...days.map((d) => d.n), ...sold.keys());
	const last = Math.max(...days.map((d) => d.n), ...sold.keys());
	if (!Number.isFinite(first) || !sold.size) {
		return <p class="quiet">Two reads at least are needed to say what was sold.</p>;
	}
	const most = Math.max(1, ...sold.values());
	const tens = 10 ** m.decimals;
	const top = 20;
	const left = 48;
	const floor = 200;
	const height = floor + 66;
	const step = (width - left - 4) / (last - first + 1);
	const x = (n: number) => left + (n - first) * step;
	const y = (v: number) => floor - (v / most) * (floor - top);
	const missing = days.filter((d) => d.expected && !d.arrived);
	const told = m.exceptions.filter((e) => e.weight !== "note" && e.since);
	const ticks = stepsOf(0, last - first, Math.max(2, width / 130)).filter((n) => Number.isInteger(n));
	return (
		<div ref={ref}>
			<svg
				class="drawing bars"
				viewBox={`0 0 ${width} ${height}`}
				role="img"
				aria-label={`Paid sales by day from ${dayText(first)} to ${dayText(last)}, at most ${money(most, m.decimals)}; ${count(missing.length, "day")} without an audit that was due; ${count(told.length, "exception")} marked`}
			>
				{stepsOf(0, most / tens, 4).map((v) => (
					<g key={v}>
						<path class="hair" d={`M${left} ${y(v * tens)} H${width}`} />
						<text class="soft" x={left - 6} y={y(v * tens) + 4} text-anchor="end">
							{v}
						</text>
					</g>
				))}
				<text class="soft" x={left - 6} y="12" text-anchor="end">
					{m.currency ?? ""}
				</text>
				{[...sold].map(([n, v]) => (
					<rect
						key={n}
						class="bar"
						x={x(n) + step * 0.15}
						y={y(v)}
						width={Math.max(1, step * 0.7)}
						height={Math.max(0, floor - y(v))}
					/>
				))}
				<path d={`M${left} ${floor} H${width}`} />
				{missing.map((d) => (
					<path key={d.n} class="gap" d={`M${x(d.n) + step / 2 - 4} ${floor + 8} l8 8 m-8 0 l8 -8`} />
				))}
				{told.map((e, i) => {
					const at = x(dayNumber(e.since as string)) + step / 2;
					return (
						<path
							key={i}
							class="told"
							d={`M${at} ${floor + 24} l6 6 l-6 6 l-6 -6 Z M${at} ${floor + 24} V${floor}`}
						/>
					);
				})}
				{ticks.map((n) => (
					<text
						key={n}
						class="soft"
						x={Math.min(x(first + n) + step / 2, width - 34)}
						y={floor + 58}
						text-anchor="middle"
					>
						{dayText(first + n).slice(5)}
					</text>
				))}
			</svg>
			<p class="quiet small">× an audit was due and none came; ◇ an exception began.</p>
		</div>
	);
}

function Collections({ m }: { m: Watched }) {
	if (!m.collections.length) {
		return <p class="quiet">No collection was recognised.</p>;
	}
	return (
		<div class="scroll" tabIndex={0} role="group" aria-label="Collections">
			<table>
				<thead>
					<tr>
						<th scope="col">Collected</th>
						<th scope="col" class="num">
							Expected
						</th>
						<th scope="col" class="num">
							Counted
						</th>
						<th scope="col" class="num">
							Difference
						</th>
						<th scope="col" class="num">
							May be off by
						</th>
						<th scope="col">By</th>
					</tr>
				</thead>
				<tbody>
					{m.collections.map((c) => {
						const d = c.counted === null ? null : c.counted - c.expected;
						return (
							<tr key={c.at}>
								<th scope="row" class="whole">
									{day(c.at)}
								</th>
								<td class="num">{money(c.expected, m.decimals)}</td>
								<td class="num">
									{c.counted === null ? (
										<span class="complaint">not counted</span>
									) : (
										money(c.counted, m.decimals)
									)}
								</td>
								<td class="num">{d === null ? "–" : `${d > 0 ? "+" : ""}${money(d, m.decimals)}`}</td>
								<td class="num quiet">{c.unsure ? money(c.unsure, m.decimals) : "nothing"}</td>
								<td>{c.by ?? ""}</td>
							</tr>
						);
					})}
				</tbody>
			</table>
		</div>
	);
}

function Evidence({ asset, place, m }: { asset: string; place: Place; m: Watched }) {
	const after = place.params.get("after");
	const before = place.params.get("before");
	const a = useDoc<AuditDoc>(after ? query("/api/watch/explain", { file: after }) : null);
	const b = useDoc<AuditDoc>(before ? query("/api/watch/explain", { file: before }) : null);
	const c = useDoc<CompareDoc>(before && after ? query("/api/watch/compare", { before, after }) : null);
	if (!after) {
		return null;
	}
	return (
		<>
			<Entry title="Evidence" id="evidence">
				<p>
					{before ? (
						<>
							Between <b>{before}</b> and <b>{after}</b>.
						</>
					) : (
						<>
							By <b>{after}</b>.
						</>
					)}{" "}
					<button type="button" class="plain" onClick={() => become(to(["watch", asset]))}>
						Put the audits away
					</button>
				</p>
				<Waiting read={a} what="the audit" />
				{a.doc && <Named a={a.doc} />}
				{a.doc && <FaceOf a={a.doc} before={b.doc} c={c.doc} />}
				{c.doc && <Changes c={c.doc} />}
				{c.doc && <Findings list={c.doc.findings} none={`Nothing between them speaks against ${m.asset}.`} />}
			</Entry>
			{a.doc && (
				<Entry title="Whole audit">
					<details>
						<summary>All of the later one</summary>
						<div>
							<Whole a={a.doc} />
						</div>
					</details>
				</Entry>
			)}
		</>
	);
}

export function WatchedPage({ asset, place }: { asset: string; place: Place }) {
	const read = useLines<Watched>(watchPath({ asset, history: true }));
	const m = read.list?.[0];
	const open = m ? toldOf(m, true) : [];
	const over = m ? m.exceptions.filter((x) => !open.includes(x) && x.weight !== "note") : [];
	return (
		<Leaf
			title={asset}
			up={{ href: to(["watch"]), text: "Watch" }}
			lead={m ? [m.model, m.serial && `serial ${m.serial}`].filter(Boolean).join(", ") : ""}
		>
			{!read.list && !read.error && (
				<p class="quiet" role="status">
					Reading its audits <span class="working" />
				</p>
			)}
			<Complaint text={read.error} />
			{m && (
				<>
					<Evidence asset={asset} place={place} m={m} />
					<Entry title="Now">
						<p>
							<WordOf m={m} />
						</p>
						<Cases
							alone
							list={open.sort((a, b) => b.rank - a.rank).map((x) => ({ m, x }))}
							none="Nothing is open at this machine."
						/>
						<p class="quiet">
							{count(m.reads_arrived, "audit")} came
							{m.reads_expected !== null ? ` of ${number(m.reads_expected)} that were due` : ""}, from{" "}
							{day(m.first_read)} to {day(m.last_read)}.
						</p>
					</Entry>
					<Entry title="Sales by day">
						<Bars m={m} />
					</Entry>
					<Entry title="Collections">
						<Collections m={m} />
					</Entry>
					{over.length > 0 && (
						<Entry title="Over">
							<Cases alone list={over.map((x) => ({ m, x }))} none="" />
						</Entry>
					)}
				</>
			)}
		</Leaf>
	);
}
