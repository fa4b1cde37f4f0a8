// SPDX-License-Identifier: Apache-2.0
import type { Place } from "../route";
import { FleetPage } from "./fleet";
import { PlanPage } from "./plan";
import { WatchedPage, WatchPage } from "./watch";

export function Office({ place }: { place: Place }) {
	const [what, asset] = place.parts;
	if (what === "watch") {
		return asset ? <WatchedPage asset={asset} place={place} key={asset} /> : <WatchPage place={place} />;
	}
	if (what === "plan") {
		return <PlanPage />;
	}
	return <FleetPage place={place} />;
}
