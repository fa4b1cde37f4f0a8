// SPDX-License-Identifier: Apache-2.0
// One visit. On a phone the path unfolds stage by stage; on a desk path, claims and evidence stand side by side.
import { useEffect, useRef } from "preact/hooks";
import facts from "facts:claims";
import { post, visitPath } from "../api";
import type { Claim, Finding, StageWord, Visit, VisitDoc } from "../documents";
import { draftKey } from "../draft";
import { put, useDoc } from "../live";
import { Mark, Standing } from "../marks";
import { ClosedNote, Findings, Leaf, Waiting, When, Writing, ownName, toHead } from "../parts";
import {
	nextStep,
	of,
	stageStands,
	stages,
	stageWords,
	verdictStands,
	verdictWords,
	workFor,
	worksOf,
} from "../path";
import { become, to, useDesk, type Place } from "../route";
import { capital, handsOnly, sentence, size } from "../words";

const dueWords = (c: Claim) => (c.due_later ? `${c.stands}, due in the weeks after` : c.stands);

function findingsOf(c: Claim, all: Finding[]): Finding[] {
	const seen = all.filter((f) => f.seen && c.because.toLowerCase().includes(f.seen.toLowerCase()));
	return seen.length ? seen : all.filter((f) => f.do !== "" && c.do !== null && f.do === c.do);
}

function EvidenceList({ c, v }: { c: Claim; v: Visit }) {
	const list = v.evidence.filter((e) => c.evidence.includes(e.hash));
	if (!list.length) {
		return null;
	}
	return (
		<div>
			<h3>Rests on</h3>
			<ul>
				{list.map((e) => (
					<li key={e.number}>
						<a href={`${visitPath(v.id)}/evidence/${e.number}`} download={e.name}>
							{e.name}
						</a>
						<span class="quiet small">
							{" "}
							{e.kind}, {size(e.bytes)}, added <When iso={e.added} />
						</span>
					</li>
				))}
			</ul>
		</div>
	);
}

/** One claim in full: what it rests on, the findings, where the rule comes from, and the ways to settle it. */
function About({ c, doc }: { c: Claim; doc: VisitDoc }) {
	const v = doc.visit;
	const by = ownName() || v.technician || undefined;
	const send = async (what: "say" | "waive", body: Record<string, unknown>) => {
		put(visitPath(v.id), await post<VisitDoc>(`${visitPath(v.id)}/${what}`, { claim: c.id, by, ...body }));
	};
	const closed = v.closed !== null && !c.due_later;
	const fact = facts[c.id];
	const settled = c.stands === "shown" || c.stands === "waived";
	const work = settled ? null : workFor(c, v);
	const todo = settled ? null : handsOnly(c.do);
	return (
		<>
			<p>{sentence(c.because)}</p>
			{todo && (
				<p>
					<b>To do:</b> {sentence(todo)}
				</p>
			)}
			{work && (
				<p>
					<a class="button" href={work.href}>
						{work.verb}
					</a>
				</p>
			)}
			<Findings list={findingsOf(c, doc.findings)} most={2} />
			<EvidenceList c={c} v={v} />
			{c.said && (
				<p class="quiet small">
					Said{c.said.by ? ` by ${c.said.by}` : ""} <When iso={c.said.at} />: {c.said.text}
				</p>
			)}
			{c.waived && (
				<p class="quiet small">
					Waived{c.waived.by ? ` by ${c.waived.by}` : ""} <When iso={c.waived.at} />: {c.waived.because}
				</p>
			)}
			{fact && (
				<details>
					<summary>What would show it, and why it is asked</summary>
					<p>{sentence(fact.shownBy)}</p>
					<p class="quiet small">Source: {fact.source}.</p>
				</details>
			)}
			{!closed && c.stands !== "shown" && (
				<>
					{fact?.words !== false && (
						<Writing
							label="What you saw or did"
							draft={draftKey(v.id, "say", c.id)}
							verb="Say so"
							doing="Saying so"
							send={(text) => send("say", { text })}
						/>
					)}
					{c.stands !== "waived" && (
						<details>
							<summary>Waive this</summary>
							<Writing
								label="Why it cannot be shown at this visit"
								draft={draftKey(v.id, "waive", c.id)}
								verb="Waive with this reason"
								send={(because) => send("waive", { because })}
								hint="It stays in the record as waived, with your reason."
							/>
						</details>
					)}
				</>
			)}
		</>
	);
}

