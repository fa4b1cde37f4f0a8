// SPDX-License-Identifier: Apache-2.0
// The bus: a timeline from minutes to bits, the peripherals with their answer times, findings that jump to their place.
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { visitPath } from "../api";
import {
	blocksOf,
	drawBus,
	firstFrom,
	inkOf,
	limitUs,
	nearest,
	wordsOf,
	type Blocks,
	type Pin,
	type View,
} from "../bus";
import type { BusDoc, BusPeripheral, Finding, TrafficDoc } from "../documents";
import { useDoc } from "../live";
import { FileEntry, MeasuredLeaf, Result, useEvidence } from "../measured";
import { Entry, FindingLine, Waiting } from "../parts";
import { count, money, number, span } from "../words";

const height = 264;
const least = 1500; // us in sight at the closest: some fifteen bits

interface Move {
	view: View;
	set: (v: View) => void;
	whole: View;
}

function bounded(v: View, whole: View): View {
	const length = Math.min(Math.max(v.until - v.from, least), whole.until - whole.from);
	const from = Math.min(Math.max(v.from, whole.from), whole.until - length);
	return { from, until: from + length };
}

/** `by` below 1 draws nearer; `at` is the place that stays, 0 to 1 across the paper. */
function zoomed({ view, whole }: Move, by: number, at = 0.5): View {
	const length = view.until - view.from;
	const next = Math.min(Math.max(length * by, least), whole.until - whole.from);
	const fixed = view.from + length * at;
	return bounded({ from: fixed - next * at, until: fixed + next * (1 - at) }, whole);
}

/** A step nearer that never ends in an empty stretch: the exchange next to the middle is brought into sight. */
function nearer(blocks: Blocks, m: Move): View {
	const v = zoomed(m, 0.25);
	const first = firstFrom(blocks, v.from);
	if (first < blocks.n && (blocks.from[first] as number) < v.until) {
		return v;
	}
	const length = v.until - v.from;
	const at = nearest(blocks, (v.from + v.until) / 2);
	return bounded({ from: at - length * 0.1, until: at + length * 0.9 }, m.whole);
}

const shifted = ({ view, whole }: Move, by: number): View => {
	const d = (view.until - view.from) * by;
	return bounded({ from: view.from + d, until: view.until + d }, whole);
};

function useHands(canvas: { current: HTMLCanvasElement | null }, move: { current: Move }) {
	useEffect(() => {
		const c = canvas.current;
		if (!c) {
			return undefined;
		}
		const fingers = new Map<number, number>();
		const across = (x: number) => (x - c.getBoundingClientRect().left) / c.clientWidth;
		const wheel = (e: WheelEvent) => {
			e.preventDefault();
			const m = move.current;
			m.set(
				Math.abs(e.deltaX) > Math.abs(e.deltaY)
					? shifted(m, e.deltaX / c.clientWidth)
					: zoomed(m, 2 ** (e.deltaY / 240), across(e.clientX)),
			);
		};
		const down = (e: PointerEvent) => {
			c.setPointerCapture(e.pointerId);
			fingers.set(e.pointerId, e.clientX);
		};
		const drag = (e: PointerEvent) => {
			const old = fingers.get(e.pointerId);
			if (old === undefined) {
				return;
			}
			const m = move.current;
			const other = [...fingers].find(([id]) => id !== e.pointerId)?.[1];
			fingers.set(e.pointerId, e.clientX);
			if (other === undefined) {
				m.set(shifted(m, (old - e.clientX) / c.clientWidth));
			} else if (Math.abs(e.clientX - other) > 8) {
				m.set(
					zoomed(m, Math.abs(old - other) / Math.abs(e.clientX - other), across((e.clientX + other) / 2)),
				);
			}
		};
		const up = (e: PointerEvent) => {
			fingers.delete(e.pointerId);
		};
		c.addEventListener("wheel", wheel, { passive: false });
		c.addEventListener("pointerdown", down);
		c.addEventListener("pointermove", drag);
		c.addEventListener("pointerup", up);
		c.addEventListener("pointercancel", up);
		return () => {
			c.removeEventListener("wheel", wheel);
			c.removeEventListener("pointerdown", down);
			c.removeEventListener("pointermove", drag);
			c.removeEventListener("pointerup", up);
			c.removeEventListener("pointercancel", up);
		};
	}, []);
}

/** Redraws when the paper turns dark or light, or is made wider. */
function useRedraw(): number {
	const [n, set] = useState(0);
	useEffect(() => {
		const f = () => set((k) => k + 1);
		const dark = matchMedia("(prefers-color-scheme: dark)");
		const seen = new MutationObserver(f);
		seen.observe(document.documentElement, { attributes: true, attributeFilter: ["data-paper"] });
		dark.addEventListener("change", f);
		addEventListener("resize", f);
		return () => {
			seen.disconnect();
			dark.removeEventListener("change", f);
			removeEventListener("resize", f);
		};
	}, []);
	return n;
}

