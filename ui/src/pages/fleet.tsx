// SPDX-License-Identifier: Apache-2.0
// The fleet before the visits: which machine can be fitted, with what, what to ask first, and where they stand.
import { useState } from "preact/hooks";
import { useDeferred } from "../defer";
import { FitMark, OfficeWays, PlainMap } from "../map";
import { fits, fitWords, homesOf, percent, useLines, useTable, type Fit, type Surveyed } from "../office";
import { Choose, Complaint, Entry, Field, Leaf } from "../parts";
import { become, to, type Place } from "../route";
import { capital, count, money, sentence, size, spare } from "../words";
import { surveyTables, Tables, useHas } from "./tables";

const shownAtOnce = 60;

/** The reason that decides, which stands first, and how many more there are. */
function firstOf(m: Surveyed): string {
	const [first] = m.reasons;
	if (!first || (first.possible.length === 1 && first.possible[0] === "ready")) {
		return `nothing speaks against it${first ? `, ${count(m.reasons.length, "thing")} to know` : ""}`;
	}
	const which = first.rule === "survey.unknown" && first.fact ? `: ${first.fact.replaceAll("_", " ")}` : "";
	const more = m.reasons.length > 1 ? `, and ${m.reasons.length - 1} more` : "";
	return `${capital(first.sentence)}${which}${more}`;
}

const reasonsOf = (m: Surveyed) => [...new Set(m.reasons.map((r) => r.rule))];
const wayWords: Record<string, string> = {
	photograph: "a photograph tells",
	call: "a call tells",
	visit: "only a look on the spot tells",
	desk: "the desk can tell",
};

function Filters(p: {
	all: Surveyed[];
	off: Set<Fit>;
	turn: (f: Fit) => void;
	reason: string;
	onReason: (r: string) => void;
	text: string;
	onText: (t: string) => void;
}) {
	const rules = new Map<string, { text: string; n: number }>();
	for (const m of p.all) {
		for (const rule of reasonsOf(m)) {
			const r = rules.get(rule) ?? { text: m.reasons.find((x) => x.rule === rule)?.sentence ?? rule, n: 0 };
			rules.set(rule, { ...r, n: r.n + 1 });
		}
	}
	const options = [...rules]
		.sort((a, b) => b[1].n - a[1].n)
		.map(([rule, r]) => ({ value: rule, text: `${capital(r.text)} (${r.n})` }));
	return (
		<>
			<div class="filters" role="group" aria-label="By fit">
				{fits.map((f) => (
					<button type="button" key={f} aria-pressed={!p.off.has(f)} onClick={() => p.turn(f)}>
						<FitMark fit={f} /> {p.all.filter((m) => m.fit === f).length}
					</button>
				))}
			</div>
			<div class="fields two">
				<Choose
					label="By reason"
					value={p.reason}
					onPick={p.onReason}
					options={[{ value: "", text: "any reason" }, ...options]}
				/>
				<Field label="Asset or site" type="search" value={p.text} onText={p.onText} />
			</div>
		</>
	);
}

function Machines({
	list,
	chosen,
	choose,
}: {
	list: Surveyed[];
	chosen: string | null;
	choose: (id: string) => void;
}) {
	const [more, setMore] = useState(false);
	const at = list.findIndex((m) => m.asset === chosen);
	const seen = more ? list : list.slice(0, Math.max(shownAtOnce, at + 1));
	return (
		<>
			<div class="scroll" tabIndex={0} role="group" aria-label="Machines">
				<table class="machines first-three">
					<thead>
						<tr>
							<th scope="col">Asset</th>
							<th scope="col">Fit</th>
							<th scope="col">Site</th>
							<th scope="col">First reason</th>
							<th scope="col" class="num">
								min
							</th>
						</tr>
					</thead>
					<tbody>
						{seen.map((m) => (
							<tr key={m.line} data-chosen={m.asset === chosen ? "" : undefined}>
								<th scope="row">
									<button
										type="button"
										aria-pressed={m.asset === chosen}
										onClick={() => choose(m.asset)}
									>
										{m.asset}
									</button>
								</th>
								<td>
									<FitMark fit={m.fit} />
								</td>
								<td>{m.site}</td>
								<td class="quiet small">
									{firstOf(m)}
								</td>
								<td class="num">
									{m.minutes === null || m.fit === "cannot" ? "–" : Math.round(m.minutes)}
								</td>
							</tr>
						))}
					</tbody>
				</table>
			</div>
			{seen.length < list.length && (
				<button type="button" class="plain" onClick={() => setMore(true)}>
					Show {list.length - seen.length} more
				</button>
			)}
		</>
	);
}

