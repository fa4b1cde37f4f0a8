// SPDX-License-Identifier: Apache-2.0
// The days of each technician: stops in order, what the van carries, and what it costs to move a machine to another day.
import { useMemo, useState } from "preact/hooks";
import sentences from "facts:rules";
import { post, query, sentenceOf } from "../api";
import type { Finding } from "../documents";
import { dashOf, OfficeWays, PlainMap, type Way } from "../map";
import {
	fitWords,
	homesOf,
	percent,
	keepPlan,
	useLines,
	useTable,
	useTableNow,
	type Fit,
	type PlanDay,
	type PlanDoc,
	type Surveyed,
	type TablesDoc,
} from "../office";
import { Choose, Complaint, Do, Entry, Field, Findings, Leaf } from "../parts";
import { Weight } from "../marks";
import { to } from "../route";
import { capital, count, handsOnly, list, sentence, today } from "../words";
import { useDoc } from "../live";
import { surveyTables, useHas } from "./tables";

const keyOf = (d: PlanDay) => `${d.technician}:${d.date}`;
const minute = (hour: string) => Number(hour.slice(0, 2)) * 60 + Number(hour.slice(3, 5));
const away = (d: PlanDay) => minute(d.back) - minute(d.leave);
const hours = (min: number) => `${Math.floor(min / 60)} h ${String(min % 60).padStart(2, "0")}`;
const weekday = (date: string) =>
	new Date(`${date}T12:00:00Z`).toLocaleString("en-GB", {
		weekday: "short",
		day: "numeric",
		month: "short",
		timeZone: "UTC",
	});
const named = (d: PlanDay) => `${weekday(d.date)}, ${d.technician}`;
/** Calendar days from the first to the last of dates in order. */
const spanOf = (dates: string[]) =>
	dates.length ? Math.round((Date.parse(dates[dates.length - 1] ?? "") - Date.parse(dates[0] ?? "")) / 864e5) + 1 : 0;
const dragSteps = 3000; // enough to put a day in order at once

function planOf(text: string | null): PlanDoc | null {
	try {
		const d = text ? (JSON.parse(text) as PlanDoc) : null;
		return d && Array.isArray(d.days) ? d : null;
	} catch {
		return null;
	}
}

/** Days that a machine may be moved to: those that are planned, and empty ones between of whoever goes. */
function daysFor(plan: PlanDoc): { key: string; text: string }[] {
	const dates = [...new Set(plan.days.map((d) => d.date))].sort();
	const people = [...new Set(plan.days.map((d) => d.technician))].sort();
	return dates.flatMap((date) =>
		people.map((technician) => ({
			key: `${technician}:${date}`,
			text: `${weekday(date)}, ${technician}`,
		})),
	);
}

/** On which days which machines stand: to tell what else a move changes. */
const dayOfEach = (p: PlanDoc) => new Map(p.days.flatMap((d) => d.stops.map((s) => [s.asset, d] as const)));

/** What a move changes beside the machine moved: others that go to another day or nowhere, days that come and go. */
export function alsoMoved(was: PlanDoc, then: PlanDoc, asset: string): string[] {
	const before = dayOfEach(was);
	const after = dayOfEach(then);
	const keys = (p: PlanDoc) => new Set(p.days.filter((d) => d.stops.length).map(keyOf));
	const had = keys(was);
	const has = keys(then);
	return [
		...then.days.filter((d) => has.has(keyOf(d)) && !had.has(keyOf(d))).map((d) => `One more day out: ${named(d)}`),
		...was.days.filter((d) => had.has(keyOf(d)) && !has.has(keyOf(d))).map((d) => `One day out less: ${named(d)}`),
		...[...before]
			.filter(([a, d]) => a !== asset && after.has(a) && keyOf(after.get(a) as PlanDay) !== keyOf(d))
			.map(([a, d]) => `${a} goes along from ${named(d)} to ${named(after.get(a) as PlanDay)}`),
		...[...before]
			.filter(([a]) => a !== asset && !after.has(a))
			.map(([a, d]) => `${a} of ${named(d)} is left out`),
		...[...after]
			.filter(([a]) => a !== asset && !before.has(a))
			.map(([a, d]) => `${a}, left out before, gets a place on ${named(d)}`),
	];
}