function InSight({ blocks, view }: { blocks: Blocks; view: View }) {
	const first = firstFrom(blocks, view.from);
	const last = Math.min(firstFrom(blocks, view.until) + 1, blocks.n);
	if (last - first > 24) {
		return <p class="quiet small">{count(last - first, "exchange")} in sight. Draw nearer to read them.</p>;
	}
	return (
		<ul class="small" aria-label="Exchanges in sight">
			{Array.from({ length: Math.max(0, last - first) }, (_, k) => first + k).map((i) => (
				<li key={i}>
					{((blocks.from[i] as number) / 1e6).toFixed(4)} s: {wordsOf(blocks, i).means}
					{Number.isNaN(blocks.response[i])
						? ""
						: `, answered after ${span(blocks.response[i] as number)}`}
				</li>
			))}
		</ul>
	);
}

function Timeline({ blocks, doc, pins, move }: { blocks: Blocks; doc: BusDoc; pins: Pin[]; move: Move }) {
	const canvas = useRef<HTMLCanvasElement>(null);
	const held = useRef(move);
	held.current = move;
	const redraw = useRedraw();
	const { view } = move;
	useEffect(() => {
		const frame = requestAnimationFrame(() => {
			const c = canvas.current;
			const g = c?.getContext("2d");
			if (!c || !g) {
				return;
			}
			const dots = devicePixelRatio || 1;
			const width = c.clientWidth;
			if (c.width !== Math.round(width * dots) || c.height !== height * dots) {
				c.width = Math.round(width * dots);
				c.height = height * dots;
			}
			g.setTransform(dots, 0, 0, dots, 0, 0);
			drawBus(g, blocks, view, width, height, inkOf(c), pins);
		});
		return () => cancelAnimationFrame(frame);
	}, [view.from, view.until, blocks, redraw, pins.length]);
	useHands(canvas, held);
	const keys = (e: KeyboardEvent) => {
		const m = held.current;
		const to: Record<string, () => View> = {
			ArrowLeft: () => shifted(m, -0.2),
			ArrowRight: () => shifted(m, 0.2),
			"+": () => nearer(blocks, m),
			"=": () => nearer(blocks, m),
			"-": () => zoomed(m, 2),
			Home: () => bounded({ ...m.view, from: m.whole.from }, m.whole),
			"0": () => m.whole,
			ArrowUp: () => zoomed(m, 0.5),
			ArrowDown: () => zoomed(m, 2),
		};
		const f = to[e.key];
		if (f) {
			e.preventDefault();
			m.set(f());
		}
	};
	return (
		<>
			<canvas
				ref={canvas}
				class="squares"
				tabIndex={0}
				role="img"
				onKeyDown={keys}
				data-from={view.from}
				data-until={view.until}
				aria-label={`Bus from ${span(view.from)} to ${span(view.until)}, ${doc.exchanges} exchanges in all. Arrow keys move, plus and minus draw nearer and farther.`}
			/>
			<div class="buttons noprint">
				<button type="button" onClick={() => move.set(nearer(blocks, move))}>
					Nearer
				</button>
				<button type="button" onClick={() => move.set(zoomed(move, 4))}>
					Farther
				</button>
				<button type="button" onClick={() => move.set(shifted(move, -0.5))}>
					Earlier
				</button>
				<button type="button" onClick={() => move.set(shifted(move, 0.5))}>
					Later
				</button>
				<button type="button" onClick={() => move.set(move.whole)}>
					Whole
				</button>
			</div>
			<p class="quiet small" role="status">
				{span(view.until - view.from)} in sight, from {span(view.from)} on.
			</p>
			<InSight blocks={blocks} view={view} />
		</>
	);
}

/** Answer times on a scale of their own, the limit dashed. */
function Answers({ p }: { p: BusPeripheral }) {
	const r = p.response_us;
	if (!r) {
		return <span class="quiet">never answered</span>;
	}
	const most = Math.max(limitUs * 1.4, r.max * 1.1);
	const x = (v: number) => 4 + (v / most) * 192;
	return (
		<svg
			class="drawing answers"
			viewBox="0 0 200 36"
			role="img"
			aria-label={`Answers after ${span(r.min)} to ${span(r.max)}, median ${span(r.median)}; the limit is 5 ms`}
		>
			<path class="hair" d="M4 24 H196" />
			<path
				d={`M${x(r.min)} 24 H${x(r.max)} M${x(r.min)} 19 v10 M${x(r.max)} 19 v10`}
				class={r.max > limitUs ? "bad" : ""}
				stroke-width="1.5"
			/>
			<circle class="filled" cx={x(r.median)} cy="24" r="4" />
			<path class="dash" d={`M${x(limitUs)} 8 V32`} />
			<text class="soft" x={x(limitUs) + 4} y="14">
				5 ms
			</text>
		</svg>
	);
}