function ClaimLine({
	c,
	open,
	toggle,
	pressed,
}: {
	c: Claim;
	open: boolean;
	toggle: () => void;
	pressed: boolean;
}) {
	const state = pressed ? { "aria-pressed": open } : { "aria-expanded": open };
	return (
		<button type="button" class="claim" {...state} onClick={toggle} id={`claim-${c.id}`}>
			<Mark stands={c.stands} />
			<span>
				{capital(c.sentence)}.<span class={`word ${c.stands}`}>{dueWords(c)}</span>
			</span>
		</button>
	);
}

function Claims({
	doc,
	stage,
	at,
	pick,
	inline,
}: {
	doc: VisitDoc;
	stage: StageWord;
	at: string | null;
	pick: (id: string | null) => void;
	inline: boolean;
}) {
	return (
		<ul class="claims">
			{of(doc, stage).map((c) => (
				<li key={c.id}>
					<ClaimLine
						c={c}
						open={c.id === at}
						pressed={!inline}
						toggle={() => pick(c.id === at && inline ? null : c.id)}
					/>
					{inline && c.id === at && (
						<div class="about">
							<About c={c} doc={doc} />
						</div>
					)}
				</li>
			))}
		</ul>
	);
}

function Work({ stage, id }: { stage: StageWord; id: string }) {
	const works = worksOf(stage, id);
	return works.length ? (
		<div class="work">
			{works.map((w) => (
				<a key={w.page} href={w.href}>
					{w.text}
				</a>
			))}
		</div>
	) : null;
}

interface Chosen {
	stage: StageWord | null;
	claim: string | null;
	choose: (stage: StageWord | null, claim: string | null) => void;
}

function PhonePath({ doc, at }: { doc: VisitDoc; at: Chosen }) {
	return (
		<div class="path">
			{stages.map((s) => {
				const claims = of(doc, s.word);
				const open = at.stage === s.word;
				return (
					<section class="stage" key={s.word} data-open={open ? "" : undefined} aria-label={s.title}>
						<h2>
							<button
								type="button"
								class="stage-line"
								aria-expanded={open}
								onClick={() => at.choose(open ? null : s.word, null)}
							>
								<span class="knot">
									<Mark stands={stageStands(claims)} />
								</span>
								<span>
									<b>{s.title}</b>
									<span class="sum">{stageWords(claims)}</span>
								</span>
							</button>
						</h2>
						{open && (
							<div class="within">
								<Work stage={s.word} id={doc.visit.id} />
								<Claims
									doc={doc}
									stage={s.word}
									at={at.claim}
									pick={(c) => at.choose(s.word, c)}
									inline
								/>
							</div>
						)}
					</section>
				);
			})}
		</div>
	);
}

function DeskPath({ doc, at }: { doc: VisitDoc; at: Chosen }) {
	const stage = at.stage ?? "know";
	const claims = of(doc, stage);
	const claim = claims.find((c) => c.id === at.claim) ?? claims[0];
	return (
		<div class="desk">
			<nav class="path" aria-label="Path of the visit">
				{stages.map((s) => (
					<div class="stage" key={s.word}>
						<a
							class="stage-line"
							href={to(["visit", doc.visit.id], { stage: s.word })}
							aria-current={s.word === stage ? "step" : undefined}
						>
							<span class="knot">
								<Mark stands={stageStands(of(doc, s.word))} />
							</span>
							<span>
								<b>{s.title}</b>
								<span class="sum">{stageWords(of(doc, s.word))}</span>
							</span>
						</a>
						{s.word === stage && <Work stage={s.word} id={doc.visit.id} />}
					</div>
				))}
			</nav>
			<section aria-label="Claims">
				<h2>{stages.find((s) => s.word === stage)?.title}</h2>
				<Claims
					doc={doc}
					stage={stage}
					at={claim?.id ?? null}
					pick={(c) => at.choose(stage, c)}
					inline={false}
				/>
			</section>
			<section aria-label="Evidence" aria-live="polite">
				{claim && (
					<div class="column" key={claim.id}>
						<h2>{capital(claim.sentence)}</h2>
						<Standing stands={claim.stands} word={dueWords(claim)} />
						<About c={claim} doc={doc} />
					</div>
				)}
			</section>
		</div>
	);
}