interface Moved {
	was: string; // tag of the plan that it began from
	asset: string;
	to: string;
	text: string;
	doc: PlanDoc;
}

function Cost({
	was,
	moved,
	keep,
	leave,
}: {
	was: PlanDoc;
	moved: Moved;
	keep: () => Promise<unknown>;
	leave: () => void;
}) {
	const sum = (p: PlanDoc) => p.days.reduce((n, d) => n + away(d), 0);
	const there =
		moved.doc.days.find((d) => keyOf(d) === moved.to)?.stops.some((s) => s.asset === moved.asset) ?? false;
	const rows: [string, string, string, string][] = [
		[
			"Way",
			`${was.distance_km.toFixed(1)} km`,
			`${moved.doc.distance_km.toFixed(1)} km`,
			`${(moved.doc.distance_km - was.distance_km).toFixed(1)} km`,
		],
		["Away", hours(sum(was)), hours(sum(moved.doc)), `${sum(moved.doc) - sum(was)} min`],
		["Worst risk of a van", percent(was.risk_worst), percent(moved.doc.risk_worst), ""],
		["Left out", String(was.left_out.length), String(moved.doc.left_out.length), ""],
	];
	const late = moved.doc.days.find((d) => keyOf(d) === moved.to);
	const others = alsoMoved(was, moved.doc, moved.asset);
	const outs = (p: PlanDoc) => p.days.filter((d) => d.stops.length).length;
	rows.splice(2, 0, ["Days out", String(outs(was)), String(outs(moved.doc)), String(outs(moved.doc) - outs(was))]);
	return (
		<Entry title="What it costs" id="cost">
			<p>
				<b>{moved.asset}</b> to {moved.text}.{" "}
				{there ? (
					late && late.late_risk > 0.0005 ? (
						`Back after hours with a chance of ${percent(late.late_risk)}.`
					) : (
						""
					)
				) : (
					<span class="complaint">It does not fit there: hours, skills or the way stand against it.</span>
				)}
			</p>
			<div class="scroll" tabIndex={0} role="group" aria-label="What it costs">
				<table class="cost">
					<thead>
						<tr>
							<th scope="col">All days</th>
							<th scope="col" class="num">
								now
							</th>
							<th scope="col" class="num">
								then
							</th>
							<th scope="col" class="num">
								more
							</th>
						</tr>
					</thead>
					<tbody>
						{rows.map(([name, a, b, c]) => (
							<tr key={name}>
								<th scope="row">{name}</th>
								<td class="num">{a}</td>
								<td class="num">{b}</td>
								<td class="num">{c.replace(/^-/, "−")}</td>
							</tr>
						))}
					</tbody>
				</table>
			</div>
			{others.length > 0 ? (
				<ul>
					{others.slice(0, 12).map((o) => (
						<li key={o}>{o}.</li>
					))}
					{others.length > 12 && <li>And {others.length - 12} more.</li>}
				</ul>
			) : (
				<p class="quiet">No other machine goes to another day.</p>
			)}
			<div class="buttons">
				{there && <Do first verb="Keep the new plan" doing="Keeping it" act={keep} />}
				<button type="button" onClick={leave}>
					Leave it as it was
				</button>
			</div>
		</Entry>
	);
}

function Day(p: {
	d: PlanDay;
	chosen: string | null;
	lit: boolean;
	light: () => void;
	choose: (a: string) => void;
	move: (asset: string, key: string) => void;
	choices: { key: string; text: string }[];
}) {
	const [over, setOver] = useState(false);
	const key = keyOf(p.d);
	return (
		<section
			class="day"
			aria-label={named(p.d)}
			data-over={over ? "" : undefined}
			onDragOver={(e) => {
				e.preventDefault();
				setOver(true);
			}}
			onDragLeave={() => setOver(false)}
			onDrop={(e) => {
				e.preventDefault();
				setOver(false);
				const asset = e.dataTransfer?.getData("text/plain");
				if (asset && !p.d.stops.some((s) => s.asset === asset)) {
					p.move(asset, key);
				}
			}}
		>
			<h3>
				<button type="button" aria-pressed={p.lit} onClick={p.light}>
					{named(p.d)}
				</button>
			</h3>
			<p class="quiet small">
				{p.d.leave} to {p.d.back}, {p.d.distance_km.toFixed(1)} km
				{p.d.late_risk > 0.0005 ? `, late with a chance of ${percent(p.d.late_risk)}` : ""}
			</p>
			<ol>
				{p.d.stops.map((s) => (
					<li
						key={s.asset}
						class="stop"
						draggable
						data-chosen={s.asset === p.chosen ? "" : undefined}
						onDragStart={(e) => e.dataTransfer?.setData("text/plain", s.asset)}
					>
						<span class="small">
							{s.start} to {s.leave}
						</span>
						<button type="button" aria-expanded={s.asset === p.chosen} onClick={() => p.choose(s.asset)}>
							<span>
								<b>{s.asset}</b> <span class="quiet small">{s.site}</span>
							</span>
						</button>
						{s.asset === p.chosen && (
							<Choose
								label={`Move ${s.asset} to`}
								value={key}
								onPick={(k) => k !== key && p.move(s.asset, k)}
								options={[
									{ key, text: `${named(p.d)} (as it is)` },
									...p.choices.filter((c) => c.key !== key),
								].map((c) => ({ value: c.key, text: c.text }))}
							/>
						)}
					</li>
				))}
			</ol>
		</section>
	);
}

