// SPDX-License-Identifier: Apache-2.0
// Where one is in the notebook stands behind # and survives a reload: #/visit/HL-0932-1/prove
import { useEffect, useState } from "preact/hooks";

export interface Place {
	parts: string[];
	params: URLSearchParams;
}

function here(): Place {
	const text = location.hash.startsWith("#/") ? location.hash.slice(2) : "";
	const [way = "", rest = ""] = text.split("?");
	return {
		parts: way
			.split("/")
			.filter((p) => p !== "")
			.map(decodeURIComponent),
		params: new URLSearchParams(rest),
	};
}

export function usePlace(): Place {
	const [place, set] = useState(here);
	useEffect(() => {
		const f = () => set(here());
		addEventListener("hashchange", f);
		return () => removeEventListener("hashchange", f);
	}, []);
	return place;
}

export function to(parts: (string | number)[], params: Record<string, string | number | null> = {}): string {
	const q = Object.entries(params)
		.filter(([, v]) => v !== null && v !== "")
		.map(([k, v]) => `${k}=${encodeURIComponent(String(v))}`)
		.join("&");
	return `#/${parts.map((p) => encodeURIComponent(String(p))).join("/")}${q ? `?${q}` : ""}`;
}

export function go(href: string): void {
	location.hash = href;
}

/** Another address for the same page: nothing is added to the way back. */
export function become(href: string): void {
	history.replaceState(null, "", href);
	dispatchEvent(new HashChangeEvent("hashchange"));
}

export function useDesk(): boolean {
	const wide = matchMedia("(min-width: 960px)");
	const [desk, set] = useState(wide.matches);
	useEffect(() => {
		const f = () => set(wide.matches);
		wide.addEventListener("change", f);
		return () => wide.removeEventListener("change", f);
	}, []);
	return desk;
}
