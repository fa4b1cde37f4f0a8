// SPDX-License-Identifier: Apache-2.0
// Prove: a list of sales that ticks itself off, the witnesses side by side, and the story that explains a difference.
import { addEvidence, post, query, visitPath } from "../api";
import type { AuditDoc, BusDoc, Counter, Evidence, ProveDoc, Selection, Story, VisitDoc } from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { StoryDrawing } from "../drawings";
import { put, useDoc } from "../live";
import { Standing } from "../marks";
import { Choose, Do, Entry, evidenceOptions, Field, Findings, KeptForm, Leaf, visitUp, Waiting } from "../parts";
import { become, to, type Place } from "../route";
import { capital, count, isoLocal, minorOf, money, number, sentence } from "../words";

type Way = "coin" | "bill" | "card";
interface Sale {
	selection: string;
	way: Way;
	tendered: string;
	made: string; // local time with offset; empty: not made yet
}
interface Plan {
	sales: Sale[];
	began: boolean;
}

const ways: { value: Way; text: string }[] = [
	{ value: "coin", text: "coins" },
	{ value: "bill", text: "a bill" },
	{ value: "card", text: "a card" },
];

/** Selections far apart on the machine, each way of paying at least once. */
function proposal(selections: Selection[], bills: boolean): Sale[] {
	const live = selections.filter((s) => s.status !== 1 && (s.price ?? 0) > 0);
	if (!live.length) {
		return [];
	}
	const spread = (n: number) => live[Math.floor((n * (live.length - 1)) / 4)] as Selection;
	const order: Way[] = ["coin", "card", bills ? "bill" : "coin", "card", "coin"];
	const seen = new Set<string>();
	return order
		.map((way, i) => ({ selection: spread(i).id, way, tendered: "", made: "" }))
		.filter((s) => !seen.has(`${s.selection}/${s.way}`) && seen.add(`${s.selection}/${s.way}`));
}

/** For each sale made before the witness came: did it see as many of them? Null: it cannot have seen this one. */
function seenBy(
	list: Sale[],
	since: string | undefined,
	counts: Map<string, number>,
	key: (s: Sale) => string,
): (boolean | null)[] {
	const left = new Map(counts);
	return list.map((s) => {
		if (since === undefined || s.made === "" || Date.parse(s.made) > Date.parse(since)) {
			return null;
		}
		const n = left.get(key(s)) ?? 0;
		left.set(key(s), n - 1);
		return n > 0;
	});
}

function busCounts(bus: BusDoc | null): Map<string, number> {
	const m = new Map<string, number>();
	for (const s of bus?.sales ?? []) {
		if (s.selection !== null && s.outcome === "sold") {
			const k = `${s.selection}/${s.paid_with === "card" ? "card" : "cash"}`;
			m.set(k, (m.get(k) ?? 0) + 1);
		}
	}
	return m;
}

function auditCounts(p: ProveDoc | null): Map<string, number> {
	const m = new Map<string, number>();
	for (const s of p?.sold ?? []) {
		if (s.selection !== null && s.device === null) {
			m.set(s.selection, (m.get(s.selection) ?? 0) + s.count);
		}
	}
	return m;
}

function csvOf(list: Sale[], price: (id: string) => number | null, decimals: number): string {
	const rows = list
		.filter((s) => s.made !== "")
		.map((s) => {
			const p = price(s.selection);
			const paid = p === null ? "" : money(p, decimals);
			return [s.made.slice(0, 19), s.selection, paid, s.way, s.tendered.trim() || paid].join(",");
		});
	return ["time,selection,price,paid_with,tendered", ...rows, ""].join("\n");
}

/** Each witness ticks for itself: a list that was made of the audit could not stand against it. */
function Seen({ by, yes }: { by: string; yes: boolean | null }) {
	return yes === null ? null : (
		<span class="seen small">
			<Standing stands={yes ? "shown" : "open"} word={`${yes ? "in" : "not in"} the ${by}`} />
		</span>
	);
}

function Row(p: {
	s: Sale;
	i: number;
	price: string;
	byBus: boolean | null;
	byAudit: boolean | null;
	change: (s: Partial<Sale>) => void;
	drop: () => void;
}) {
	const id = `sale-${p.i}`;
	const made = p.s.made !== "";
	return (
		<li class={`tick ${made ? "done" : ""}`}>
			<input
				type="checkbox"
				id={id}
				checked={made}
				onChange={(e) => p.change({ made: e.currentTarget.checked ? isoLocal(new Date()) : "" })}
			/>
			<label for={id}>
				<span>
					<b>{p.s.selection}</b> for{" "}
					{p.s.way === "coin" ? "coins" : p.s.way === "bill" ? "a bill" : "a card"}, {p.price}
					<br />
					<span class="quiet small">{made ? `made at ${p.s.made.slice(11, 16)}` : "not made yet"}</span>
					<Seen by="bus" yes={p.byBus} /> <Seen by="audit" yes={p.byAudit} />
				</span>
			</label>
			<button type="button" class="plain" aria-label={`Take ${p.s.selection} off the list`} onClick={p.drop}>
				Take off
			</button>
		</li>
	);
}

