// SPDX-License-Identifier: Apache-2.0
// One audit in plain words; and before beside after, with what changed lit and the restore sheet to tick.
import { query, visitPath } from "../api";
import type { AuditDoc, Change, CompareDoc, Evidence, Pair, Selection, Total, VisitDoc } from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { Face } from "../drawings";
import { useDoc } from "../live";
import { Choose, Entry, evidenceOptions, Findings, Leaf, visitUp, Waiting } from "../parts";
import { become, to, type Place } from "../route";
import { capital, count, eventWords, money, number, sentDay, sentHour, sentence } from "../words";

const totalNames: [keyof AuditDoc["totals"], string][] = [
	["paid", "all paid"],
	["cash", "for cash"],
	["cashless_1", "by card, first reader"],
	["cashless_2", "by card, second reader"],
	["tokens", "for tokens"],
	["test", "test"],
	["free", "free"],
];
const cashNames: [string, string][] = [
	["in", "taken in"],
	["to_box", "to the cash box"],
	["to_tubes", "to the tubes"],
	["bills_in", "bills"],
	["dispensed", "paid out"],
	["dispensed_by_hand", "paid out by hand"],
	["filled", "filled in"],
	["overpaid", "kept, no change"],
];
const relianceNames: [string, string][] = [
	["sales_total", "all sales"],
	["sales_by_selection", "sales by selection"],
	["cash_in", "cash in"],
	["cash_out", "cash out"],
	["cashless", "cards"],
	["price_lists", "price lists"],
	["events", "events"],
	["clock", "clock"],
];
const relianceWords = { full: "fully", part: "in part", none: "not" } as const;

function sent(t: Total): boolean {
	return [t.value, t.count, t.value_since_reset, t.count_since_reset].some((v) => v !== null);
}

function Totals({ a }: { a: AuditDoc }) {
	const d = a.currency.decimals;
	return (
		<div class="scroll" tabIndex={0} role="group" aria-label="Totals">
			<table class="roomy">
				<caption>
					Sales{a.currency.code ? ` in ${a.currency.code}` : ""}, since the machine began and since the
					last reset
				</caption>
				<thead>
					<tr>
						<th scope="col">sold</th>
						<th class="num" scope="col">
							number
						</th>
						<th class="num" scope="col">
							value
						</th>
						<th class="num" scope="col">
							number since
						</th>
						<th class="num" scope="col">
							value since
						</th>
					</tr>
				</thead>
				<tbody>
					{totalNames
						.filter(([k]) => sent(a.totals[k]))
						.map(([k, name]) => (
							<tr key={k}>
								<th scope="row">{name}</th>
								<td class="num">{number(a.totals[k].count)}</td>
								<td class="num">{money(a.totals[k].value, d)}</td>
								<td class="num">{number(a.totals[k].count_since_reset)}</td>
								<td class="num">{money(a.totals[k].value_since_reset, d)}</td>
							</tr>
						))}
				</tbody>
			</table>
		</div>
	);
}

function Cash({ a }: { a: AuditDoc }) {
	const d = a.currency.decimals;
	const rows = cashNames
		.map(([k, name]) => [name, a.cash[k]] as const)
		.filter(([, v]) => v !== null && typeof v === "object");
	const tubes = a.cash["tubes_now"];
	return (
		<>
			<div class="scroll" tabIndex={0} role="group" aria-label="Cash">
				<table>
					<thead>
						<tr>
							<th scope="col">cash</th>
							<th class="num" scope="col">
								since it began
							</th>
							<th class="num" scope="col">
								since reset
							</th>
						</tr>
					</thead>
					<tbody>
						{rows.map(([name, v]) => (
							<tr key={name}>
								<th scope="row">{name}</th>
								<td class="num">{money((v as Pair).init, d)}</td>
								<td class="num">{money((v as Pair).reset, d)}</td>
							</tr>
						))}
					</tbody>
				</table>
			</div>
			{typeof tubes === "number" && <p>{money(tubes, d)} in the tubes now.</p>}
		</>
	);
}