function trouble(p: BusPeripheral): string {
	const parts: [number | null, string][] = [
		[p.silent, "silent"],
		[p.late, "late"],
		[p.checksum_errors, "wrong checks"],
		[p.framing_errors, "framing errors"],
		[p.naks, "refusals"],
		[p.rets, "asked again"],
		[p.resets, "resets"],
		[p.unclosed, "not closed"],
	];
	return parts
		.filter(([n]) => n)
		.map(([n, w]) => `${n} ${w}`)
		.join(", ");
}

function Peripherals({ d }: { d: BusDoc }) {
	return (
		<ul class="peripherals">
			{d.peripherals.map((p) => (
				<li key={p.address}>
					<span>
						<b>{p.name}</b>
						<br />
						<span class="quiet small">
							address {p.address}H{p.state ? `, ${p.state}` : ""}
						</span>
					</span>
					{d.timing_known ? <Answers p={p} /> : <span class="quiet">its times are not known</span>}
					<span>
						answered {number(p.answered)} of {number(p.addressed)}
						<br />
						<span class={trouble(p) ? "contradicted" : "quiet small"}>
							{trouble(p) || "no trouble"}
						</span>
					</span>
				</li>
			))}
		</ul>
	);
}

function Sales({ d, jump }: { d: BusDoc; jump: (us: number) => void }) {
	if (!d.sales.length) {
		return <p class="quiet">No sale was made while it ran.</p>;
	}
	return (
		<ul class="rows">
			{d.sales.map((s, i) => (
				<li key={i}>
					<button type="button" class="plain" onClick={() => jump(s.at_us)}>
						{span(s.at_us)}: {s.selection ? `selection ${s.selection}` : "no selection told"}
						{s.price !== null ? `, ${money(s.price, d.decimals)}` : ""}, {s.paid_with},{" "}
						{s.outcome.replace("-", " ")}
					</button>
				</li>
			))}
		</ul>
	);
}

function Told({ list, jump }: { list: Finding[]; jump: (us: number) => void }) {
	if (!list.length) {
		return <p class="quiet">Nothing speaks against the bus.</p>;
	}
	return (
		<ul class="column">
			{list.map((f, i) => (
				<li key={i}>
					<FindingLine f={f} />
					{f.where.at_us !== null && (
						<button type="button" class="plain" onClick={() => jump(f.where.at_us as number)}>
							Go to its place, {span(f.where.at_us)}
						</button>
					)}
				</li>
			))}
		</ul>
	);
}

export function BusPage({ id }: { id: string }) {
	const e = useEvidence(id, "bus");
	const base = e.chosen ? `${visitPath(id)}/evidence/${e.chosen.number}` : null;
	const read = useDoc<TrafficDoc>(base && `${base}/bus?traffic=1`);
	const [view, setView] = useState<View | null>(null);
	const paper = useRef<HTMLDivElement>(null);
	const d = read.doc;
	const blocks = useMemo(() => d && blocksOf(d.traffic), [d]);
	const whole: View = {
		from: d?.from_us ?? 0,
		until: Math.max((d?.until_us ?? 1) + 1, (d?.from_us ?? 0) + least),
	};
	useEffect(() => setView(null), [base]);
	const move: Move = { view: view ?? whole, set: setView, whole };
	const jump = (us: number) => {
		setView(bounded({ from: us - 8000, until: us + 24000 }, whole));
		paper.current?.scrollIntoView({ block: "start" });
		paper.current?.querySelector<HTMLElement>("canvas")?.focus({ preventScroll: true });
	};
	const pins: Pin[] = [
		...(d?.findings ?? [])
			.filter((f) => f.where.at_us !== null)
			.map((f) => ({ at: f.where.at_us as number, text: f.rule, bad: f.weight === "fault" })),
		...(d?.sales ?? []).map((s) => ({ at: s.at_us, text: "sale", bad: false })),
	];
	return (
		<MeasuredLeaf title="Bus" lead="Every peripheral has 5 ms to begin its answer." of={e}>
			<FileEntry of={e} look="bus" title="Capture" label="Add a capture" accept=".vcd,.sr,.csv,.txt,.words,.gz" />
			{e.chosen && <Waiting read={read} what="the capture" />}
			{d && (
				<>
					<Entry title="Timeline">
						<Result stands={d.verdict} good="all answer in time" bad="something is wrong" />
						<div ref={paper}>
							{blocks && <Timeline blocks={blocks} doc={d} pins={pins} move={move} />}
						</div>
					</Entry>
					<Entry title="Findings">
						<Told list={d.findings} jump={jump} />
					</Entry>
					<Entry title="Peripherals">
						<Peripherals d={d} />
					</Entry>
					<Entry title="Sales">
						<Sales d={d} jump={jump} />
					</Entry>
				</>
			)}
		</MeasuredLeaf>
	);
}