function Head({ doc }: { doc: VisitDoc }) {
	const v = doc.visit;
	const h1 = useRef<HTMLHeadingElement>(null);
	useEffect(() => {
		document.title = `${v.asset} · fettle`;
		toHead(h1.current);
	}, [v.id]);
	const facts: [string, string | null][] = [
		["Visit", v.id],
		["Machine", v.machine_serial],
		["Unit", v.unit],
		["SIM", v.sim],
		["Fitter", v.technician],
		["Without", v.without],
	];
	return (
		<div class="visit-head">
			<h1 tabIndex={-1} ref={h1}>
				{v.asset}
				{v.site ? ` ${v.site}` : ""}
			</h1>
			<p aria-live="polite" class="verdict">
				<Standing stands={verdictStands(doc)} word={verdictWords(doc)} />
			</p>
			{v.closed && <ClosedNote at={v.closed} />}
			<details>
				<summary>The record</summary>
				<dl class="facts">
					{facts.map(
						([name, value]) =>
							value && (
								<>
									<dt>{name}</dt>
									<dd>{value}</dd>
								</>
							),
					)}
					<dt>Opened</dt>
					<dd>
						<When iso={v.opened} />
					</dd>
					{v.closed && (
						<>
							<dt>Closed</dt>
							<dd>
								<When iso={v.closed} />
							</dd>
						</>
					)}
					<dt>Evidence</dt>
					<dd>
						{v.evidence.length
							? v.evidence.map((e) => (
									<div key={e.number}>
										{e.name}{" "}
										<span class="quiet small">
											{e.kind}, {size(e.bytes)}
										</span>
									</div>
								))
							: "none yet"}
					</dd>
				</dl>
				{!v.closed && (
					<p>
						<a href={to(["visit", v.id, "machine"])}>Change the numbers</a>
					</p>
				)}
			</details>
		</div>
	);
}

/** The stage that needs something first. */
function stageInNeed(doc: VisitDoc): StageWord {
	return nextStep(doc)?.claim?.stage ?? (doc.visit.closed ? "hand-over" : "know");
}

export function VisitPage({ id, place }: { id: string; place: Place }) {
	const read = useDoc<VisitDoc>(visitPath(id));
	const desk = useDesk();
	const doc = read.doc;
	if (!doc) {
		return (
			<Leaf title={id} up={{ href: "#/", text: "Visits" }}>
				<Waiting read={read} what="the visit" />
			</Leaf>
		);
	}
	const claim = place.params.get("claim");
	const stage =
		(place.params.get("stage") as StageWord | null) ?? doc.claims.find((c) => c.id === claim)?.stage ?? null;
	const at: Chosen = {
		stage: stage ?? (place.params.has("shut") ? null : stageInNeed(doc)),
		claim,
		choose: (s, c) => become(to(["visit", id], { stage: s, claim: c, shut: s ? null : 1 })),
	};
	const step = nextStep(doc);
	return (
		<>
			<Head doc={doc} />
			{desk ? <DeskPath doc={doc} at={at} /> : <PhonePath doc={doc} at={at} />}
			{step && (
				<div class="next">
					<a class="button first" href={step.href}>
						{step.verb}
					</a>
				</div>
			)}
		</>
	);
}
