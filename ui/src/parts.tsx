// SPDX-License-Identifier: Apache-2.0
// Pieces that several pages are made of.
import type { ComponentChildren } from "preact";
import { useEffect, useId, useRef, useState } from "preact/hooks";
import sentences from "facts:rules";
import { sentenceOf } from "./api";
import type { Evidence, Finding, Visit } from "./documents";
import { useDraft, type DraftText } from "./draft";
import type { Read } from "./live";
import { Weight } from "./marks";
import { to } from "./route";
import { capital, clock, handsOnly, sentence } from "./words";

// The first page after loading leaves the focus where the browser put it: at the start, before the way over the head.
let turned = false;
addEventListener("hashchange", () => {
	turned = true;
});
export function toHead(h: HTMLElement | null): void {
	if (turned) {
		h?.focus({ preventScroll: true });
	}
}

/** A page of the notebook: its way up, its title, and what stands beside the margin line. */
export function Leaf(p: {
	title: string;
	up?: { href: string; text: string; closed?: string | null };
	lead?: ComponentChildren;
	children: ComponentChildren;
}) {
	const head = useRef<HTMLHeadingElement>(null);
	useEffect(() => {
		document.title = `${p.title} · fettle`;
		toHead(head.current);
	}, [p.title]);
	return (
		<div class="leaf">
			<div class="head">
				{p.up && (
					<a class="up" href={p.up.href}>
						← {p.up.text}
					</a>
				)}
				<h1 tabIndex={-1} ref={head}>
					{p.title}
				</h1>
				{p.up?.closed && <ClosedNote at={p.up.closed} />}
				{p.lead && <div class="quiet">{p.lead}</div>}
			</div>
			{p.children}
		</div>
	);
}

export function Entry(p: { title: string; id?: string; children: ComponentChildren }) {
	return (
		<section class="entry" id={p.id} aria-label={p.title}>
			<h2>{p.title}</h2>
			<div class="body">{p.children}</div>
		</section>
	);
}

export const visitUp = (v: Visit | null, id: string) => ({
	href: to(["visit", id]),
	text: v ? `${v.asset}${v.site ? `, ${v.site}` : ""}` : id,
	closed: v?.closed ?? null,
});

/** That nothing is written into a visit any more, on each of its pages. */
export const ClosedNote = ({ at }: { at: string }) => (
	<p class="closed">
		Closed on <When iso={at} />. What stands here can be read; nothing is written into it any more.
	</p>
);

/** What is typed into, as long as the visit is open. */
export const Typing = (p: { closed: boolean; children: ComponentChildren }) => (
	<fieldset class="typing" disabled={p.closed}>
		{p.children}
	</fieldset>
);

/** What a document that is not there yet, or was refused, looks like. */
export function Waiting<T>({ read, what }: { read: Read<T>; what: string }) {
	if (read.error) {
		return (
			<p class="complaint" role="alert">
				{sentence(read.error)}
			</p>
		);
	}
	return read.doc ? null : (
		<p class="quiet" role="status">
			Reading {what} <span class="working" />
		</p>
	);
}

export function Complaint({ text }: { text: string | null }) {
	return (
		<p class="complaint" role="alert">
			{text ? sentence(text) : ""}
		</p>
	);
}

export function FindingLine({ f }: { f: Finding }) {
	const where = [f.where.file, f.where.selection ? `selection ${f.where.selection}` : null]
		.filter(Boolean)
		.join(", ");
	const todo = handsOnly(f.do);
	return (
		<div class="finding">
			<Weight weight={f.weight} />
			<div>
				<p>
					{sentence(sentences[f.rule] ?? f.rule)}
					{f.seen && (
						<>
							{" "}
							{capital(f.seen)}
							{f.expected ? `, where there should be ${f.expected}` : ""}.
						</>
					)}
					{where && <span class="quiet"> {where}.</span>}
				</p>
				<p class="quiet small">{sentence(f.why)}</p>
				{todo && <p class="doing">{sentence(todo)}</p>}
			</div>
		</div>
	);
}

const order = { fault: 0, doubt: 1, note: 2 };

/** Findings of one rule that ask for the same are told once, the others lie folded under the first. */
function Alike({ list }: { list: Finding[] }) {
	const [first, ...rest] = list;
	return (
		<li>
			{first && <FindingLine f={first} />}
			{rest.length > 0 && (
				<details class="alike">
					<summary>{rest.length} more like it</summary>
					<ul class="column">
						{rest.map((f, i) => (
							<li key={i}>
								<FindingLine f={f} />
							</li>
						))}
					</ul>
				</details>
			)}
		</li>
	);
}

export function Findings({ list, none, most = 8 }: { list: Finding[]; none?: string; most?: number }) {
	if (!list.length) {
		return none ? <p class="quiet">{none}</p> : null;
	}
	const groups = new Map<string, Finding[]>();
	for (const f of [...list].sort((a, b) => order[a.weight] - order[b.weight])) {
		const key = `${f.rule}/${f.do}`;
		groups.set(key, [...(groups.get(key) ?? []), f]);
	}
	const all = [...groups.values()];
	const rest = all.slice(most);
	return (
		<div>
			<ul class="column">
				{all.slice(0, most).map((g, i) => (
					<Alike key={i} list={g} />
				))}
			</ul>
			{rest.length > 0 && (
				<details>
					<summary>{rest.length} more</summary>
					<ul class="column">
						{rest.map((g, i) => (
							<Alike key={i} list={g} />
						))}
					</ul>
				</details>
			)}
		</div>
	);
}

