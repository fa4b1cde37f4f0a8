// SPDX-License-Identifier: Apache-2.0
// Hand over: what is missing, closing, the signed package and its paper.
import { useState } from "preact/hooks";
import { post, visitPath } from "../api";
import type { Claim, HandoverDoc, KeyDoc, VisitDoc } from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { put, stale, useDoc } from "../live";
import { Mark, Standing } from "../marks";
import { Do, Entry, Field, Findings, Leaf, ownName, setOwnName, visitUp, Waiting, When, Writing } from "../parts";
import { verdictWords } from "../path";
import { to } from "../route";
import { capital, handsOnly, sentence } from "../words";

function Missing({ doc }: { doc: VisitDoc }) {
	const due = doc.claims.filter((c) => !c.due_later && (c.stands === "open" || c.stands === "contradicted"));
	const order = (c: Claim) => (c.stands === "contradicted" ? 0 : 1);
	if (!due.length) {
		return <p>Nothing that closing asks for is missing.</p>;
	}
	return (
		<ul class="claims">
			{due
				.sort((a, b) => order(a) - order(b))
				.map((c) => (
					<li key={c.id}>
						<a class="claim" href={to(["visit", doc.visit.id], { stage: c.stage, claim: c.id })}>
							<Mark stands={c.stands} />
							<span>
								{capital(c.sentence)}.
								<span class={`word ${c.stands}`}>
									{c.stands}
									{handsOnly(c.do) ? `: ${handsOnly(c.do)}` : ""}
								</span>
							</span>
						</a>
					</li>
				))}
		</ul>
	);
}

function Closing({ doc }: { doc: VisitDoc }) {
	const id = doc.visit.id;
	const [all, setAll] = useState(false);
	const due = doc.claims.filter(
		(c) => !c.due_later && (c.stands === "open" || c.stands === "contradicted"),
	).length;
	if (doc.visit.closed) {
		return (
			<p>
				Closed <When iso={doc.visit.closed} />. Nothing that was due can be changed any more.
			</p>
		);
	}
	return (
		<div class="column">
			{due > 0 && (
				<label class="choice">
					<input type="checkbox" checked={all} onChange={(e) => setAll(e.currentTarget.checked)} />
					Close all the same, with {due} not settled
				</label>
			)}
			<Do
				verb="Close the visit"
				doing="Closing"
				first={due === 0}
				disabled={due > 0 && !all}
				act={async () => {
					put(
						visitPath(id),
						await post<VisitDoc>(`${visitPath(id)}/close`, due ? { open_claims: true } : {}),
					);
					stale((p) => p.startsWith("/api/visits?"));
				}}
			/>
		</div>
	);
}

function Packed({ p, id }: { p: HandoverDoc; id: string }) {
	return (
		<div class="column" aria-live="polite">
			<p>
				<Standing stands={p.verdict} word={sentence(`packed, signed by ${p.signed_by ?? "nobody"}`)} />
			</p>
			<dl class="facts">
				<dt>Package</dt>
				<dd class="code">{p.package}</dd>
			</dl>
			<div class="buttons">
				<a class="button first" href={`${visitPath(id)}/handover.zip`} download={`${id}.zip`}>
					Take the package
				</a>
				<a class="button" href={`${visitPath(id)}/handover.pdf`} target="_blank" rel="noreferrer">
					Print the paper
				</a>
			</div>
			<Findings list={p.findings} />
		</div>
	);
}

export function HandOverPage({ id }: { id: string }) {
	const read = useDoc<VisitDoc>(visitPath(id));
	const [packed, setPacked] = useState<HandoverDoc | null>(null);
	// Asking for the key makes one, in no name; so it is not asked for before the first package named its signer.
	const key = useDoc<KeyDoc>(packed ? "/api/handover/key" : null);
	const form = useDraftOf<{ name: string; paper: string }>(draftKey(id, "hand-over"), {
		name: ownName(),
		paper: "a4",
	});
	const doc = read.doc;
	const name = form.value.name || doc?.visit.technician || "";
	const sent = doc?.claims.find((c) => c.id === "hand-over.package");
	return (
		<Leaf title="Hand over" up={visitUp(doc?.visit ?? null, id)}>
			<Waiting read={read} what="the visit" />
			{doc && (
				<>
					<Entry title="Missing">
						<p>
							<Standing stands={doc.verdict} word={verdictWords(doc)} />
						</p>
						<Missing doc={doc} />
					</Entry>
					<Entry title="Numbers">
						<dl class="facts">
							<dt>Asset</dt>
							<dd>{doc.visit.asset}</dd>
							<dt>Unit</dt>
							<dd>{doc.visit.unit ?? <span class="open">not given</span>}</dd>
							<dt>SIM</dt>
							<dd>{doc.visit.sim ?? <span class="open">not given</span>}</dd>
						</dl>
						{!doc.visit.closed && (
							<a class="button" href={to(["visit", id, "machine"])}>
								Change the numbers
							</a>
						)}
					</Entry>
					<Entry title="Close">
						<Closing doc={doc} />
					</Entry>
					<Entry title="Package">
						<p>Holds all evidence, the claims and the paper, signed with this bench's key.</p>
						<div class="fields two">
							<Field
								label="Signed in the name of"
								value={name}
								onText={(n) => form.change({ name: n })}
								auto="name"
							/>
							<fieldset>
								<legend>Paper</legend>
								{[
									["a4", "A4"],
									["letter", "Letter"],
								].map(([v, t]) => (
									<label class="choice" key={v}>
										<input
											type="radio"
											name="paper"
											checked={form.value.paper === v}
											onChange={() => form.change({ paper: v as string })}
										/>
										{t}
									</label>
								))}
							</fieldset>
						</div>
						{key.doc && (
							<p class="quiet small">
								Key <span class="code">{key.doc.fingerprint}</span>
							</p>
						)}
						<Do
							verb="Pack it"
							doing="Packing"
							first={!!doc.visit.closed && !packed}
							disabled={name.trim() === ""}
							act={async () => {
								setPacked(
									await post<HandoverDoc>(`${visitPath(id)}/handover`, {
										name: name.trim(),
										paper: form.value.paper,
									}),
								);
								setOwnName(name.trim());
								stale((p) => p === "/api/handover/key");
							}}
						/>
						{packed && <Packed p={packed} id={id} />}
					</Entry>
					{sent && sent.stands === "open" && (
						<Entry title="Sent">
							<Writing
								label="When and how the office got it"
								draft={draftKey(id, "say", sent.id)}
								verb="Say so"
								send={async (text) => {
									put(
										visitPath(id),
										await post<VisitDoc>(`${visitPath(id)}/say`, {
											claim: sent.id,
											text,
											by: name || undefined,
										}),
									);
								}}
							/>
						</Entry>
					)}
				</>
			)}
		</Leaf>
	);
}
