// SPDX-License-Identifier: Apache-2.0
// The machine face, crossed selections, curves: drawn in the pages' own ink, so they turn with the paper.
import type { ComponentChildren } from "preact";
import { useLayoutEffect, useRef, useState } from "preact/hooks";
import type { Selection, SignalDoc, SupplyDoc } from "./documents";
import { dbm } from "./words";

/** The width there is, so that a drawing keeps its type at reading size on a phone and on a desk. */
export function useWidth(first = 320) {
	const ref = useRef<HTMLDivElement>(null);
	const [width, set] = useState(first);
	useLayoutEffect(() => {
		const el = ref.current;
		if (!el) {
			return undefined;
		}
		const seen = new ResizeObserver(() => set(Math.max(240, Math.floor(el.clientWidth))));
		seen.observe(el);
		set(Math.max(240, Math.floor(el.clientWidth)));
		return () => seen.disconnect();
	}, []);
	return { ref, width };
}

/** Trays as the numbers tell them: 11–19 stand on one tray, 21–29 on the next. */
export function traysOf(ids: string[]): string[][] {
	const trays = new Map<string, string[]>();
	for (const id of [...ids].sort((a, b) => a.localeCompare(b, "en", { numeric: true }))) {
		const key = id.length > 1 ? id.slice(0, -1) : "";
		trays.set(key, [...(trays.get(key) ?? []), id]);
	}
	return [...trays.values()];
}

export function Face({
	selections,
	cell,
}: {
	selections: Pick<Selection, "id" | "name">[];
	cell: (id: string) => ComponentChildren;
}) {
	const names = new Map(selections.map((s) => [s.id, s.name]));
	return (
		<ul class="face" aria-label="Machine face, tray by tray">
			{traysOf(selections.map((s) => s.id)).map((tray) => (
				<li key={tray[0]} style={{ maxWidth: "none" }}>
					<ul
						class="tray"
						tabIndex={tray.length > 4 ? 0 : undefined}
						aria-label={`Tray with ${tray[0]} to ${tray[tray.length - 1]}`}
					>
						{tray.map((id) => (
							<li class="cell" key={id}>
								<span class="id">{id}</span>
								{names.get(id) && <span class="what">{names.get(id)}</span>}
								{cell(id)}
							</li>
						))}
					</ul>
				</li>
			))}
		</ul>
	);
}

/** A story as a drawing: buttons on the left, the counters that moved on the right. Crossed ones cross. */
export function StoryDrawing({ kind, selections }: { kind: string; selections: string[] }) {
	const [a, b] = selections;
	if (!a || (!b && kind !== "not-counted" && kind !== "counted-twice" && kind !== "other-price")) {
		return null;
	}
	const rows = b ? [a, b] : [a];
	const y = (i: number) => 36 + i * 48;
	const height = 28 + rows.length * 48;
	const curve = (from: number, toRow: number, cls: string) => (
		<path class={cls} d={`M96 ${y(from)} C 160 ${y(from)}, 176 ${y(toRow)}, 232 ${y(toRow)}`} />
	);
	const crossed = kind === "crossed-selections";
	const says = crossed
		? `Button ${a} moves the counters of ${b}, button ${b} those of ${a}.`
		: b
			? `Button ${a} moves the counters of ${b}.`
			: `Button ${a}.`;
	return (
		<svg
			class="drawing"
			viewBox={`0 0 336 ${height}`}
			role="img"
			aria-label={says}
			style={{ maxWidth: "420px" }}
		>
			<text class="soft" x="8" y="14">
				sold at
			</text>
			<text class="soft" x="328" y="14" text-anchor="end">
				counted at
			</text>
			{rows.map((id, i) => (
				<g key={id}>
					<rect class="paper" x="8.5" y={y(i) - 16.5} width="88" height="33" />
					<text class="bold" x="52" y={y(i) + 5} text-anchor="middle">
						{id}
					</text>
					<rect class="paper" x="232.5" y={y(i) - 16.5} width="95" height="33" />
					<text class="bold" x="280" y={y(i) + 5} text-anchor="middle">
						{id}
					</text>
				</g>
			))}
			{crossed && (
				<>
					{curve(0, 1, "bad")}
					{curve(1, 0, "bad")}
				</>
			)}
			{kind === "counted-elsewhere" && (
				<>
					{curve(0, 1, "bad")}
					{curve(1, 1, "hair")}
				</>
			)}
			{!crossed && kind !== "counted-elsewhere" && kind !== "not-counted" && curve(0, 0, "bad")}
			{kind === "not-counted" && <path class="bad dash" d={`M96 ${y(0)} H 150`} />}
			{kind === "counted-twice" && (
				<path class="bad" d={`M96 ${y(0) - 6} C 160 ${y(0) - 14}, 176 ${y(0) - 14}, 232 ${y(0) - 6}`} />
			)}
		</svg>
	);
}