function Reasons({ m }: { m: Surveyed }) {
	if (!m.reasons.length) {
		return <p>Nothing of what is known speaks against it.</p>;
	}
	return (
		<ul class="column">
			{m.reasons.map((r, i) => (
				<li key={i}>
					{sentence(r.sentence)}
					{r.seen && (
						<>
							{" "}
							{capital(r.seen)}
							{r.expected ? `; should be ${r.expected}` : ""}.
						</>
					)}
					<span class="quiet small">
						{" "}
						{r.fact ? `By ${r.fact.replace(/_/g, " ")}; ` : ""}
						{r.rule}, {r.source}.
					</span>
				</li>
			))}
		</ul>
	);
}

function One({ m }: { m: Surveyed }) {
	const cost = m.kit.reduce((n, k) => n + k.count * k.chance * (k.price ?? 0), 0);
	return (
		<Entry title="This machine" id="one">
			<h3>
				{m.asset}
				{m.site ? `, ${m.site}` : ""}
			</h3>
			<p>
				<FitMark fit={m.fit} word={m.fit === "cannot" ? "cannot be fitted" : fitWords[m.fit]} />
				{m.unit ? ` ${m.unit}` : ""}
				{m.family ? ` in a ${m.family}` : ""}.{" "}
				{m.minutes !== null && m.fit !== "cannot" && (
					<>
						{Math.round(m.minutes)} minutes on site, give or take {Math.round(m.minutes_spread ?? 0)}.
					</>
				)}
			</p>
			<Reasons m={m} />
			{m.questions.length > 0 && <p>To find out: {m.questions.map((q) => q.ask).join("; ")}.</p>}
			<h3>Kit</h3>
			<ul class="kit">
				{m.kit.map((k) => (
					<li key={`${k.kind}${k.part}`}>
						{k.count > 1 ? `${k.count} × ` : ""}
						{k.part}
						{k.name ? `, ${k.name}` : k.kind !== "part" ? `, ${k.kind}` : ""}
						{k.chance < 0.9995 && <span class="quiet">, chance {percent(k.chance)}</span>}
					</li>
				))}
			</ul>
			{cost > 0 && <p class="quiet">By the catalogue's prices about {money(Math.round(cost), m.decimals)}.</p>}
			<dl class="facts">
				{m.audit.bytes !== null && (
					<>
						<dt>Audit</dt>
						<dd>
							about {size(m.audit.bytes)}
							{m.audit.limit !== null ? `; ${size(m.audit.limit)} at most` : ""}
						</dd>
					</>
				)}
				{m.supply.margin_v !== null && (
					<>
						<dt>Supply</dt>
						<dd>
							{m.supply.margin_v.toFixed(1)} V
							{m.supply.margin_ma !== null ? ` and ${spare(m.supply.margin_ma)}` : ""} to spare
						</dd>
					</>
				)}
				{m.signal.margin_db !== null && (
					<>
						<dt>Signal</dt>
						<dd>
							{m.signal.margin_db.toFixed(1)} dB to spare
							{m.signal.lead
								? `, ${m.signal.lead_margin_db?.toFixed(1) ?? "?"} dB with lead ${m.signal.lead}`
								: ""}
						</dd>
					</>
				)}
			</dl>
		</Entry>
	);
}

function Questions({ list, choose }: { list: Surveyed[]; choose: (id: string) => void }) {
	const all = list.flatMap((m) => m.questions.map((q) => ({ m, q }))).sort((a, b) => a.q.rank - b.q.rank);
	const worth = all.filter(({ q }) => q.worth_min >= 0.5);
	const seen = worth.slice(0, 8);
	return (
		<Entry title="Ask first">
			{seen.length ? (
				<>
					<div class="scroll" tabIndex={0} role="group" aria-label="Questions">
						<table class="machines">
							<caption>
								What would settle most, by the minutes that an answer is expected to save.
							</caption>
							<thead>
								<tr>
									<th scope="col">Asset</th>
									<th scope="col">Question</th>
									<th scope="col" class="num">
										min
									</th>
								</tr>
							</thead>
							<tbody>
								{seen.map(({ m, q }) => (
									<tr key={`${m.line}${q.fact}`}>
										<th scope="row">
											<button type="button" onClick={() => choose(m.asset)}>
												{m.asset}
											</button>
										</th>
										<td>
											{capital(q.ask)}{" "}
											<span class="quiet small">{wayWords[q.way] ?? q.way}</span>
										</td>
										<td class="num">{q.worth_min.toFixed(0)}</td>
									</tr>
								))}
							</tbody>
						</table>
					</div>
					{worth.length > seen.length && (
						<p class="quiet">
							{count(worth.length - seen.length, "further question")} would save something.
						</p>
					)}
				</>
			) : (
				<p class="quiet">No answer would change much.</p>
			)}
		</Entry>
	);
}

export function FleetPage({ place }: { place: Place }) {
	const has = useHas("survey");
	const read = useLines<Surveyed>(has ? "/api/survey" : null);
	const homes = homesOf(useTable("technicians") ?? "");
	const [off, setOff] = useState<Set<Fit>>(new Set());
	const [reason, setReason] = useState("");
	const [text, setText] = useState("");
	const wanted = useDeferred(text.toLowerCase());
	const all = read.list ?? [];
	const chosen = place.params.get("asset");
	const choose = (id: string) => become(to(["fleet"], { asset: id }));
	const words = wanted.split(/\s+/).filter((w) => w !== "");
	const list = all.filter(
		(m) =>
			!off.has(m.fit) &&
			(reason === "" || reasonsOf(m).includes(reason)) &&
			words.every((w) => `${m.asset} ${m.site ?? ""}`.toLowerCase().includes(w)),
	);
	const one = all.find((m) => m.asset === chosen);
	const turn = (f: Fit) =>
		setOff((was) => {
			const now = new Set(was);
			if (!now.delete(f)) {
				now.add(f);
			}
			return now;
		});
	const spots = list
		.filter((m) => m.latitude !== null && m.longitude !== null)
		.map((m) => ({
			id: m.asset,
			latitude: m.latitude as number,
			longitude: m.longitude as number,
			fit: m.fit,
			text: `${m.asset}${m.site ? `, ${m.site}` : ""}: ${fitWords[m.fit]}`,
		}));
	return (
		<Leaf
			title="Fleet"
			lead={
				<OfficeWays
					at="fleet"
					beside={
						all.length
							? `${count(all.length, "machine")} surveyed, ${all.filter((m) => m.fit === "ready").length} ready, ${all.filter((m) => m.fit === "cannot").length} cannot be fitted`
							: ""
					}
				/>
			}
		>
			{has && !read.list && !read.error && (
				<p class="quiet" role="status">
					Judging the machines <span class="working" />
				</p>
			)}
			<Complaint text={read.error} />
			{all.length > 0 && (
				<>
					<Entry title="Which">
						<Filters
							all={all}
							off={off}
							turn={turn}
							reason={reason}
							onReason={setReason}
							text={text}
							onText={setText}
						/>
						<p role="status" class="quiet">
							{list.length === all.length ? "" : `${count(list.length, "machine")} of ${all.length}.`}
						</p>
					</Entry>
					<Entry title="Where">
						<PlainMap
							spots={spots}
							homes={homes}
							chosen={chosen}
							onChoose={choose}
							label={`Map of ${count(spots.length, "machine")}; the arrow keys go from one to the next`}
						/>
						{spots.length < list.length && (
							<p class="quiet">
								{count(list.length - spots.length, "machine")} without coordinates{" "}
								{list.length - spots.length === 1 ? "stands" : "stand"} in the table alone.
							</p>
						)}
					</Entry>
					{one && <One m={one} />}
					<Entry title="Machines">
						<Machines list={list} chosen={chosen} choose={choose} />
					</Entry>
					<Questions list={list} choose={choose} />
				</>
			)}
			<Entry title="Tables">
				{has === false && (
					<p>
						A survey says what is known of each machine, and the catalogues what can be fitted. Put them
						in as a spreadsheet writes them; begin from the templates below.
					</p>
				)}
				<Tables
					names={surveyTables}
					hint="Each file is known by its name: survey.csv, families.csv and so on. They stay beside the book."
				/>
			</Entry>
		</Leaf>
	);
}
