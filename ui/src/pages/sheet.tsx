// SPDX-License-Identifier: Apache-2.0
import { useState } from "preact/hooks";
import { visitPath } from "../api";
import type { Doc, VisitDoc } from "../documents";
import { useDoc } from "../live";
import { Entry, Findings, Leaf, visitUp, Waiting } from "../parts";
import { sentence } from "../words";

/** The wiring sheet as drawn for paper. */
export function SheetPage({ id }: { id: string }) {
	const visit = useDoc<VisitDoc>(visitPath(id));
	const [large, setLarge] = useState(false);
	const sheet = useDoc<Doc>(`${visitPath(id)}/sheet`);
	return (
		<Leaf title="Wiring sheet" up={visitUp(visit.doc?.visit ?? null, id)}>
			<Entry title="Drawn">
				{sheet.error && <p role="status">{sentence(sheet.error)}</p>}
				{!sheet.error && <Waiting read={sheet} what="the sheet" />}
				{sheet.doc && (
					<>
						<div class={large ? "plate large" : "plate fitted"} tabIndex={0} role="group" aria-label="Wiring sheet">
							<img
								src={`${visitPath(id)}/sheet.svg`}
								alt="The wiring sheet of this machine, in the order of work"
							/>
						</div>
						<div class="buttons">
							<button type="button" aria-pressed={large} onClick={() => setLarge(!large)}>
								{large ? "Fit it to the page" : "Enlarge"}
							</button>
							<a
								class="button first"
								href={`${visitPath(id)}/sheet.pdf`}
								target="_blank"
								rel="noreferrer"
							>
								Print the sheet
							</a>
						</div>
						<Findings list={sheet.doc.findings} />
					</>
				)}
			</Entry>
		</Leaf>
	);
}