function changedIn(c: CompareDoc | null, kinds: Change["kind"][]): Set<string> {
	return new Set(
		(c?.changes ?? []).filter((x) => x.selection && kinds.includes(x.kind)).map((x) => x.selection as string),
	);
}

export function FaceOf({ a, before, c }: { a: AuditDoc; before: AuditDoc | null; c: CompareDoc | null }) {
	const d = a.currency.decimals;
	const lit = changedIn(c, ["setting"]);
	const moved = changedIn(c, ["meter"]);
	const by = new Map(a.selections.map((s) => [s.id, s]));
	const was = new Map((before?.selections ?? []).map((s) => [s.id, s]));
	const seen = a.selections.filter((s) => s.status !== 1);
	const cell = (id: string) => {
		const s = by.get(id) as Selection;
		const old = was.get(id);
		const more = old && s.paid.count !== null && old.paid.count !== null ? s.paid.count - old.paid.count : null;
		const price = old && old.price !== s.price;
		return (
			<>
				<span class={price || (lit.has(id) && !old) ? "lit" : ""}>{money(s.price, d)}</span>
				{price && <span class="quiet small"> was {money(old.price, d)}</span>}
				<br />
				<span class="small quiet">{number(s.paid.count)} sold</span>
				{more !== null && more !== 0 && (
					<>
						{" "}
						<span class={`small ${moved.has(id) ? "lit" : ""}`}>
							{more > 0 ? "+" : "−"}
							{Math.abs(more)}
						</span>
					</>
				)}
			</>
		);
	};
	return <Face selections={seen} cell={cell} />;
}

function Lists({ a }: { a: AuditDoc }) {
	const d = a.currency.decimals;
	const keys = [...new Set(a.selections.flatMap((s) => s.lists.map((l) => `${l.device}/${l.list}`)))].sort();
	if (!keys.length) {
		return <p class="quiet">The audit tells no price lists.</p>;
	}
	return (
		<div class="scroll" tabIndex={0} role="group" aria-label="Price lists">
			<table>
				<caption>Price and number sold, by price list</caption>
				<thead>
					<tr>
						<th scope="col">selection</th>
						{keys.map((k) => (
							<th class="num" scope="col" key={k}>
								{k}
							</th>
						))}
					</tr>
				</thead>
				<tbody>
					{a.selections.map((s) => (
						<tr key={s.id}>
							<th scope="row">
								{s.id} <span class="quiet small">{s.name}</span>
							</th>
							{keys.map((k) => {
								const l = s.lists.find((x) => `${x.device}/${x.list}` === k);
								return (
									<td class="num" key={k}>
										{l ? `${money(l.price, d)} · ${number(l.count)}` : "–"}
									</td>
								);
							})}
						</tr>
					))}
				</tbody>
			</table>
		</div>
	);
}

function Events({ a }: { a: AuditDoc }) {
	if (!a.events.length) {
		return <p class="quiet">The audit tells no events.</p>;
	}
	return (
		<div class="scroll" tabIndex={0} role="group" aria-label="Events">
			<table class="roomy">
				<thead>
					<tr>
						<th scope="col">event</th>
						<th scope="col">when</th>
						<th class="num" scope="col">
							times
						</th>
					</tr>
				</thead>
				<tbody>
					{a.events.map((e, i) => (
						<tr key={i}>
							<th scope="row">
								<span class="code">{e.code}</span> {eventWords(e.code, e.meaning)}
							</th>
							<td>
								<span class="whole">{sentDay(e.date) ?? "–"}</span> <span>{sentHour(e.time)}</span>
							</td>
							<td class="num">
								{e.count !== null ? number(e.count) : "–"}
								{e.active ? ", lasting" : ""}
							</td>
						</tr>
					))}
				</tbody>
			</table>
		</div>
	);
}

function Reliance({ a }: { a: AuditDoc }) {
	return (
		<dl class="facts">
			{relianceNames.map(([k, name]) => (
				<>
					<dt>{name}</dt>
					<dd>
						<b>{relianceWords[a.reliance[k] ?? "none"]}</b>
						{a.reliance_because[k] ? `: ${a.reliance_because[k]}` : ""}
					</dd>
				</>
			))}
		</dl>
	);
}