// ---- curves on squared paper ----

export interface Axis {
	from: number;
	to: number;
	ticks: { at: number; text: string }[];
}

/** Steps of 1, 2 or 5 that a person can count by. */
export function stepsOf(from: number, to: number, about: number): number[] {
	const raw = (to - from) / Math.max(1, about);
	if (!(raw > 0)) {
		return [from];
	}
	const ten = 10 ** Math.floor(Math.log10(raw));
	const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= raw) ?? ten * 10;
	const list: number[] = [];
	for (let i = Math.ceil(from / step - 1e-9); i * step <= to + step * 1e-6; i++) {
		list.push(Number((i * step).toPrecision(12)));
	}
	return list;
}

export interface Frame {
	x: (v: number) => number;
	y: (v: number) => number;
	left: number;
	right: number;
	width: number;
	height: number;
}

export function Squared(p: {
	x: (about: number) => Axis;
	y: Axis;
	label: string;
	unit: string;
	draw: (f: Frame) => ComponentChildren;
}) {
	const { ref, width } = useWidth();
	const height = width < 480 ? 240 : 320;
	const left = 44;
	const bottom = 32;
	const top = 24;
	const right = width - 8;
	const axis = p.x(Math.max(3, Math.floor(width / 80)));
	const x = (v: number) => left + ((v - axis.from) / (axis.to - axis.from || 1)) * (right - left);
	const y = (v: number) =>
		height - bottom - ((v - p.y.from) / (p.y.to - p.y.from || 1)) * (height - bottom - top);
	return (
		<div ref={ref}>
			<svg class="drawing" viewBox={`0 0 ${width} ${height}`} role="img" aria-label={p.label}>
				<rect
					class="paper"
					x={left}
					y={top}
					width={right - left}
					height={height - bottom - top}
					stroke="none"
				/>
				{axis.ticks.map((t) => (
					<g key={t.at}>
						<path class="hair" d={`M${x(t.at)} ${top} V${height - bottom}`} />
						<text class="soft" x={x(t.at)} y={height - 10} text-anchor="middle">
							{t.text}
						</text>
					</g>
				))}
				{p.y.ticks.map((t) => (
					<g key={t.at}>
						<path class="hair" d={`M${left} ${y(t.at)} H${right}`} />
						<text class="soft" x={left - 8} y={y(t.at) + 4} text-anchor="end">
							{t.text}
						</text>
					</g>
				))}
				<text class="soft" x={left - 8} y="14" text-anchor="end">
					{p.unit}
				</text>
				{p.draw({ x, y, left, right, width, height })}
			</svg>
		</div>
	);
}

// ---- levels of places, and the chain of the supply ----

