// SPDX-License-Identifier: Apache-2.0
// What the pages of measurements share: which file of a kind is looked at, filing one more, and how it stands.
import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { addEvidence, post, query, Refusal, sentenceOf, visitPath } from "./api";
import type { Evidence, Verdict, Visit, VisitDoc } from "./documents";
import { put, useDoc } from "./live";
import { Standing } from "./marks";
import { Choose, Complaint, Entry, evidenceOptions, Leaf, visitUp, Waiting } from "./parts";

/** A file of this kind, filed with the visit. */
function AddFile({
	visit,
	kind,
	look,
	label,
	accept,
}: {
	visit: Visit;
	kind: string;
	look: string;
	label: string;
	accept: string;
}) {
	const [error, setError] = useState<string | null>(null);
	const [busy, setBusy] = useState(false);
	if (visit.closed) {
		return null;
	}
	return (
		<div class="field">
			<label for={`add-${kind}`}>{label}</label>
			<input
				type="file"
				id={`add-${kind}`}
				accept={accept}
				onChange={(e) => {
					const input = e.currentTarget;
					const file = input.files?.[0];
					if (!file) {
						return;
					}
					setBusy(true);
					setError(null);
					// what its own reader cannot read is not filed: it would stand against the visit for ever
					void post(query(`/api/look/${look}`, { name: file.name }), file)
						.then(() => addEvidence<VisitDoc>(visit.id, file, file.name, kind, "prove"))
						.then(
							(d) => put(visitPath(visit.id), d),
							(x: unknown) =>
								setError(x instanceof Refusal ? `Not filed: ${x.message}` : sentenceOf(x)),
						)
						.then(() => {
							setBusy(false);
							input.value = "";
						});
				}}
			/>
			{busy && (
				<p role="status">
					Filing it <span class="working" />
				</p>
			)}
			<Complaint text={error} />
		</div>
	);
}

/** The evidence of a kind and which of it is looked at: what was picked, else the latest. */
export function useEvidence(id: string, kind: string) {
	const visit = useDoc<VisitDoc>(visitPath(id));
	const [wish, setWish] = useState("");
	const list = (visit.doc?.visit.evidence ?? []).filter((e) => e.kind === kind);
	const chosen: Evidence | undefined = list.find((e) => String(e.number) === wish) ?? list[list.length - 1];
	return { id, kind, visit, list, chosen, setWish };
}

function WhichFile({
	list,
	chosen,
	setWish,
}: {
	list: Evidence[];
	chosen?: Evidence;
	setWish: (v: string) => void;
}) {
	if (list.length < 2 || !chosen) {
		return chosen ? <p class="quiet">{chosen.name}</p> : null;
	}
	return (
		<Choose
			label="File"
			value={String(chosen.number)}
			options={evidenceOptions(list, chosen.kind)}
			onPick={setWish}
		/>
	);
}

type Looking = ReturnType<typeof useEvidence>;

/** A page of one kind of evidence. */
export function MeasuredLeaf({
	of,
	title,
	lead,
	children,
}: {
	of: Looking;
	title: string;
	lead: string;
	children: ComponentChildren;
}) {
	return (
		<Leaf title={title} up={visitUp(of.visit.doc?.visit ?? null, of.id)} lead={lead}>
			<Waiting read={of.visit} what="the visit" />
			{children}
		</Leaf>
	);
}

/** Which file is looked at, the way to add one, and what is asked beside it. */
export function FileEntry({
	of,
	look,
	title,
	label,
	accept,
	children,
}: {
	of: Looking;
	look: string; // the reader it is for
	title: string;
	label: string;
	accept: string;
	children?: ComponentChildren;
}) {
	return (
		<Entry title={title}>
			<WhichFile {...of} />
			{of.visit.doc && <AddFile visit={of.visit.doc.visit} kind={of.kind} look={look} label={label} accept={accept} />}
			{of.visit.doc?.visit.closed && !of.chosen && <p class="quiet">None was filed with this visit.</p>}
			{children}
		</Entry>
	);
}

/** How the measurement stands, in its own words. */
export function Result({ stands, good, bad }: { stands: Verdict; good: string; bad: string }) {
	const words = { shown: good, contradicted: bad, open: "not told yet" };
	return (
		<p>
			<Standing stands={stands} word={words[stands]} />
		</p>
	);
}
