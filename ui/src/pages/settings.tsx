// SPDX-License-Identifier: Apache-2.0
// The settings that an audit does not carry, selection by selection, prefilled with what it does carry.
import { useState } from "preact/hooks";
import { addEvidence, post, visitPath } from "../api";
import type { AuditDoc, VisitDoc } from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { put, useDoc } from "../live";
import { Do, Entry, Field, KeptForm, Leaf, Typing, visitUp, Waiting } from "../parts";
import { go, to } from "../route";
import { count, money } from "../words";

const columns = ["price", "motors", "product", "capacity"] as const;
type Column = (typeof columns)[number];
type Line = Partial<Record<Column, string>>;
interface Grid {
	lines: Record<string, Line>;
	more: string[]; // selections that no audit names
	notes: string;
}
const titles: Record<Column, string> = { price: "Price", motors: "Motors", product: "Product", capacity: "Holds" };
const modes: Record<Column, "decimal" | "text" | "numeric"> = {
	price: "decimal",
	motors: "text",
	product: "text",
	capacity: "numeric",
};

function cell(text: string): string {
	return /[",\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
}

function csvOf(ids: string[], of: (id: string, c: Column) => string, notes: string): string {
	const rows = ids.map((id) => [id, ...columns.map((c) => cell(of(id, c)))].join(","));
	const remarks =
		notes.trim() === ""
			? []
			: notes
					.trim()
					.split("\n")
					.map((n) => `# ${n}`);
	return ["# Settings by selection", ...remarks, `selection,${columns.join(",")}`, ...rows, ""].join("\n");
}

/** Enter goes on to the next field, so that a column can be typed without leaving the keys. */
function onward(e: KeyboardEvent): void {
	if (e.key !== "Enter") {
		return;
	}
	e.preventDefault();
	const all = [...document.querySelectorAll<HTMLInputElement>(".keys input")];
	all[all.indexOf(e.target as HTMLInputElement) + 1]?.focus();
}

function Keys({
	id,
	title,
	of,
	change,
}: {
	id: string;
	title: string;
	of: (c: Column) => string;
	change: (c: Column, v: string) => void;
}) {
	return (
		<div class="keys" role="group" aria-label={`Selection ${id}`}>
			<b>
				{id} <span class="quiet small">{title}</span>
			</b>
			{columns.map((c) => (
				<label key={c}>
					<span>{titles[c]}</span>
					<input
						value={of(c)}
						inputMode={modes[c]}
						autoComplete="off"
						enterKeyHint="next"
						onKeyDown={onward}
						onInput={(e) => change(c, e.currentTarget.value)}
					/>
				</label>
			))}
		</div>
	);
}

export function SettingsPage({ id }: { id: string }) {
	const visit = useDoc<VisitDoc>(visitPath(id));
	const first = (visit.doc?.visit.evidence ?? []).find((e) => e.kind === "audit");
	const audit = useDoc<AuditDoc>(first ? `${visitPath(id)}/evidence/${first.number}/explain` : null);
	const d = useDraftOf<Grid>(draftKey(id, "settings"), { lines: {}, more: [], notes: "" });
	const [extra, setExtra] = useState("");
	const closed = !!visit.doc?.visit.closed;
	const g = d.value;
	const known = (audit.doc?.selections ?? []).filter((s) => s.status !== 1);
	const ids = [...known.map((s) => s.id), ...g.more.filter((m) => !known.some((s) => s.id === m))];
	const given = (sel: string, c: Column): string => {
		const s = known.find((k) => k.id === sel);
		return c === "price"
			? s?.price !== null && s?.price !== undefined
				? money(s.price, audit.doc?.currency.decimals)
				: ""
			: c === "product"
				? (s?.name ?? "")
				: "";
	};
	const of = (sel: string, c: Column) => g.lines[sel]?.[c] ?? given(sel, c);
	const change = (sel: string, c: Column, v: string) =>
		d.change({ lines: { ...g.lines, [sel]: { ...g.lines[sel], [c]: v } } });
	const file = async () => {
		const blob = new Blob([csvOf(ids, of, g.notes)], { type: "text/plain" });
		await addEvidence<VisitDoc>(id, blob, "settings.csv", "note", "keep");
		put(
			visitPath(id),
			await post<VisitDoc>(`${visitPath(id)}/say`, {
				claim: "keep.settings",
				text: `written down selection by selection in settings.csv, ${count(ids.length, "selection")}`,
				by: visit.doc?.visit.technician ?? undefined,
			}),
		);
		d.clear();
		go(to(["visit", id], { stage: "keep" }));
	};
	return (
		<Leaf
			title="Settings"
			up={visitUp(visit.doc?.visit ?? null, id)}
			lead="Write down what an update or a power cut could take. Enter goes on to the next field."
		>
			<Waiting read={visit} what="the visit" />
			<Typing closed={closed}>
				<Entry title="By selection">
					{first ? (
						<Waiting read={audit} what="the audit" />
					) : (
						<p class="quiet">
							No audit is filed yet: add the selections by hand, or read the machine first.
						</p>
					)}
					<div>
						{ids.map((sel) => (
							<Keys
								key={sel}
								id={sel}
								title={known.find((s) => s.id === sel)?.name ?? ""}
								of={(c) => of(sel, c)}
								change={(c, v) => change(sel, c, v)}
							/>
						))}
					</div>
					<div class="buttons">
						<Field label="Another selection" value={extra} onText={setExtra} mode="numeric" />
						<button
							type="button"
							disabled={extra.trim() === "" || ids.includes(extra.trim())}
							onClick={() => {
								d.change({ more: [...g.more, extra.trim()] });
								setExtra("");
							}}
						>
							Add it
						</button>
					</div>
				</Entry>
				<Entry title="Menu">
					<div class="field">
						<label for="settings-notes">Motor groups and menu settings, as the display shows them</label>
						<textarea
							id="settings-notes"
							value={g.notes}
							onInput={(e) => d.change({ notes: e.currentTarget.value })}
						/>
					</div>
					<KeptForm draft={d} />
				</Entry>
			</Typing>
			{!closed && (
				<div class="next">
					<Do verb="File the settings" doing="Filing" first disabled={!ids.length} act={file} />
				</div>
			)}
		</Leaf>
	);
}
