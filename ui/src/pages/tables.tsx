// SPDX-License-Identifier: Apache-2.0
// The tables that people keep in a spreadsheet: put in by their names, taken out again, a template of each.
import { useState } from "preact/hooks";
import { ask, sentenceOf } from "../api";
import { useDoc } from "../live";
import { putTable, tablePath, useOffice, type TableRow, type TablesDoc } from "../office";
import { Complaint, Do, When } from "../parts";
import { count, list, sentence, size } from "../words";
import { useEffect, useId } from "preact/hooks";
import { stale } from "../live";

const about: Record<string, string> = {
	survey: "the machines, a row each",
	families: "controller families",
	units: "units to be fitted",
	parts: "parts, what each is for",
	leads: "antenna leads and cables",
	technicians: "who goes, from where, when",
	priors: "chances of what is not known",
	distances: "distances in km",
	counts: "money counted",
	settlements: "cards settled",
	doors: "door events",
	temperatures: "cabinet temperatures",
};
export const surveyTables = ["survey", "families", "units", "parts", "leads", "technicians", "priors", "distances"];
const withTemplate = ["survey", "families", "units", "parts", "leads", "technicians", "priors"];
const most = 16 * 1024 * 1024;

/** Which table a file is, by its name: "2026 Survey west.csv" is the survey. */
function tableOf(name: string, wanted: string[]): string | null {
	const low = name.toLowerCase();
	return (
		wanted.find((t) => low.includes(t)) ??
		wanted.find((t) => t.endsWith("s") && low.includes(t.slice(0, -1))) ??
		null
	);
}

function Line({ t }: { t: TableRow }) {
	return (
		<li>
			<span>
				<b>{t.table}</b> <span class="quiet">{about[t.table]}</span>
				<br />
				<span class="quiet small">
					{t.bytes === null ? (
						"not there"
					) : (
						<>
							{size(t.bytes)}, <When iso={t.changed ?? ""} />
						</>
					)}
				</span>
			</span>
			<span class="buttons">
				{t.bytes !== null ? (
					<>
						<a
							href={tablePath(t.table)}
							download={`${t.table}.csv`}
							aria-label={`Take the table ${t.table}`}
						>
							Take
						</a>
						<Do plain verb="Remove" act={() => ask("DELETE", tablePath(t.table))} />
					</>
				) : (
					withTemplate.includes(t.table) && (
						<a
							href={`/api/survey/template?table=${t.table}`}
							download={`${t.table}.csv`}
							aria-label={`Template of ${t.table}`}
						>
							Template
						</a>
					)
				)}
			</span>
		</li>
	);
}

export function Tables({ names, hint }: { names: string[]; hint: string }) {
	const turn = useOffice();
	const read = useDoc<TablesDoc>("/api/tables");
	const [told, tell] = useState("");
	const [error, setError] = useState<string | null>(null);
	const id = useId();
	useEffect(() => {
		if (turn) {
			stale((p) => p === "/api/tables");
		}
	}, [turn]);
	const rows = (read.doc?.tables ?? []).filter((t) => names.includes(t.table));
	const take = async (files: FileList | null) => {
		const done: string[] = [];
		const wrong: string[] = [];
		setError(null);
		tell("");
		for (const f of [...(files ?? [])]) {
			const t = tableOf(f.name, names);
			if (!t) {
				wrong.push(
					`${f.name} is none of these tables by its name; name it after one, such as ${names[0]}.csv.`,
				);
				continue;
			}
			if (f.size > most) {
				wrong.push(`${f.name} is larger than ${size(most)}.`);
				continue;
			}
			try {
				await putTable(t, f);
				done.push(t);
			} catch (e) {
				const stands = rows.some((r) => r.table === t && r.bytes !== null);
				wrong.push(
					`${f.name} was not put in${stands ? `, the table ${t} stands as it was` : ""}: ${sentence(sentenceOf(e))}`,
				);
			}
		}
		setError(wrong.join(" ") || null);
		tell(done.length ? `Put in: ${list(done)}.` : "");
	};
	return (
		<>
			<div class="field">
				<label for={id}>Put tables in, several at once</label>
				<input
					id={id}
					type="file"
					multiple
					accept=".csv,.txt,text/csv"
					aria-describedby={`${id}-hint`}
					onChange={(e) => {
						const el = e.currentTarget;
						void take(el.files).then(() => {
							el.value = "";
						});
					}}
				/>
				<span class="quiet small" id={`${id}-hint`}>
					{hint}
				</span>
			</div>
			<p role="status">{told}</p>
			<Complaint text={error} />
			<details open={rows.length > 0 && rows.every((t) => t.bytes === null)}>
				<summary>
					{count(rows.filter((t) => t.bytes !== null).length, "table")} of {rows.length}
				</summary>
				<ul class="tables">
					{rows.map((t) => (
						<Line key={t.table} t={t} />
					))}
				</ul>
			</details>
		</>
	);
}

/** Whether the tables are there that a page needs. */
export function useHas(table: string): boolean | null {
	const turn = useOffice();
	const read = useDoc<TablesDoc>("/api/tables");
	useEffect(() => {
		if (turn) {
			stale((p) => p === "/api/tables");
		}
	}, [turn]);
	return read.doc ? read.doc.tables.some((t) => t.table === table && t.bytes !== null) : null;
}
