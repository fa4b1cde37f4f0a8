// SPDX-License-Identifier: Apache-2.0
// Opening a visit, and the numbers of asset, unit and SIM with their check digits looked at as they are typed.
import { useEffect, useState } from "preact/hooks";
import { get, post, query, visitPath } from "../api";
import type { NumberDoc, VisitDoc } from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { put, stale, useDoc } from "../live";
import { Do, Entry, Field, KeptForm, Leaf, ownName, setOwnName, Typing, visitUp, Waiting } from "../parts";
import { go, to } from "../route";

const partNames: { part: string; text: string }[] = [
	{ part: "coins", text: "coins" },
	{ part: "bills", text: "bills" },
	{ part: "card", text: "card reader" },
	{ part: "door", text: "door switch told by the unit" },
	{ part: "temperature", text: "cooling or heating" },
	{ part: "antenna", text: "antenna" },
	{ part: "bus", text: "multi-drop bus" },
	{ part: "supply", text: "figures of the supply" },
];

interface Numbers {
	asset: string;
	site: string;
	machine_serial: string;
	unit: string;
	sim: string;
	by: string;
	without: string;
}
const none: Numbers = { asset: "", site: "", machine_serial: "", unit: "", sim: "", by: "", without: "" };

export function WithoutField({ value, set }: { value: string; set: (v: string) => void }) {
	const parts = value
		.split(",")
		.map((p) => p.trim())
		.filter((p) => p !== "");
	return (
		<fieldset>
			<legend>This machine or job is without</legend>
			{partNames.map((p) => (
				<label class="choice" key={p.part}>
					<input
						type="checkbox"
						checked={parts.includes(p.part)}
						onChange={(e) => {
							const rest = parts.filter((q) => q !== p.part);
							set((e.currentTarget.checked ? [...rest, p.part] : rest).join(","));
						}}
					/>
					{p.text}
				</label>
			))}
		</fieldset>
	);
}

/** What the check digit of a SIM says, a moment after the last key. */
export function SimCheck({ value }: { value: string }) {
	const [doc, set] = useState<NumberDoc | null>(null);
	const digits = value.replace(/[ -]/g, "");
	useEffect(() => {
		set(null);
		if (digits.length < 10) {
			return undefined;
		}
		const t = setTimeout(() => {
			void get<NumberDoc>(query("/api/number", { kind: "iccid", value: digits })).then(set, () => undefined);
		}, 300);
		return () => clearTimeout(t);
	}, [digits]);
	const expected = doc?.parts.check_digit_expected;
	return (
		<p class={doc && !doc.valid ? "complaint" : "quiet small"} role="status">
			{doc
				? doc.valid
					? "The check digit is right."
					: `The check digit does not fit${expected ? `: it should be ${expected}` : ""}. Read it once more.`
				: ""}
		</p>
	);
}

export function OpenPage() {
	const d = useDraftOf<Numbers>("visit.new", { ...none, by: ownName() });
	const f = d.value;
	const open = async () => {
		const body = Object.fromEntries(Object.entries(f).filter(([, v]) => v.trim() !== ""));
		const doc = await post<VisitDoc>("/api/visits", body);
		setOwnName(f.by.trim());
		d.clear();
		put(visitPath(doc.visit.id), doc);
		stale((p) => p.startsWith("/api/visits?"));
		go(to(["visit", doc.visit.id]));
	};
	return (
		<Leaf title="Open a visit" up={{ href: "#/", text: "Visits" }}>
			<Entry title="Machine">
				<div class="fields two">
					<Field label="Asset number" value={f.asset} onText={(asset) => d.change({ asset })} required />
					<Field
						label="Site"
						value={f.site}
						onText={(site) => d.change({ site })}
						hint="As people call it"
					/>
					<Field
						label="Serial number of the machine"
						value={f.machine_serial}
						onText={(machine_serial) => d.change({ machine_serial })}
						hint="From the order or the plate"
					/>
					<Field label="Fitter" value={f.by} onText={(by) => d.change({ by })} auto="name" />
				</div>
				<KeptForm draft={d} />
			</Entry>
			<Entry title="Parts">
				<WithoutField value={f.without} set={(without) => d.change({ without })} />
			</Entry>
			<div class="next">
				<Do verb="Open the visit" doing="Opening" first disabled={f.asset.trim() === ""} act={open} />
			</div>
		</Leaf>
	);
}

export function NumbersPage({ id }: { id: string }) {
	const read = useDoc<VisitDoc>(visitPath(id));
	const v = read.doc?.visit ?? null;
	const stands: Partial<Numbers> = v
		? {
				site: v.site ?? "",
				machine_serial: v.machine_serial ?? "",
				unit: v.unit ?? "",
				sim: v.sim ?? "",
				by: v.technician ?? "",
				without: v.without ?? "",
			}
		: {};
	const d = useDraftOf<Partial<Numbers>>(draftKey(id, "numbers"), {});
	const f = { ...none, ...stands, ...d.value };
	const save = async () => {
		const changed = Object.entries(d.value).filter(
			([k, x]) => x !== stands[k as keyof Numbers] && (x !== "" || k === "without"),
		);
		if (changed.length) {
			put(visitPath(id), await post<VisitDoc>(`${visitPath(id)}/set`, Object.fromEntries(changed)));
		}
		d.clear();
		go(to(["visit", id]));
	};
	return (
		<Leaf title="Numbers" up={visitUp(v, id)} lead="Asset, unit and SIM belong on record together.">
			<Waiting read={read} what="the visit" />
			{v && (
				<Typing closed={v.closed !== null}>
					<Entry title="Numbers">
						<div class="fields two">
							<Field
								label="Unit fitted"
								value={f.unit}
								onText={(unit) => d.change({ unit })}
								hint="Serial number on its label"
							/>
							<div>
								<Field
									label="SIM"
									value={f.sim}
									onText={(sim) => d.change({ sim })}
									mode="numeric"
									hint="19 or 20 digits on the card"
								/>
								<SimCheck value={f.sim} />
							</div>
							<Field
								label="Serial number of the machine"
								value={f.machine_serial}
								onText={(machine_serial) => d.change({ machine_serial })}
							/>
							<Field label="Site" value={f.site} onText={(site) => d.change({ site })} />
							<Field label="Fitter" value={f.by} onText={(by) => d.change({ by })} auto="name" />
						</div>
						<KeptForm draft={d} />
					</Entry>
					<Entry title="Parts">
						<WithoutField value={f.without} set={(without) => d.change({ without })} />
					</Entry>
					{v.closed === null && (
						<div class="next">
							<Do verb="Put the numbers on record" first act={save} />
						</div>
					)}
				</Typing>
			)}
		</Leaf>
	);
}