/** Findings of machines, told once with all machines that they are of, each with the way to why. */
function Against({ list, open }: { list: Finding[]; open: Set<string> }) {
	const groups = new Map<string, Finding[]>();
	const others: Finding[] = [];
	for (const f of list) {
		if (f.where.element && open.has(f.where.element)) {
			const key = `${f.rule}/${f.seen}`;
			groups.set(key, [...(groups.get(key) ?? []), f]);
		} else {
			others.push(f);
		}
	}
	return (
		<>
			{[...groups.values()].map(([f, ...more]) =>
				f ? (
					<div class="finding" key={`${f.rule}/${f.seen}`}>
						<Weight weight={f.weight} />
						<div>
							<p>
								{sentence(sentences[f.rule] ?? f.why)}
								{f.seen && ` ${capital(sentence(fitWords[f.seen as Fit] ?? f.seen))}`}
								{f.expected && ` There should be ${sentence(f.expected)}`}
							</p>
							<p>
								{[f, ...more].map((x, i) => (
									<>
										{i ? ", " : ""}
										<a class="whole" href={to(["fleet"], { asset: x.where.element })}>{x.where.element}</a>
									</>
								))}
							</p>
							{handsOnly(f.do) && <p class="doing">{sentence(handsOnly(f.do) ?? "")}</p>}
						</div>
					</div>
				) : null,
			)}
			<Findings list={others} none={groups.size ? undefined : "Nothing stands against this plan."} />
		</>
	);
}

/** As the command line names the calendar of a technician. */
const calendarOf = (name: string) =>
	`${name
		.toLowerCase()
		.replace(/[^a-z0-9\u0080-\uffff]+/g, "-")
		.replace(/^-|-$/g, "")}.ics`;

function Papers({ plan }: { plan: PlanDoc }) {
	const dates = plan.days.map((d) => d.date).sort();
	const stand = useDoc<TablesDoc>("/api/tables").doc?.tables ?? [];
	const kept = Date.parse(stand.find((t) => t.table === "plan")?.changed ?? "");
	const newer = stand.filter((t) => surveyTables.includes(t.table) && Date.parse(t.changed ?? "") > kept);
	const days = Math.max(14, spanOf(dates));
	const at = (name: string) => query(`/api/rollout/papers/${encodeURIComponent(name)}`, { days });
	const people = [...new Set(plan.days.map((d) => d.technician))].sort();
	return (
		<>
			{newer.length > 0 && (
				<p>
					Changed since this was planned: {list(newer.map((t) => t.table))}. Where it would come out
					otherwise now, no paper is handed out; plan anew then.
				</p>
			)}
			<p class="buttons">
				<a class="button" href={at("days.pdf")} target="_blank" rel="noreferrer">
					Print the day sheets
				</a>
			</p>
			<ul>
				{[
					["days.csv", "the stops, a line each"],
					["load.csv", "what each van carries"],
					["buy.csv", "what is to be bought"],
					...people.map((p) => [calendarOf(p), `calendar of ${p}`]),
					["plan.geojson", "ways and stops for a map"],
				].map(([name = "", what]) => (
					<li key={name}>
						<a href={at(name)} download={name}>
							{name}
						</a>
						, {what}
					</li>
				))}
			</ul>
		</>
	);
}

