// SPDX-License-Identifier: Apache-2.0
// The way to the office's pages: they come when somebody goes there, so that a fitter's first load stays small.
import type { FunctionComponent } from "preact";
import { useEffect, useState } from "preact/hooks";
import { Leaf } from "./parts";
import type { Place } from "./route";

type Page = FunctionComponent<{ place: Place }>;
const names = ["fleet", "plan", "watch"];
export const isOffice = (what: string | undefined) => what !== undefined && names.includes(what);
let come: Page | null = null;

export function OfficePage({ place }: { place: Place }) {
	const [page, set] = useState<{ is: Page } | null>(come ? { is: come } : null);
	const [failed, setFailed] = useState(false);
	useEffect(() => {
		if (!come) {
			import("./pages/office").then(
				(m) => {
					come = m.Office;
					set({ is: m.Office });
				},
				() => setFailed(true),
			);
		}
	}, []);
	if (page) {
		return <page.is place={place} />;
	}
	return (
		<Leaf title="Office">
			{failed ? (
				<p class="complaint" role="alert">
					These pages did not come from the bench. Load the page anew.
				</p>
			) : (
				<p class="quiet" role="status">
					Opening <span class="working" />
				</p>
			)}
		</Leaf>
	);
}
