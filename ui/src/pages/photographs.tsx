// SPDX-License-Identifier: Apache-2.0
import { useState } from "preact/hooks";
import { addEvidence, sentenceOf, visitPath } from "../api";
import type { Evidence, StageWord, VisitDoc } from "../documents";
import { put, useDoc } from "../live";
import { Choose, Complaint, Entry, Leaf, visitUp, Waiting, When } from "../parts";
import { stages } from "../path";
import { made } from "../picture";
import { nextStep } from "../path";
import { size } from "../words";

const subjects: Record<string, string[]> = {
	keep: ["machine closed", "machine open", "prices", "settings on the display", "wiring of before", "plate"],
	fit: ["unit fitted", "antenna", "cables at the hinge", "connections"],
	prove: ["display", "receipt", "thermometer"],
	"hand-over": ["machine closed", "keys"],
};

function nameOf(subject: string, list: Evidence[]): string {
	const base =
		subject
			.trim()
			.toLowerCase()
			.replace(/[^a-z0-9]+/g, "-")
			.replace(/^-|-$/g, "") || "photograph";
	const taken = new Set(list.map((e) => e.name));
	for (let n = 1; ; n++) {
		const name = `${base}${n > 1 ? `-${n}` : ""}.jpg`;
		if (!taken.has(name)) {
			return name;
		}
	}
}

function Prints({ list, id }: { list: Evidence[]; id: string }) {
	return (
		<ul class="prints">
			{list.map((e) => (
				<li key={e.number}>
					<a href={`${visitPath(id)}/evidence/${e.number}`} target="_blank" rel="noreferrer">
						<img
							src={`${visitPath(id)}/evidence/${e.number}`}
							alt={e.name.replace(/\.[a-z]+$/, "").replace(/-/g, " ")}
							loading="lazy"
						/>
					</a>
					<span>{e.name}</span>
					<br />
					<span class="quiet small">
						{size(e.bytes)}, <When iso={e.added} />
					</span>
				</li>
			))}
		</ul>
	);
}

export function PhotographsPage({ id }: { id: string }) {
	const read = useDoc<VisitDoc>(visitPath(id));
	const doc = read.doc;
	const wanted = doc ? (nextStep(doc)?.claim?.id === "fit.photographs" ? "fit" : "keep") : "keep";
	const [stage, setStage] = useState<StageWord | null>(null);
	const at = stage ?? (wanted as StageWord);
	const [subject, setSubject] = useState("");
	const [position, setPosition] = useState(false);
	const [busy, setBusy] = useState("");
	const [error, setError] = useState<string | null>(null);
	const of = subject || subjects[at]?.[0] || "photograph";
	const photos = (doc?.visit.evidence ?? []).filter((e) => e.kind === "photograph");
	const take = async (files: FileList | null) => {
		let list = doc?.visit.evidence ?? [];
		setError(null);
		for (const file of Array.from(files ?? [])) {
			try {
				setBusy(`Making ${file.name} smaller`);
				const picture = await made(file, file.name, position);
				setBusy("Filing it");
				const now = await addEvidence<VisitDoc>(id, picture, nameOf(of, list), "photograph", at);
				list = now.visit.evidence;
				put(visitPath(id), now);
			} catch (e) {
				setError(sentenceOf(e));
			}
		}
		setBusy("");
	};
	return (
		<Leaf title="Photographs" up={visitUp(doc?.visit ?? null, id)}>
			<Waiting read={read} what="the visit" />
			{doc && !doc.visit.closed && (
				<Entry title="Take one">
					<div class="fields two">
						<Choose
							label="Belongs to"
							value={at}
							onPick={(v) => {
								setStage(v as StageWord);
								setSubject("");
							}}
							options={stages.slice(0, 5).map((s) => ({ value: s.word, text: s.title }))}
						/>
						<Choose
							label="Shows"
							value={of}
							onPick={setSubject}
							options={(subjects[at] ?? ["photograph"]).map((s) => ({ value: s, text: s }))}
						/>
					</div>
					<label class="choice">
						<input
							type="checkbox"
							checked={position}
							onChange={(e) => setPosition(e.currentTarget.checked)}
						/>
						Keep the position the camera wrote into it
					</label>
					<div class="field">
						<label for="camera">Photograph</label>
						<input
							type="file"
							id="camera"
							accept="image/*"
							capture="environment"
							multiple
							onChange={(e) => {
								const input = e.currentTarget;
								void take(input.files).then(() => {
									input.value = "";
								});
							}}
						/>
						<p class="quiet small">
							Made smaller here, to 2000 points on the long side. Where it was taken is left out
							unless you ask for it.
						</p>
					</div>
					<p role="status">
						{busy && (
							<>
								{busy} <span class="working" />
							</>
						)}
					</p>
					<Complaint text={error} />
				</Entry>
			)}
			{stages.map((s) => {
				const list = photos.filter((e) => e.stage === s.word);
				return list.length ? (
					<Entry key={s.word} title={s.title}>
						<Prints list={list} id={id} />
					</Entry>
				) : null;
			})}
			{doc && !photos.length && (
				<Entry title="So far">
					<p class="quiet">No photograph yet.</p>
				</Entry>
			)}
		</Leaf>
	);
}