// ---- restore sheet ----

interface Ticks {
	done: string[];
}

function Restore({ c, draft, decimals }: { c: CompareDoc; draft: string; decimals: number | null }) {
	const d = useDraftOf<Ticks>(draft, { done: [] });
	if (!c.restore.length) {
		return <p>Nothing has to be keyed back in.</p>;
	}
	const key = (r: CompareDoc["restore"][number]) => `${r.what}/${r.selection ?? ""}`;
	const done = new Set(d.value.done);
	const amount = (what: string, value: string) =>
		/price/i.test(what) && /^\d+$/.test(value) ? money(Number(value), decimals) : value;
	return (
		<>
			<p role="status">
				{c.restore.filter((r) => done.has(key(r))).length} of {count(c.restore.length, "thing")} keyed back
				in.
			</p>
			<ul class="rows">
				{c.restore.map((r) => {
					const k = key(r);
					return (
						<li class={`tick ${done.has(k) ? "done" : ""}`} key={k}>
							<input
								type="checkbox"
								id={`restore-${k}`}
								checked={done.has(k)}
								onChange={(e) => {
									const rest = d.value.done.filter((x) => x !== k);
									d.change({ done: e.currentTarget.checked ? [...rest, k] : rest });
								}}
							/>
							<label for={`restore-${k}`}>
								<span>
									{r.selection ? (
										<>
											<b>{r.selection}</b>{" "}
										</>
									) : (
										""
									)}
									{r.what}
									{r.now !== null && (
										<span class="quiet small">, now {amount(r.what, r.now)}</span>
									)}
								</span>
							</label>
							<b class="num">{amount(r.what, r.value)}</b>
						</li>
					);
				})}
			</ul>
			<p class="quiet small">
				Ticks are kept as a draft. What counts is the next read: read again when all is keyed in.
			</p>
		</>
	);
}

export function Changes({ c }: { c: CompareDoc }) {
	const kinds: [Change["kind"], string][] = [
		["identity", "Which machine"],
		["setting", "Settings"],
		["state", "State"],
		["meter", "Counters"],
		["event", "Events"],
	];
	const groups = kinds
		.map(([k, t]) => ({ k, t, list: c.changes.filter((x) => x.kind === k) }))
		.filter((g) => g.list.length);
	if (!groups.length) {
		return <p class="quiet">The two audits are the same.</p>;
	}
	return (
		<>
			{groups.map((g) => (
				<details key={g.k} open={g.k === "identity" || g.k === "setting"}>
					<summary>
						{g.t}: {count(g.list.length, "difference")}
					</summary>
					<div class="scroll" tabIndex={0} role="group" aria-label={g.t}>
						<table>
							<thead>
								<tr>
									<th scope="col">element</th>
									<th scope="col">of</th>
									<th class="num" scope="col">
										before
									</th>
									<th class="num" scope="col">
										after
									</th>
								</tr>
							</thead>
							<tbody>
								{g.list.map((x, i) => (
									<tr key={i}>
										<th scope="row" class="code">
											{x.element}
										</th>
										<td>
											{[x.selection, x.key, x.list !== null ? `list ${x.list}` : null]
												.filter(Boolean)
												.join(" ") || "machine"}
										</td>
										<td class="num">{x.before ?? "–"}</td>
										<td class="num">
											<span class="lit">{x.after ?? "–"}</span>
										</td>
									</tr>
								))}
							</tbody>
						</table>
					</div>
				</details>
			))}
		</>
	);
}

function pick(list: Evidence[], wish: string | null, otherwise: Evidence | undefined): Evidence | undefined {
	return list.find((e) => String(e.number) === wish) ?? otherwise;
}

function Compared({ id, c, after }: { id: string; c: CompareDoc; after: number }) {
	return (
		<>
			<Entry title="Key back in">
				<Restore c={c} draft={draftKey(id, "restore", String(after))} decimals={c.decimals} />
			</Entry>
			<Entry title="What changed">
				{c.lost.length > 0 && (
					<p class="complaint">
						{count(c.lost.length, "lifetime counter")} fell:{" "}
						{c.lost
							.slice(0, 6)
							.map((l) => `${l.element}${l.selection ? ` of ${l.selection}` : ""}`)
							.join(", ")}
						.
					</p>
				)}
				<Changes c={c} />
				<Findings list={c.findings} none="Nothing speaks against the second audit." />
			</Entry>
		</>
	);
}