function Adding({ selections, add }: { selections: Selection[]; add: (s: Sale) => void }) {
	const draft = useDraftOf<Sale>("sales.adding", { selection: "", way: "coin", tendered: "", made: "" });
	const f = draft.value;
	const known = selections.some((s) => s.id === f.selection);
	return (
		<details>
			<summary>Add a sale to the list</summary>
			<div class="fields two">
				<Field
					label="Selection"
					value={f.selection}
					onText={(selection) => draft.change({ selection })}
					mode="numeric"
					list="selections"
				/>
				<datalist id="selections">
					{selections.map((s) => (
						<option key={s.id} value={s.id}>
							{s.name ?? ""}
						</option>
					))}
				</datalist>
				<Choose
					label="Paid with"
					value={f.way}
					options={ways}
					onPick={(way) => draft.change({ way: way as Way })}
				/>
				<Field
					label="Money put in"
					value={f.tendered}
					onText={(tendered) => draft.change({ tendered })}
					mode="decimal"
					hint="Empty: the price, exactly"
				/>
			</div>
			<Do
				verb="Add"
				disabled={f.selection.trim() === "" || (selections.length > 0 && !known)}
				act={async () => {
					add({ ...f, selection: f.selection.trim(), made: "" });
					draft.clear();
				}}
			/>
		</details>
	);
}

interface ListProps {
	id: string;
	audit: AuditDoc | null;
	bus: BusDoc | null;
	proof: ProveDoc | null;
	busAdded?: string;
	auditAdded?: string;
}

function SaleList({ id, audit, bus, proof, busAdded, auditAdded }: ListProps) {
	const d = useDraftOf<Plan>(draftKey(id, "sales"), { sales: [], began: false });
	const selections = (audit?.selections ?? []).filter((s) => s.status !== 1);
	const decimals = audit?.currency.decimals ?? 2;
	const price = (sel: string) => selections.find((s) => s.id === sel)?.price ?? null;
	const sales = d.value.sales;
	const bill = audit?.cash["bills_in"] !== null && audit?.cash["bills_in"] !== undefined;
	const byBus = seenBy(
		sales,
		bus ? busAdded : undefined,
		busCounts(bus),
		(s) => `${s.selection}/${s.way === "card" ? "card" : "cash"}`,
	);
	const byAudit = seenBy(sales, proof ? auditAdded : undefined, auditCounts(proof), (s) => s.selection);
	const made = sales.filter((s) => s.made !== "").length;
	const save = (list: Sale[]) => d.change({ sales: list, began: true });
	const file = async () => {
		const blob = new Blob([csvOf(sales, price, decimals)], { type: "text/csv" });
		const name = `sales-${isoLocal(new Date()).slice(11, 19).replace(/:/g, "")}.csv`;
		put(visitPath(id), await addEvidence<VisitDoc>(id, blob, name, "sales"));
		d.clear();
	};
	if (!sales.length) {
		return (
			<div class="column">
				<p>
					Sell from a few selections far apart, each way of paying at least once. Tick each sale when it
					is made; the list is kept as you go.
				</p>
				<div class="buttons">
					<Do
						verb="Make a list of five"
						disabled={!selections.length}
						act={async () => save(proposal(selections, bill))}
					/>
				</div>
				<Adding selections={selections} add={(s) => save([...sales, s])} />
			</div>
		);
	}
	return (
		<div class="column">
			<p role="status">
				{made} of {count(sales.length, "sale")} made.
			</p>
			<ul class="rows">
				{sales.map((s, i) => (
					<Row
						key={i}
						i={i}
						s={s}
						price={money(price(s.selection), decimals)}
						byBus={byBus[i] ?? null}
						byAudit={byAudit[i] ?? null}
						change={(part) => save(sales.map((x, k) => (k === i ? { ...x, ...part } : x)))}
						drop={() => save(sales.filter((_, k) => k !== i))}
					/>
				))}
			</ul>
			<Adding selections={selections} add={(s) => save([...sales, s])} />
			<KeptForm draft={d} />
			<div class="buttons">
				<Do verb="File the list" doing="Filing" disabled={made === 0} act={file} />
				<a class="button" href={to(["visit", id, "read"])}>
					Read the audit again
				</a>
			</div>
		</div>
	);
}