/** Does something that takes a moment: the button says so, a refusal is told below it. */
export function Do(p: {
	verb: string;
	doing?: string;
	act: () => Promise<unknown>;
	first?: boolean;
	plain?: boolean;
	disabled?: boolean;
	id?: string;
}) {
	const [busy, setBusy] = useState(false);
	const [error, setError] = useState<string | null>(null);
	const here = useRef(true);
	useEffect(
		() => () => {
			here.current = false;
		},
		[],
	);
	const run = async () => {
		if (busy) {
			return;
		}
		setBusy(true);
		setError(null);
		try {
			await p.act();
		} catch (e) {
			if (here.current) {
				setError(sentenceOf(e));
			}
		}
		if (here.current) {
			setBusy(false);
		}
	};
	return (
		<span class="do">
			<button
				type="button"
				id={p.id}
				class={p.first ? "first" : p.plain ? "plain" : ""}
				disabled={p.disabled}
				aria-busy={busy}
				onClick={run}
			>
				{busy ? (p.doing ?? p.verb) : p.verb}
			</button>
			{error && (
				<span class="complaint" role="alert">
					{" "}
					{sentence(error)}
				</span>
			)}
		</span>
	);
}

export function Field(p: {
	label: string;
	value: string;
	onText: (t: string) => void;
	hint?: string;
	mode?: "decimal" | "numeric" | "text";
	list?: string;
	required?: boolean;
	auto?: string;
	type?: "text" | "search";
}) {
	const id = useId();
	return (
		<div class="field">
			<label for={id}>{p.label}</label>
			<input
				id={id}
				value={p.value}
				inputMode={p.mode ?? "text"}
				list={p.list}
				required={p.required}
				type={p.type ?? "text"}
				autoComplete={p.auto ?? "off"}
				aria-describedby={p.hint ? `${id}-hint` : undefined}
				onInput={(e) => p.onText(e.currentTarget.value)}
			/>
			{p.hint && (
				<span class="quiet small" id={`${id}-hint`}>
					{p.hint}
				</span>
			)}
		</div>
	);
}

export function Choose(p: {
	label: string;
	value: string;
	onPick: (v: string) => void;
	options: { value: string; text: string }[];
	hide?: boolean;
}) {
	const id = useId();
	return (
		<div class="field">
			<label for={id} class={p.hide ? "unseen" : ""}>
				{p.label}
			</label>
			<select id={id} value={p.value} onChange={(e) => p.onPick(e.currentTarget.value)}>
				{p.options.map((o) => (
					<option key={o.value} value={o.value}>
						{o.text}
					</option>
				))}
			</select>
		</div>
	);
}

/** Says where a draft is, and offers what another browser wrote. */
export function Kept({ draft }: { draft: Pick<DraftText, "text" | "kept" | "other" | "takeOther"> }) {
	return (
		<div class="kept">
			{draft.text !== "" &&
				(draft.kept ? "Draft kept in the book." : "Draft kept here, on its way to the book.")}
			{draft.other !== null && (
				<>
					{" "}
					Another browser wrote: “{draft.other.slice(0, 120)}”{" "}
					<button type="button" class="plain" onClick={draft.takeOther}>
						Take that
					</button>
				</>
			)}
		</div>
	);
}

/** As Kept, for a form of several fields: what another browser holds of it is no text to be read here. */
export const KeptForm = ({ draft }: { draft: DraftText }) => <Kept draft={{ ...draft, other: null }} />;

/** A long text kept as a draft until it is sent. */
export function Writing(p: {
	label: string;
	draft: string;
	verb: string;
	doing?: string;
	first?: boolean;
	send: (text: string) => Promise<unknown>;
	hint?: string;
}) {
	const d = useDraft(p.draft);
	const id = useId();
	return (
		<div class="field">
			<label for={id}>{p.label}</label>
			<textarea
				id={id}
				value={d.text}
				onInput={(e) => d.set(e.currentTarget.value)}
				aria-describedby={`${id}-kept`}
			/>
			<div id={`${id}-kept`}>
				{p.hint && <span class="quiet small">{p.hint} </span>}
				<Kept draft={d} />
			</div>
			<div class="buttons">
				<Do
					verb={p.verb}
					doing={p.doing}
					first={p.first}
					disabled={d.text.trim() === ""}
					act={async () => {
						await p.send(d.text.trim());
						d.clear();
					}}
				/>
			</div>
		</div>
	);
}

export function When({ iso }: { iso: string }) {
	return (
		<time dateTime={iso} title={iso}>
			{clock(iso)}
		</time>
	);
}

export function evidenceOptions(list: Evidence[], kind: string) {
	return list
		.filter((e) => e.kind === kind)
		.map((e) => ({ value: String(e.number), text: `${e.name}, ${clock(e.added)}` }));
}

/** The name under which this browser's user speaks; asked once, kept by the browser. */
export function ownName(): string {
	try {
		return localStorage.getItem("fettle.name") ?? "";
	} catch {
		return "";
	}
}
export function setOwnName(name: string): void {
	try {
		localStorage.setItem("fettle.name", name);
	} catch {
		/* asked again next time */
	}
}