/** What parts are called, beside their numbers in the catalogue. */
const namesOf = (fleet: Surveyed[]) =>
	new Map(fleet.flatMap((m) => m.kit.flatMap((k) => (k.name ? [[k.part, k.name] as const] : []))));

function PartName({ part, names }: { part: string; names: Map<string, string> }) {
	const name = names.get(part);
	return name && name !== part ? (
		<>
			{capital(name)} <span class="quiet small whole">{part}</span>
		</>
	) : (
		<>{part}</>
	);
}

function Loads({ plan, lit, names }: { plan: PlanDoc; lit: string | null; names: Map<string, string> }) {
	const list = plan.load.filter(
		(l) =>
			lit === null ||
			(lit.startsWith(`${l.technician}:`) && l.from <= lit.slice(-10) && lit.slice(-10) <= l.until),
	);
	const fillings = [...new Set(list.map((l) => `${l.technician}, ${weekday(l.from)}`))];
	if (!list.length) {
		return <p class="quiet">Nothing needs to be carried.</p>;
	}
	return (
		<>
			{fillings.slice(0, lit === null ? 2 : 9).map((f) => {
				const rows = list.filter((l) => `${l.technician}, ${weekday(l.from)}` === f);
				const risk = rows.reduce((n, l) => n + l.risk, 0);
				return (
					<div class="scroll" tabIndex={0} role="group" aria-label={`Van of ${f}`} key={f}>
						<table>
							<caption>
								Van of {f}. Risk that anything is missing: at most {percent(risk)}, asked{" "}
								{percent(plan.risk_asked)}.
								<span class="further"> More columns stand to the right; move the table aside.</span>
							</caption>
							<thead>
								<tr>
									<th scope="col">Part</th>
									<th scope="col" class="num">
										Carry
									</th>
									<th scope="col" class="num">
										Risk
									</th>
									<th scope="col" class="num">
										Sure
									</th>
									<th scope="col" class="num">
										Expected
									</th>
									<th scope="col" class="num">
										With one more
									</th>
								</tr>
							</thead>
							<tbody>
								{rows.map((l) => (
									<tr key={l.part}>
										<th scope="row" class="part"><PartName part={l.part} names={names} /></th>
										<td class="num">{l.carry}</td>
										<td class="num">{percent(l.risk)}</td>
										<td class="num">{l.sure}</td>
										<td class="num">{l.expected.toFixed(1)}</td>
										<td class="num quiet">{percent(l.risk_with_one_more)}</td>
									</tr>
								))}
							</tbody>
						</table>
					</div>
				);
			})}
			{lit === null && fillings.length > 2 && (
				<p class="quiet">Choose a day to see its van; there are {fillings.length} fillings.</p>
			)}
		</>
	);
}

function Buy({ plan, names }: { plan: PlanDoc; names: Map<string, string> }) {
	const short = plan.buy.filter((b) => b.buy > 0);
	const enough = plan.buy.filter((b) => b.buy === 0 && b.needed > 0);
	return (
		<>
			{short.length > 0 && (
				<div class="scroll" tabIndex={0} role="group" aria-label="What is to be bought">
					<table>
						<thead>
							<tr>
								<th scope="col">Part</th>
								<th scope="col" class="num">
									Buy
								</th>
								<th scope="col">by</th>
								<th scope="col" class="num">
									Needed
								</th>
								<th scope="col" class="num">
									In stock
								</th>
							</tr>
						</thead>
						<tbody>
							{short.map((b) => (
								<tr key={b.part}>
									<th scope="row" class="part">
										<PartName part={b.part} names={names} />
									</th>
									<td class="num">
										<b>{b.buy}</b>
									</td>
									<td class="whole">{b.by ? weekday(b.by) : ""}</td>
									<td class="num">{b.needed}</td>
									<td class="num">{b.stock ?? "not counted"}</td>
								</tr>
							))}
						</tbody>
					</table>
				</div>
			)}
			<p class="quiet">
				{short.length === 0 && "Nothing needs to be bought. "}
				{enough.length > 0 && `Enough in stock: ${enough.map((b) => names.get(b.part) ?? b.part).join("; ")}.`}
			</p>
		</>
	);
}