export function Levels({ d }: { d: SignalDoc }) {
	const { ref, width } = useWidth();
	const places = d.positions.length
		? d.positions
		: [
				{
					name: d.position,
					samples: d.samples,
					margin_db: d.margin_db,
					share_above: d.share_above,
					level_dbm: d.level_dbm,
				},
			];
	const levels = places
		.flatMap((p) => [p.level_dbm.median, p.level_dbm.p10])
		.filter((v): v is number => v !== null)
		.concat(d.least_dbm ?? []);
	if (!levels.length) {
		return null;
	}
	const from = Math.floor((Math.min(...levels) - 6) / 10) * 10;
	const until = Math.ceil((Math.max(...levels) + 6) / 10) * 10;
	const x = (v: number) => 8 + ((v - from) / (until - from)) * (width - 16);
	const height = 56 + places.length * 56;
	return (
		<div ref={ref}>
			<svg
				class="drawing"
				viewBox={`0 0 ${width} ${height}`}
				role="img"
				aria-label={`Levels of ${places.length} places beside what the unit needs`}
			>
				{stepsOf(from, until, Math.max(2, Math.floor(width / 100))).map((n) => (
					<g key={n}>
						<path class="hair" d={`M${x(n)} 8 V${height - 24}`} />
						<text
							class="soft"
							x={x(n)}
							y={height - 6}
							text-anchor={n === from ? "start" : n === until ? "end" : "middle"}
						>
							{dbm(n)}
						</text>
					</g>
				))}
				{d.least_dbm !== null && (
					<>
						<path class="bad dash" d={`M${x(d.least_dbm)} 8 V${height - 24}`} />
						<text class="halo" x={x(d.least_dbm) + 6} y={height - 32}>
							needs {dbm(d.least_dbm)}
						</text>
					</>
				)}
				{places.map((p, i) => {
					const y = 44 + i * 56;
					return (
						<g key={p.name}>
							<text class="bold halo" x="8" y={y - 16}>
								{p.name ?? "everywhere"}
								{p.margin_db !== null ? `: ${p.margin_db.toFixed(1)} dB to spare` : ""}
							</text>
							{p.level_dbm.p10 !== null && p.level_dbm.median !== null && (
								<>
									<path
										d={`M${x(p.level_dbm.p10)} ${y} H${x(p.level_dbm.median)} M${x(p.level_dbm.p10)} ${y - 6} v12`}
										stroke-width="2"
									/>
									<circle class="filled" cx={x(p.level_dbm.median)} cy={y} r="5" />
								</>
							)}
						</g>
					);
				})}
			</svg>
		</div>
	);
}

/** The harness as a line with knots: volts over it, metres under it. */
export function ChainDrawing({ d, runs }: { d: SupplyDoc; runs: Record<string, string>[] }) {
	const n = d.devices.length;
	if (!n) {
		return null;
	}
	const step = 640 / Math.max(1, n - 1);
	const x = (i: number) => 40 + i * step;
	const volts = (v: number | null) => (v === null ? "collapses" : `${v.toFixed(1)} V`);
	return (
		<div class="scroll" tabIndex={0} role="group" aria-label="Chain of the supply">
			<svg
				class="drawing chain"
				viewBox="0 0 720 184"
				role="img"
				aria-label={d.devices.map((v) => `${v.name}: ${volts(v.peak)} at the worst peak`).join("; ")}
			>
				<path d={`M${x(0)} 96 H${x(n - 1)}`} stroke-width="2" />
				{d.devices.map((v, i) => {
					const low = v.peak === null || (v.least !== null && v.peak < v.least);
					const anchor = i === 0 ? "start" : i === n - 1 ? "end" : "middle";
					const tx = i === 0 ? 8 : i === n - 1 ? 712 : x(i);
					return (
						<g key={v.name}>
							<circle class="paper" cx={x(i)} cy="96" r="7" stroke-width="2" />
							<text x={tx} y="24" text-anchor={anchor} class="bold">
								{v.name}
							</text>
							<text x={tx} y="48" text-anchor={anchor}>
								{volts(v.continuous)}
							</text>
							<text x={tx} y="70" text-anchor={anchor} class={low ? "low" : ""}>
								{volts(v.peak)}
								{low ? ", too low" : " peak"}
							</text>
							{v.least !== null && (
								<text x={tx} y="162" text-anchor={anchor} class="soft">
									needs {v.least} V
								</text>
							)}
							{i > 0 && runs[i]?.["length"] && (
								<text x={x(i) - step / 2} y="122" text-anchor="middle" class="soft">
									{runs[i]["length"]} {runs[i]["gauge"]}
								</text>
							)}
						</g>
					);
				})}
			</svg>
		</div>
	);
}
