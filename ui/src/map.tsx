// SPDX-License-Identifier: Apache-2.0
// A plain map drawn from coordinates alone: squared paper in degrees, a scale, homes, machines by the shape of their
// fit.
import type { ComponentChildren } from "preact";
import { useRef } from "preact/hooks";
import { stepsOf, useWidth } from "./drawings";
import { fitWords, type Fit, type Home } from "./office";

const sameSite = 13; // points between machines of one site

/** Machines of one site stand side by side, four in a row, so that none hides another. */
function apart(
	spots: Spot[],
	x: (lon: number) => number,
	y: (lat: number) => number,
): Map<string, { x: number; y: number }> {
	const sites = new Map<string, Spot[]>();
	for (const s of spots) {
		const key = `${Math.round(x(s.longitude) / 8)}/${Math.round(y(s.latitude) / 8)}`;
		sites.set(key, [...(sites.get(key) ?? []), s]);
	}
	const out = new Map<string, { x: number; y: number }>();
	for (const list of sites.values()) {
		const first = list[0] as Spot;
		const across = Math.min(4, list.length);
		list.forEach((s, i) =>
			out.set(s.id, {
				x: x(first.longitude) + ((i % 4) - (across - 1) / 2) * sameSite,
				y: y(first.latitude) + (Math.floor(i / 4) - (Math.ceil(list.length / 4) - 1) / 2) * sameSite,
			}),
		);
	}
	return out;
}

/** The shape of a fit around a middle, so that it reads without its colour. */
export function FitShape({ fit, x, y, r }: { fit: Fit; x: number; y: number; r: number }) {
	const cls = `fit ${fit}`;
	switch (fit) {
		case "ready":
			return (
				<g class={cls}>
					<rect class="full" x={x - r} y={y - r} width={2 * r} height={2 * r} />
					<path class="cut" d={`M${x - r * 0.6} ${y} l${r * 0.45} ${r * 0.45} l${r * 0.8} ${-r * 0.95}`} />
				</g>
			);
		case "with-parts":
			return (
				<g class={cls}>
					<rect x={x - r} y={y - r} width={2 * r} height={2 * r} />
					<path d={`M${x - r * 0.55} ${y} h${r * 1.1} M${x} ${y - r * 0.55} v${r * 1.1}`} />
				</g>
			);
		case "with-update":
			return (
				<g class={cls}>
					<path
						d={`M${x} ${y - r * 1.15} L${x + r * 1.15} ${y + r * 0.9} H${x - r * 1.15} Z M${x} ${y + r * 0.5} v${-r * 0.8}`}
					/>
				</g>
			);
		case "look-first":
			return (
				<g class={cls}>
					<circle cx={x} cy={y} r={r} />
				</g>
			);
		case "cannot":
			return (
				<g class={cls}>
					<path
						d={`M${x} ${y - r * 1.2} L${x + r * 1.2} ${y} L${x} ${y + r * 1.2} L${x - r * 1.2} ${y} Z M${x - r * 1.4} ${y} h${r * 2.8}`}
					/>
				</g>
			);
	}
}

export function FitMark({ fit, word }: { fit: Fit; word?: string | null }) {
	return (
		<span class={`stand fit-${fit}`}>
			<svg class="mark" viewBox="0 0 20 20" aria-hidden="true" focusable="false">
				<FitShape fit={fit} x={10} y={10} r={6.5} />
			</svg>
			{word === null ? <span class="unseen">{fitWords[fit]}</span> : (word ?? fitWords[fit])}
		</span>
	);
}

export interface Spot {
	id: string;
	latitude: number;
	longitude: number;
	fit: Fit;
	text: string;
}
export interface Way {
	id: string;
	dash: number;
	lit: boolean;
	along: { latitude: number; longitude: number }[];
}

const kmInDegree = 111.195; // of latitude, for the mean radius 6371.0088 km
const dashes = ["", "8 4", "2 4", "12 4 2 4", "4 4", "16 6"];
export const dashOf = (n: number) => dashes[n % dashes.length] ?? "";

