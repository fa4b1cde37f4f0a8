// SPDX-License-Identifier: Apache-2.0
// The marks of a claim, drawn. Shape and word carry the meaning, colour only helps.
import type { Finding, Stands } from "./documents";

export function Mark({ stands }: { stands: Stands }) {
	return (
		<svg class={`mark ${stands}`} viewBox="0 0 20 20" aria-hidden="true" focusable="false">
			{stands === "shown" && (
				<>
					<rect class="full" x="2.5" y="2.5" width="15" height="15" />
					<path class="cut" d="M5.5 10.5 L8.7 13.7 L14.6 6.6" />
				</>
			)}
			{stands === "contradicted" && <path d="M10 1.8 L18.2 10 L10 18.2 L1.8 10 Z M0 10 H20" />}
			{stands === "open" && <circle cx="10" cy="10" r="7.2" />}
			{stands === "waived" && (
				<>
					<circle cx="10" cy="10" r="7.2" />
					<path class="full" d="M10 2.8 A7.2 7.2 0 0 0 10 17.2 Z" />
				</>
			)}
		</svg>
	);
}

/** The mark with its word. */
export function Standing({ stands, word }: { stands: Stands; word?: string }) {
	return (
		<span class={`stand ${stands}`}>
			<Mark stands={stands} />
			{word ?? stands}
		</span>
	);
}

const weightMark = { note: "·", doubt: "?", fault: "!" } as const;

export function Weight({ weight }: { weight: Finding["weight"] }) {
	return (
		<b class={weight === "fault" ? "contradicted" : weight === "doubt" ? "waived" : "quiet"}>
			<span aria-hidden="true">{weightMark[weight]}</span>
			<span class="unseen">{weight}: </span>
		</b>
	);
}