function Witnesses({ p }: { p: ProveDoc }) {
	return (
		<ul class="witnesses" aria-label="Witnesses">
			{p.witnesses.map((w) => (
				<li key={w.name}>
					<b>{capital(w.name)}</b>
					<p>{w.says ? sentence(w.says) : <span class="quiet">Was not asked.</span>}</p>
					<p>
						{w.agrees === null ? (
							<Standing stands="open" word="nothing to compare" />
						) : (
							<Standing
								stands={w.agrees ? "shown" : "contradicted"}
								word={w.agrees ? "agrees" : "differs"}
							/>
						)}
					</p>
				</li>
			))}
		</ul>
	);
}

function Stories({ p }: { p: ProveDoc }) {
	if (!p.stories.length) {
		return null;
	}
	return (
		<Entry title="What explains it">
			{p.stories.map((s: Story, i) => (
				<figure key={i} class="column">
					<figcaption>
						<b>
							{i === 0 ? "" : "Or: "}
							{sentence(s.detail)}
						</b>
					</figcaption>
					{s.parts.map((q, k) => (
						<StoryDrawing key={k} kind={q.kind} selections={q.selections} />
					))}
				</figure>
			))}
			{p.stories_more > 0 && (
				<p class="quiet">
					And {count(p.stories_more, "story", "stories")} more that would fit as well: sell from other
					selections to tell them apart.
				</p>
			)}
		</Entry>
	);
}

function CounterTable({ list, decimals, label }: { list: Counter[]; decimals: number | null; label: string }) {
	const show = (c: Counter, v: number | null) => (c.money ? money(v, decimals) : number(v));
	return (
		<div class="scroll" tabIndex={0} role="group" aria-label={label}>
			<table>
				<thead>
					<tr>
						<th scope="col">counter</th>
						<th scope="col">of</th>
						<th class="num" scope="col">
							expected
						</th>
						<th class="num" scope="col">
							moved by
						</th>
					</tr>
				</thead>
				<tbody>
					{list.map((c, i) => (
						<tr key={i}>
							<th scope="row">
								{c.title} <span class="code quiet small">{c.element}</span>
							</th>
							<td>
								{[c.selection, c.device, c.list !== null ? `list ${c.list}` : null]
									.filter(Boolean)
									.join(" ") || "machine"}
							</td>
							<td class="num">
								{c.at_least ? "at least " : ""}
								{show(c, c.expected)}
							</td>
							<td class="num">
								{c.observed === c.expected ? (
									show(c, c.observed)
								) : (
									<span class="lit">{show(c, c.observed)}</span>
								)}
							</td>
						</tr>
					))}
				</tbody>
			</table>
		</div>
	);
}

function Counters({ p }: { p: ProveDoc }) {
	const wrong = p.counters.filter(
		(c) => c.observed !== null && (c.at_least ? c.observed < c.expected : c.observed !== c.expected),
	);
	const right = p.counters.filter((c) => !wrong.includes(c));
	return (
		<Entry title="Counters">
			{wrong.length > 0 && (
				<CounterTable list={wrong} decimals={p.decimals} label="Counters that moved otherwise" />
			)}
			<details>
				<summary>{count(right.length, "counter")} moved as they must</summary>
				<CounterTable list={right} decimals={p.decimals} label="Counters that moved as they must" />
			</details>
		</Entry>
	);
}

function agreeWords(p: ProveDoc): string {
	return p.agree === true
		? "All counters did what was sold"
		: p.agree === false
			? "The counters tell otherwise than what was sold"
			: "It cannot be told yet";
}

function latest(list: Evidence[], kind: string, wish: string | null): Evidence | undefined {
	const all = list.filter((e) => e.kind === kind);
	return wish === "none" ? undefined : (all.find((e) => String(e.number) === wish) ?? all[all.length - 1]);
}

/** The audit that the sales began at: the last one filed before the list. */
function beginning(
	list: Evidence[],
	after: Evidence | undefined,
	sales: Evidence | undefined,
	wish: string | null,
) {
	const audits = list.filter((e) => e.kind === "audit" && e.number !== after?.number);
	const chosen = audits.find((e) => String(e.number) === wish);
	const earlier = audits.filter((e) => e.number < (after?.number ?? 0) && e.number < (sales?.number ?? Infinity));
	return chosen ?? earlier[earlier.length - 1] ?? audits[0];
}