const degrees = (v: number, plus: string, minus: string, places: number) =>
	`${Math.abs(v).toFixed(places)}° ${v < 0 ? minus : plus}`;

export function PlainMap(p: {
	spots: Spot[];
	homes: Home[];
	ways?: Way[];
	chosen: string | null;
	onChoose: (id: string) => void;
	label: string;
}) {
	const { ref, width } = useWidth();
	const svg = useRef<SVGSVGElement>(null);
	const all = [...p.spots, ...p.homes];
	if (!all.length) {
		// in the div that is measured: machines may come later, and a drawing of the first width would be blown up then
		return (
			<div ref={ref}>
				<p class="quiet">None of these machines has coordinates.</p>
			</div>
		);
	}
	const lats = all.map((s) => s.latitude);
	const lons = all.map((s) => s.longitude);
	const south = Math.min(...lats);
	const north = Math.max(...lats);
	const west = Math.min(...lons);
	const east = Math.max(...lons);
	const squeeze = Math.max(0.05, Math.cos(((south + north) / 2) * (Math.PI / 180)));
	const pad = 36;
	const most = width < 480 ? 420 : 560;
	const tall = Math.max(north - south, 1e-4);
	const wide = Math.max((east - west) * squeeze, 1e-4);
	const scale = Math.min((width - 2 * pad) / wide, (most - 2 * pad) / tall); // points in a degree of latitude
	const height = Math.max(240, Math.round(tall * scale + 2 * pad)) + 24;
	const x0 = (width - wide * scale) / 2;
	const y0 = (height - 24 + tall * scale) / 2;
	const x = (lon: number) => x0 + (lon - west) * squeeze * scale;
	const y = (lat: number) => y0 - (lat - south) * scale;
	const lines = (least: number, size: number, per: number, about: number) =>
		stepsOf(least, least + size / per, about);
	const lonLines = lines(west - x0 / (squeeze * scale), width, squeeze * scale, Math.max(2, width / 140));
	const latLines = lines(south - (height - y0) / scale, height, scale, Math.max(2, height / 140));
	const places = Math.max(0, Math.min(4, -Math.floor(Math.log10((lonLines[1] ?? 1) - (lonLines[0] ?? 0) || 1))));
	const km = [...stepsOf(0, (width / 3 / scale) * kmInDegree, 1), 0].find((n) => n > 0) ?? 1;
	const bar = (km / kmInDegree) * scale;
	const placed = apart(p.spots, x, y);
	const px = (s: Spot) => placed.get(s.id)?.x ?? x(s.longitude);
	const py = (s: Spot) => placed.get(s.id)?.y ?? y(s.latitude);
	const at = p.spots.findIndex((s) => s.id === p.chosen);

	/** The next machine that way: near, and not far off the direction. */
	const next = (dx: number, dy: number) => {
		const from = p.spots[at] ?? p.spots[0];
		if (!from) {
			return;
		}
		let best: Spot | null = null;
		let least = Infinity;
		for (const s of p.spots) {
			const ax = px(s) - px(from);
			const ay = py(s) - py(from);
			const ahead = ax * dx + ay * dy;
			const aside = Math.abs(ax * dy) + Math.abs(ay * dx);
			if (s.id !== from.id && ahead > 0 && aside <= ahead * 2 && ahead + 2 * aside < least) {
				least = ahead + 2 * aside;
				best = s;
			}
		}
		if (best) {
			p.onChoose(best.id);
			const id = best.id;
			requestAnimationFrame(() =>
				svg.current?.querySelector<SVGElement>(`[data-id="${CSS.escape(id)}"]`)?.focus(),
			);
		}
	};
	const keys = (e: KeyboardEvent) => {
		const ways: Record<string, [number, number]> = {
			ArrowLeft: [-1, 0],
			ArrowRight: [1, 0],
			ArrowUp: [0, -1],
			ArrowDown: [0, 1],
		};
		const way = ways[e.key];
		if (way) {
			e.preventDefault();
			next(...way);
		}
	};
	const chosen = p.spots[at];
	const ordered = chosen ? [...p.spots.filter((s) => s !== chosen), chosen] : p.spots;
	return (
		<div ref={ref}>
			<svg
				class="drawing map"
				ref={svg}
				viewBox={`0 0 ${width} ${height}`}
				role="group"
				aria-label={p.label}
				onKeyDown={keys}
			>
				<rect class="paper" x="0.5" y="0.5" width={width - 1} height={height - 1} stroke="none" />
				<g aria-hidden="true">
					{lonLines.map((v) => (
						<g key={v}>
							<path class="hair" d={`M${x(v)} 0 V${height}`} />
							<text class="soft" x={x(v) + 4} y="14">
								{degrees(v, "E", "W", places)}
							</text>
						</g>
					))}
					{latLines.map((v) => (
						<g key={v}>
							<path class="hair" d={`M0 ${y(v)} H${width}`} />
							{y(v) > 32 && y(v) < height - 32 && (
								<text class="soft" x={width - 4} y={y(v) - 4} text-anchor="end">
									{degrees(v, "N", "S", places)}
								</text>
							)}
						</g>
					))}
					{(p.ways ?? []).map((w) => (
						<path
							key={w.id}
							class={w.lit ? "way lit-way" : "way"}
							stroke-dasharray={dashOf(w.dash)}
							d={w.along
								.map(
									(c, i) =>
										`${i ? "L" : "M"}${x(c.longitude).toFixed(1)} ${y(c.latitude).toFixed(1)}`,
								)
								.join(" ")}
						/>
					))}
					{p.homes.map((h) => (
						<g key={h.name}>
							<path
								class="home"
								d={`M${x(h.longitude) - 8} ${y(h.latitude) + 8} v-9 l8 -8 l8 8 v9 Z`}
							/>
							<text
								class="halo bold"
								x={x(h.longitude) + (x(h.longitude) > width - 120 ? -13 : 13)}
								y={y(h.latitude) + 6}
								text-anchor={x(h.longitude) > width - 120 ? "end" : "start"}
							>
								{h.name}
							</text>
						</g>
					))}
					<path class="scale" d={`M12 ${height - 20} v8 h${bar} v-8`} />
					<text class="halo" x={20 + bar} y={height - 12}>
						{km} km
					</text>
				</g>
				{ordered.map((s) => (
					<g
						key={s.id}
						role="button"
						aria-pressed={s.id === p.chosen}
						aria-label={s.text}
						data-id={s.id}
						class="spot"
						tabindex={s.id === (chosen ?? p.spots[0])?.id ? 0 : -1}
						onClick={() => p.onChoose(s.id)}
						onKeyDown={(e) => {
							if (e.key === "Enter" || e.key === " ") {
								e.preventDefault();
								p.onChoose(s.id);
							}
						}}
					>
						<circle class="hit" cx={px(s)} cy={py(s)} r="14" />
						{s.id === p.chosen && <circle class="ringed" cx={px(s)} cy={py(s)} r="13" />}
						<FitShape fit={s.fit} x={px(s)} y={py(s)} r={s.id === p.chosen ? 7 : 5} />
					</g>
				))}
				{chosen && (
					<text
						class="halo bold"
						aria-hidden="true"
						x={px(chosen) + (px(chosen) > width - 120 ? -18 : 18)}
						y={py(chosen) + 5}
						text-anchor={px(chosen) > width - 120 ? "end" : "start"}
					>
						{chosen.id}
					</text>
				)}
			</svg>
		</div>
	);
}

/** Tabs of the office that are links: each is a page. */
export function OfficeWays({ at, beside }: { at: "fleet" | "plan" | "watch"; beside?: ComponentChildren }) {
	const links: ["fleet" | "plan" | "watch", string][] = [
		["fleet", "Fleet"],
		["plan", "Days"],
		["watch", "Watch"],
	];
	return (
		<>
			<nav class="ways" aria-label="Office">
				{links.map(([id, text]) => (
					<a key={id} href={`#/${id}`} aria-current={id === at ? "page" : undefined}>
						{text}
					</a>
				))}
			</nav>
			{beside}
		</>
	);
}