function Begin({ again, was, dates = [] }: { again: boolean; was: string; dates?: string[] }) {
	const [from, setFrom] = useState(dates[0] ?? today());
	const [days, setDays] = useState(String(Math.max(14, spanOf(dates))));
	const plan = async () => {
		if (!/^\d{4}-\d\d-\d\d$/.test(from.trim())) {
			throw new Error("First day takes a date such as 2026-11-30");
		}
		if (!/^\d{1,3}$/.test(days.trim() || "0")) {
			throw new Error("Days to look at takes a number of days such as 14");
		}
		const doc = await post<PlanDoc>("/api/rollout", { from: from.trim(), days: days.trim() || null });
		if (!(await keepPlan(doc, was))) {
			throw new Error("Somebody else kept another plan meanwhile. It is shown now; plan anew only if it is wrong.");
		}
	};
	return (
		<>
			<div class="fields two">
				<Field label="First day" value={from} onText={setFrom} hint="as 2026-11-30" />
				<Field label="Days to look at" value={days} onText={setDays} mode="numeric" />
			</div>
			<div class="buttons">
				<Do
					first={!again}
					verb={again ? "Plan anew" : "Plan the visits"}
					doing="Planning, a few seconds"
					act={plan}
				/>
			</div>
		</>
	);
}

function Ways({
	plan,
	fleet,
	homes,
	lit,
	chosen,
	choose,
}: {
	plan: PlanDoc;
	fleet: Surveyed[];
	homes: ReturnType<typeof homesOf>;
	lit: string | null;
	chosen: string | null;
	choose: (a: string) => void;
}) {
	const at = new Map(fleet.filter((m) => m.latitude !== null && m.longitude !== null).map((m) => [m.asset, m]));
	const people = [...new Set(plan.days.map((d) => d.technician))].sort();
	const ways: Way[] = plan.days.map((d) => {
		const home = homes.find((h) => h.name === d.technician);
		const stops = d.stops
			.flatMap((s) => at.get(s.asset) ?? [])
			.map((m) => ({ latitude: m.latitude as number, longitude: m.longitude as number }));
		return {
			id: keyOf(d),
			dash: people.indexOf(d.technician),
			lit: keyOf(d) === lit,
			along: home ? [home, ...stops, home] : stops,
		};
	});
	const seen = lit ? new Set(plan.days.find((d) => keyOf(d) === lit)?.stops.map((s) => s.asset)) : null;
	const spots = plan.days
		.flatMap((d) => d.stops.map((s) => ({ s, d })))
		.flatMap(({ s, d }) => {
			const m = at.get(s.asset);
			return m && (!seen || seen.has(s.asset))
				? [
						{
							id: m.asset,
							latitude: m.latitude as number,
							longitude: m.longitude as number,
							fit: m.fit,
							text: `${m.asset}${m.site ? `, ${m.site}` : ""}: ${fitWords[m.fit]}, ${named(d)} ${s.start}`,
						},
					]
				: [];
		});
	return (
		<>
			<PlainMap
				spots={spots}
				homes={homes}
				ways={lit ? ways.filter((w) => w.lit) : ways}
				chosen={chosen}
				onChoose={choose}
				label={`Map of the ways, ${count(spots.length, "machine")}; the arrow keys go from one to the next`}
			/>
			<ul class="dashes">
				{people.map((t, i) => (
					<li key={t}>
						<svg viewBox="0 0 48 8" width="48" height="8" aria-hidden="true">
							<path
								d="M0 4 H48"
								stroke="currentColor"
								stroke-width="1.5"
								stroke-dasharray={dashOf(i)}
							/>
						</svg>{" "}
						{t}
					</li>
				))}
			</ul>
		</>
	);
}

