// SPDX-License-Identifier: Apache-2.0
// The first page: today's visits by what is still open, and the way to any other.
import { useDeferred } from "../defer";
import { useState } from "preact/hooks";
import type { Stands, VisitRow, VisitsDoc } from "../documents";
import { useDoc } from "../live";
import { Standing } from "../marks";
import { Entry, Field, Leaf, Waiting, When } from "../parts";
import { openWords } from "../path";
import { to } from "../route";
import { count, dayOf, today } from "../words";

const shownAtOnce = 40;

function found(v: VisitRow, words: string[]): boolean {
	const text = [v.asset, v.site, v.id, v.machine_serial, v.unit].filter(Boolean).join(" ").toLowerCase();
	return words.every((w) => text.includes(w));
}

function weight(v: VisitRow): number {
	return (v.stands?.contradicted ?? 0) * 1000 + (v.stands?.open ?? 0);
}

function Row({ v }: { v: VisitRow }) {
	const words = openWords(v.stands);
	return (
		<li>
			<a class="row" href={to(["visit", v.id])}>
				<span>
					<b>{v.asset}</b>
					{v.site ? ` ${v.site}` : ""}
					<br />
					<span class="quiet small">
						opened <When iso={v.opened} />
						{v.closed && (
							<>
								, closed <When iso={v.closed} />
							</>
						)}
					</span>
				</span>
				<span class="end">
					{v.closed ? (
						<span class="quiet small">{v.id}</span>
					) : (
						<Standing stands={(v.verdict ?? "open") as Stands} word={words ?? "open"} />
					)}
				</span>
			</a>
		</li>
	);
}

function Rows({ list, title, none }: { list: VisitRow[]; title: string; none?: string }) {
	const [more, setMore] = useState(false);
	if (!list.length && !none) {
		return null;
	}
	const seen = more ? list : list.slice(0, shownAtOnce);
	return (
		<Entry title={title}>
			{list.length ? (
				<ul class="rows">
					{seen.map((v) => (
						<Row key={v.id} v={v} />
					))}
				</ul>
			) : (
				<p class="quiet">{none}</p>
			)}
			{seen.length < list.length && (
				<button type="button" class="plain" onClick={() => setMore(true)}>
					Show {list.length - seen.length} more
				</button>
			)}
		</Entry>
	);
}

export function VisitsPage() {
	const read = useDoc<VisitsDoc>("/api/visits?judged=1");
	const [text, setText] = useState("");
	const wanted = useDeferred(text);
	const all = read.doc?.visits ?? [];
	const words = wanted
		.toLowerCase()
		.split(/\s+/)
		.filter((w) => w !== "");
	const hits = words.length ? all.filter((v) => found(v, words)) : all;
	const open = hits.filter((v) => !v.closed).sort((a, b) => weight(b) - weight(a));
	const now = open.filter((v) => dayOf(v.opened) === today());
	const older = open.filter((v) => dayOf(v.opened) !== today());
	const closed = hits.filter((v) => v.closed);
	return (
		<Leaf title="Visits" lead={read.doc ? `${count(open.length, "visit")} open, ${closed.length} closed` : ""}>
			<Waiting read={read} what="the book" />
			{read.doc && !all.length && (
				<Entry title="Begin">
					<p>The book is empty. Open a visit at a machine, or practise on one that is made up.</p>
				</Entry>
			)}
			{all.length > 0 && (
				<Entry title="Find">
					<Field label="Asset, site or serial number" value={text} onText={setText} type="search" />
					<p class="unseen" role="status">
						{words.length ? `${hits.length} found` : ""}
					</p>
				</Entry>
			)}
			{all.length > 0 && <Rows title="Today" list={now} none="Nothing opened today is still open." />}
			<Rows title="Still open" list={older} />
			<Rows title="Closed" list={closed} />
			<div class="next">
				<a class="button first" href={to(["open"])}>
					Open a visit
				</a>
			</div>
		</Leaf>
	);
}