export function SalesPage({ id, place }: { id: string; place: Place }) {
	const visit = useDoc<VisitDoc>(visitPath(id));
	const list = visit.doc?.visit.evidence ?? [];
	const q = place.params;
	const after = latest(list, "audit", q.get("after"));
	const sales = latest(list, "sales", q.get("sales"));
	const bus = latest(list, "bus", q.get("bus"));
	const before = beginning(list, after, sales, q.get("before"));
	const ev = `${visitPath(id)}/evidence`;
	const audit = useDoc<AuditDoc>(after ? `${ev}/${after.number}/explain` : null);
	const busDoc = useDoc<BusDoc>(bus ? `${ev}/${bus.number}/bus` : null);
	const counted = useDraftOf<{ amount: string }>(draftKey(id, "counted"), { amount: "" });
	const amount = minorOf(counted.value.amount, audit.doc?.currency.decimals ?? 2);
	const two = before && after && before.number !== after.number;
	const proof = useDoc<ProveDoc>(
		two
			? query(`${visitPath(id)}/prove`, {
					before: before.number,
					after: after.number,
					sales: sales?.number,
					bus: bus?.number,
					counted: amount !== null ? counted.value.amount.trim().replace(",", ".") : null,
				})
			: null,
	);
	const move = (p: Record<string, string>) =>
		become(
			to(["visit", id, "sales"], {
				before: before?.number ?? null,
				after: after?.number ?? null,
				sales: sales?.number ?? "none",
				bus: bus?.number ?? "none",
				...p,
			}),
		);
	const choose = (label: string, kind: string, now: Evidence | undefined, key: string, none?: string) => {
		const options = evidenceOptions(list, kind);
		return (
			options.length > 0 && (
				<Choose
					label={label}
					value={now ? String(now.number) : "none"}
					onPick={(v) => move({ [key]: v })}
					options={none ? [{ value: "none", text: none }, ...options] : options}
				/>
			)
		);
	};
	const closed = !!visit.doc?.visit.closed;
	return (
		<Leaf
			title="Sales"
			up={visitUp(visit.doc?.visit ?? null, id)}
			lead="What was sold must move exactly the right counters."
		>
			<Waiting read={visit} what="the visit" />
			<Entry title="List">
				{visit.doc && !after && !closed && (
					<p>
						Read the machine first: the list is made of its selections.{" "}
						<a href={to(["visit", id, "read"])}>Read the machine</a>.
					</p>
				)}
				{closed ? (
					<p class="quiet">Lists that were filed stand under Witnesses.</p>
				) : (
					<SaleList
						id={id}
						audit={audit.doc}
						bus={busDoc.doc}
						proof={proof.doc}
						busAdded={bus?.added}
						auditAdded={after?.added}
					/>
				)}
			</Entry>
			<Entry title="Witnesses">
				<div class="fields two">
					{choose("Audit before", "audit", before, "before")}
					{choose("Audit after", "audit", after, "after")}
					{choose("List", "sales", sales, "sales", "none")}
					{choose("Bus", "bus", bus, "bus", "none")}
					<Field
						label="Cash counted out"
						value={counted.value.amount}
						onText={(a) => counted.change({ amount: a })}
						mode="decimal"
						hint="Empty: not counted"
					/>
				</div>
				{two ? (
					<Waiting read={proof} what="the witnesses" />
				) : (
					<p class="quiet">Two audits are needed: one from before the sales, one from after.</p>
				)}
				{proof.doc && (
					<>
						<p role="status">
							<Standing stands={proof.doc.verdict} word={agreeWords(proof.doc)} />
						</p>
						<Witnesses p={proof.doc} />
						{proof.doc.alone && (
							<p>{capital(proof.doc.alone)} stands alone: all others contradict it.</p>
						)}
					</>
				)}
			</Entry>
			{proof.doc && <Stories p={proof.doc} />}
			{proof.doc && (
				<Entry title="Findings">
					<Findings list={proof.doc.findings} none="Nothing speaks against it." />
				</Entry>
			)}
			{proof.doc && <Counters p={proof.doc} />}
		</Leaf>
	);
}

/** For the practice pages: makes one sale at a practice machine. */
export async function sellAt(machine: string | number, selection: string, way: Way, price: number): Promise<void> {
	const paid = way === "card" ? "card" : way === "bill" ? "bill 500" : `coins ${coinsFor(price).join(" ")}`;
	await post(`/api/practice/${machine}/lines`, { line: `sell ${selection} ${paid}` });
}

/** Coins that make up a price, the large ones first. */
export function coinsFor(price: number): number[] {
	const coins: number[] = [];
	let left = price;
	for (const c of [100, 25, 10, 5]) {
		while (left >= c && coins.length < 20) {
			coins.push(c);
			left -= c;
		}
	}
	return coins;
}