export function AuditPage({ id, place }: { id: string; place: Place }) {
	const visit = useDoc<VisitDoc>(visitPath(id));
	const audits = (visit.doc?.visit.evidence ?? []).filter((e) => e.kind === "audit");
	const after = pick(audits, place.params.get("after"), audits[audits.length - 1]);
	const only = place.params.get("before") === "none";
	const first = audits.find((e) => e.stage === "keep") ?? audits[0];
	const before = only ? undefined : pick(audits, place.params.get("before"), first);
	const two = before && after && before.number !== after.number ? before : undefined;
	const path = (e: Evidence | undefined) => (e ? `${visitPath(id)}/evidence/${e.number}/explain` : null);
	const a = useDoc<AuditDoc>(path(after));
	const b = useDoc<AuditDoc>(path(two));
	const c = useDoc<CompareDoc>(
		two && after ? query(`${visitPath(id)}/compare`, { before: two.number, after: after.number }) : null,
	);
	const move = (p: Record<string, string | number | null>) =>
		become(
			to(["visit", id, "audit"], {
				after: after?.number ?? null,
				before: only ? "none" : (before?.number ?? null),
				...p,
			}),
		);
	const options = evidenceOptions(audits, "audit");
	return (
		<Leaf title="Audit" up={visitUp(visit.doc?.visit ?? null, id)}>
			<Waiting read={visit} what="the visit" />
			{visit.doc && !audits.length && (
				<Entry title="Nothing yet">
					<p>
						No audit is filed with this visit. <a href={to(["visit", id, "read"])}>Read the machine</a>.
					</p>
				</Entry>
			)}
			{after && (
				<Entry title="Which">
					<div class="fields two">
						<Choose
							label="Audit"
							value={String(after.number)}
							options={options}
							onPick={(v) => move({ after: v })}
						/>
						<Choose
							label="Beside it, from before"
							value={two ? String(two.number) : "none"}
							onPick={(v) => move({ before: v })}
							options={[
								{ value: "none", text: "none" },
								...options.filter((o) => o.value !== String(after.number)),
							]}
						/>
					</div>
					{a.doc && <Named a={a.doc} />}
				</Entry>
			)}
			{after && <Waiting read={a} what="the audit" />}
			{a.doc && (
				<Entry title="Machine face">
					<FaceOf a={a.doc} before={b.doc} c={c.doc} />
				</Entry>
			)}
			{c.doc && after && <Compared id={id} c={c.doc} after={after.number} />}
			{a.doc && <Whole a={a.doc} />}
		</Leaf>
	);
}

export function Named({ a }: { a: AuditDoc }) {
	const m = a.machine;
	return (
		<p>
			{capital(
				[m.model, m.serial && `serial ${m.serial}`, m.revision && `program ${m.revision}`]
					.filter(Boolean)
					.join(", ") || "an unnamed machine",
			)}
			{m.asset ? `, asset ${m.asset}` : ""}.{" "}
			{a.clock ? `Its clock said ${a.clock.replace("T", " ").slice(0, 16)}.` : "It told no clock."}{" "}
			{a.reads !== null ? `Read ${count(a.reads, "time")}.` : ""}
		</p>
	);
}

export function Whole({ a }: { a: AuditDoc }) {
	return (
		<>
			<Entry title="Totals">
				<Totals a={a} />
			</Entry>
			<Entry title="Cash">
				<Cash a={a} />
			</Entry>
			<Entry title="Price lists">
				<Lists a={a} />
			</Entry>
			<Entry title="Events">
				<Events a={a} />
			</Entry>
			<Entry title="How sure it is">
				<Reliance a={a} />
			</Entry>
			<Entry title="Findings">
				<Findings list={a.findings} none={sentence("nothing in it contradicts the standard or itself")} />
			</Entry>
		</>
	);
}