export function PlanPage() {
	const has = useHas("survey");
	const kept = useTableNow("plan");
	const was = kept?.tag ?? "";
	const plan = useMemo(() => planOf(kept?.text ?? null), [kept]);
	const fleet = useLines<Surveyed>(has ? "/api/survey" : null).list ?? [];
	const homes = homesOf(useTable("technicians") ?? "");
	const names = useMemo(() => namesOf(fleet), [fleet]);
	const [chosen, setChosen] = useState<string | null>(null);
	const [lit, setLit] = useState<string | null>(null);
	const [moved, setMoved] = useState<Moved | null>(null);
	const [busy, setBusy] = useState<string | null>(null);
	const [error, setError] = useState<string | null>(null);
	const choices = plan ? daysFor(plan) : [];
	const move = async (asset: string, key: string) => {
		const text = choices.find((c) => c.key === key)?.text ?? key;
		setBusy(`Reckoning ${asset} to ${text}`);
		setError(null);
		setMoved(null);
		try {
			setMoved({
				was,
				asset,
				to: key,
				text,
				doc: await post<PlanDoc>("/api/rollout", { plan: true, move: `${asset}=${key}`, steps: dragSteps }),
			});
			requestAnimationFrame(() => document.getElementById("cost")?.scrollIntoView({ block: "nearest" }));
		} catch (e) {
			setError(sentenceOf(e));
		}
		setBusy(null);
	};
	const keep = async (m: Moved) => {
		setMoved(null); // the plan that comes with it is no other's
		setBusy("Keeping the new plan");
		try {
			if (!(await keepPlan(m.doc, m.was))) {
				setMoved(m);
			}
		} catch (e) {
			setMoved(m);
			setError(sentenceOf(e));
		}
		setBusy(null);
	};
	const stops = plan?.days.reduce((n, d) => n + d.stops.length, 0) ?? 0;
	return (
		<Leaf
			title="Days"
			lead={
				<OfficeWays
					at="plan"
					beside={
						plan
							? `${count(stops, "machine")} on ${count(plan.days.length, "day")} out, ${plan.distance_km.toFixed(1)} km; no plan of these visits is shorter than ${plan.lower_bound_km.toFixed(1)} km`
							: ""
					}
				/>
			}
		>
			{has === false && (
				<Entry title="Begin">
					<p>
						Days are planned of a survey. <a href={to(["fleet"])}>Put its tables in first</a>.
					</p>
				</Entry>
			)}
			{has && kept !== null && !plan && (
				<Entry title="Begin">
					<p>
						Nothing is planned yet. Machines that cannot be fitted, or must be looked at first, stay out.
					</p>
					<Begin again={false} was={was} />
				</Entry>
			)}
			{plan && (
				<>
					<p role="status" class={busy ? "" : "unseen"}>
						{busy}
						{busy && (
							<>
								{" "}
								<span class="working" />
							</>
						)}
					</p>
					<Complaint text={error} />
					{moved && moved.was === was && (
						<Cost
							was={plan}
							moved={moved}
							leave={() => setMoved(null)}
							keep={() => keep(moved)}
						/>
					)}
					{moved && moved.was !== was && (
						<Complaint
							text={`Somebody else kept another plan meanwhile: ${moved.asset} was not moved to ${moved.text}. The newer plan is shown; move the machine again if it still should go there.`}
						/>
					)}
					<Entry title="Days">
						<p class="quiet small">
							Draw a machine to another day, or choose it and name the day. A day's name shows its way
							and its van alone.
						</p>
						<div class="board">
							{plan.days.map((d) => (
								<Day
									key={keyOf(d)}
									d={d}
									chosen={chosen}
									lit={lit === keyOf(d)}
									light={() => setLit(lit === keyOf(d) ? null : keyOf(d))}
									choose={(a) => setChosen(chosen === a ? null : a)}
									move={(a, k) => void move(a, k)}
									choices={choices}
								/>
							))}
						</div>
					</Entry>
					<Entry title="Where">
						<Ways plan={plan} fleet={fleet} homes={homes} lit={lit} chosen={chosen} choose={setChosen} />
					</Entry>
					<Entry title="Van">
						<Loads plan={plan} lit={lit} names={names} />
					</Entry>
					<Entry title="To buy">
						<Buy plan={plan} names={names} />
					</Entry>
					<Entry title="Papers">
						<Papers plan={plan} />
					</Entry>
					{plan.left_out.length > 0 && (
						<Entry title="Left out">
							<ul class="column">
								{plan.left_out.map((l) => (
									<li key={l.asset}>
										<b>{l.asset}</b> {capital(sentence(l.why))}
									</li>
								))}
							</ul>
						</Entry>
					)}
					<Entry title="Findings">
						<Against list={plan.findings} open={new Set(fleet.map((m) => m.asset))} />
					</Entry>
					<Entry title="Anew">
						<Begin key={was} again was={was} dates={plan.days.map((d) => d.date).sort()} />
					</Entry>
				</>
			)}
		</Leaf>
	);
}
