// SPDX-License-Identifier: Apache-2.0
// Practise: a made-up machine with a fault that is not told, a real visit to it, and then the answer.
import { useEffect, useState } from "preact/hooks";
import { ask, post, visitPath } from "../api";
import type {
	AuditDoc,
	ChoicesDoc,
	Machine,
	MachineDoc,
	MachinesDoc,
	PracticeEvent,
	VisitDoc,
	VisitsDoc,
} from "../documents";
import { draftKey, useDraftOf } from "../draft";
import { listen, put, stale, useDoc } from "../live";
import { Standing } from "../marks";
import { Choose, Do, Entry, Field, Leaf, ownName, Waiting, When } from "../parts";
import { go, to } from "../route";
import { count, lasting, sentence } from "../words";
import { coinsFor } from "./sales";

export function machineName(m: Machine): string {
	return m.machine?.asset ?? m.machine?.serial ?? `machine ${m.id}`;
}

export function PractisePage() {
	const choices = useDoc<ChoicesDoc>("/api/practice/choices");
	const list = useDoc<MachinesDoc>("/api/practice");
	const form = useDraftOf<{ machine: string; fault: string }>("practise.new", {
		machine: "snack",
		fault: "hidden",
	});
	const f = form.value;
	const start = async () => {
		const body =
			f.fault === "hidden"
				? { machine: f.machine, hidden: true }
				: f.fault === "none"
					? { machine: f.machine }
					: { machine: f.machine, faults: [f.fault] };
		const d = await post<MachineDoc>("/api/practice", { ...body, pace: "fast" });
		stale((p) => p === "/api/practice");
		go(to(["practise", d.machine.id]));
	};
	const running = (list.doc?.machines ?? []).filter((m) => m.state === "running");
	return (
		<Leaf title="Practise" lead="A made-up machine on this computer: nothing real can be broken.">
			<Entry title="A new machine">
				<Waiting read={choices} what="the machines" />
				{choices.doc && (
					<div class="fields">
						<Choose
							label="Machine"
							value={f.machine}
							onPick={(machine) => form.change({ machine })}
							options={choices.doc.machines.map((m) => ({ value: m.name, text: m.title }))}
						/>
						<Choose
							label="Fault"
							value={f.fault}
							onPick={(fault) => form.change({ fault })}
							options={[
								{ value: "hidden", text: "one that is not told" },
								{ value: "none", text: "none" },
								...choices.doc.faults.map((x) => ({
									value: x.name,
									text: x.name.replace(/-/g, " "),
								})),
							]}
						/>
						<Do verb="Start the machine" doing="Starting it" first act={start} />
					</div>
				)}
			</Entry>
			<Entry title="Running">
				{running.length ? (
					<ul class="rows">
						{running.map((m) => (
							<li key={m.id}>
								<a class="row" href={to(["practise", m.id])}>
									<span>
										<b>{machineName(m)}</b> {m.machine?.name}
										<br />
										<span class="quiet small">
											{m.hidden && !m.faults
												? "with a fault that is not told"
												: m.faults?.length
													? m.faults.join(", ")
													: "without a fault"}
										</span>
									</span>
									<span class="end quiet small">
										<When iso={m.started} />
									</span>
								</a>
							</li>
						))}
					</ul>
				) : (
					<p class="quiet">No machine runs.</p>
				)}
			</Entry>
		</Leaf>
	);
}

// ---- one machine ----

/** The machine's events as they come. */
function useEvents(m: Machine | null): PracticeEvent[] {
	const [more, set] = useState<PracticeEvent[]>([]);
	useEffect(() => set([]), [m]);
	useEffect(
		() =>
			listen("practice", (id, e) => {
				if (e && m && String(id) === String(m.id)) {
					set((old) => [...old, e].slice(-200));
				}
			}),
		[m],
	);
	return [...(m?.events ?? []), ...more].slice(-200);
}

function Hands({ m, audit }: { m: Machine; audit: AuditDoc | null }) {
	const form = useDraftOf<{ selection: string; price: string; line: string }>(
		draftKey("practise", String(m.id), "hands"),
		{ selection: "", price: "", line: "" },
	);
	const f = form.value;
	const say = (line: string) => post(`/api/practice/${m.id}/lines`, { line });
	const price = audit?.selections.find((s) => s.id === f.selection.trim())?.price ?? null;
	const selection = f.selection.trim();
	const minor = /^\d+$/.test(f.price.trim()) ? f.price.trim() : null;
	return (
		<div class="column">
			<div class="fields two">
				<Field
					label="Selection"
					value={f.selection}
					onText={(s) => form.change({ selection: s })}
					mode="numeric"
				/>
			</div>
			<div class="buttons">
				<Do
					verb="Sell for coins"
					disabled={!selection}
					act={() => say(`sell ${selection} coins ${coinsFor(price ?? 200).join(" ")}`)}
				/>
				<Do verb="Sell for a bill" disabled={!selection} act={() => say(`sell ${selection} bill 500`)} />
				<Do verb="Sell by card" disabled={!selection} act={() => say(`sell ${selection} card`)} />
			</div>
			<div class="buttons">
				<Do verb="Open the door" act={() => say("door open")} />
				<Do verb="Close the door" act={() => say("door close")} />
				<Do verb="Power off" act={() => say("power off")} />
				<Do verb="Power on" act={() => say("power on")} />
			</div>
			<details>
				<summary>More that a hand can do</summary>
				<div class="fields two">
					<Field
						label="Price in the smallest coin"
						value={f.price}
						onText={(p) => form.change({ price: p })}
						mode="numeric"
						hint="Keys it in for the selection above"
					/>
					<Do
						verb="Key the price in"
						disabled={!selection || !minor}
						act={() => say(`price ${selection} ${minor}`)}
					/>
					<Field
						label="In the machine's own words"
						value={f.line}
						onText={(line) => form.change({ line })}
						hint="Such as: refill, wait 3600, clock now"
					/>
					<Do
						verb="Do that"
						disabled={f.line.trim() === ""}
						act={async () => {
							await say(f.line.trim());
							form.change({ line: "" });
						}}
					/>
				</div>
			</details>
		</div>
	);
}

function score(m: Machine, events: PracticeEvent[], wrong: number, reads: number): string {
	const minutes = (Date.now() - Date.parse(m.started)) / 1000;
	const sales = events.filter((e) => e.event === "sale").length;
	return `${count(reads, "read")}, ${count(sales, "sale")}, ${lasting(minutes)}, ${wrong ? count(wrong, "wrong guess", "wrong guesses") : "no wrong guess"}.`;
}

function Answer({
	m,
	choices,
	events,
	reads,
}: {
	m: Machine;
	choices: ChoicesDoc | null;
	events: PracticeEvent[];
	reads: number;
}) {
	const d = useDraftOf<{ guess: string; guesses: string[] }>(draftKey("practise", String(m.id), "answer"), {
		guess: "",
		guesses: [],
	});
	const told = m.faults;
	const reveal = async () => {
		await post(`/api/practice/${m.id}/reveal`);
		stale((p) => p.startsWith("/api/practice"));
	};
	const about = (fault: string) => choices?.faults.find((x) => x.name === fault.split(" ")[0])?.about;
	if (m.hidden && !told) {
		return (
			<div class="column">
				<p>Work the visit until you know. Then say what it is, and you are told.</p>
				<Choose
					label="The fault is"
					value={d.value.guess}
					onPick={(guess) => d.change({ guess })}
					options={[
						{ value: "", text: "not known yet" },
						...(choices?.faults ?? []).map((x) => ({ value: x.name, text: x.name.replace(/-/g, " ") })),
					]}
				/>
				{d.value.guess && <p class="quiet">{sentence(about(d.value.guess) ?? "")}</p>}
				<div class="buttons">
					<Do
						verb="That is it: tell me"
						disabled={!d.value.guess}
						first
						act={async () => {
							d.change({ guesses: [...d.value.guesses, d.value.guess] });
							await reveal();
						}}
					/>
					<Do verb="Tell me without a guess" plain act={reveal} />
				</div>
			</div>
		);
	}
	const last = d.value.guesses[d.value.guesses.length - 1];
	const right = last !== undefined && (told ?? []).some((f) => f.split(" ")[0] === last);
	return (
		<div class="column" aria-live="polite">
			<p>
				<b>
					{told?.length
						? `It was: ${told.map((t) => t.replace(/-/g, " ")).join(", ")}.`
						: "There was no fault."}
				</b>
			</p>
			{(told ?? []).map((t) => (
				<p key={t} class="quiet">
					{sentence(about(t) ?? "")}
				</p>
			))}
			{m.hidden && last !== undefined && (
				<p>
					<Standing
						stands={right ? "shown" : "contradicted"}
						word={right ? "found" : `not ${last.replace(/-/g, " ")}`}
					/>{" "}
					{score(m, events, d.value.guesses.length - (right ? 1 : 0), reads)}
				</p>
			)}
			{m.hidden && last === undefined && (
				<p class="quiet">Told without a guess. {score(m, events, 0, reads)}</p>
			)}
		</div>
	);
}

/** A visit at this machine: the open one of its asset, or a new one. */
function Visiting({ m, visit }: { m: Machine; visit: string | null }) {
	if (visit) {
		return (
			<a class="button first" href={to(["visit", visit])}>
				Go on with visit {visit}
			</a>
		);
	}
	return (
		<Do
			verb="Open a visit here"
			doing="Opening"
			first
			act={async () => {
				const d = await post<VisitDoc>("/api/visits", {
					asset: machineName(m),
					site: "practice bench",
					machine_serial: m.machine?.serial ?? undefined,
					by: ownName() || undefined,
					without: "temperature,antenna,supply",
				});
				put(visitPath(d.visit.id), d);
				stale((p) => p.startsWith("/api/visits?"));
				go(to(["visit", d.visit.id]));
			}}
		/>
	);
}

export function MachinePage({ id }: { id: string }) {
	const read = useDoc<MachineDoc>(`/api/practice/${id}`);
	const choices = useDoc<ChoicesDoc>("/api/practice/choices");
	const visits = useDoc<VisitsDoc>("/api/visits?judged=1");
	const m = read.doc?.machine ?? null;
	const events = useEvents(m);
	const own = m
		? visits.doc?.visits.find(
				(v) => v.asset === machineName(m) && !v.closed && v.opened >= m.started.slice(0, 16),
			)
		: undefined;
	const visit = useDoc<VisitDoc>(own ? visitPath(own.id) : null);
	const audits = (visit.doc?.visit.evidence ?? []).filter((e) => e.kind === "audit");
	const audit = useDoc<AuditDoc>(
		own && audits[0] ? `${visitPath(own.id)}/evidence/${audits[0].number}/explain` : null,
	);
	return (
		<Leaf
			title={m ? `Practice machine ${machineName(m)}` : "Practice machine"}
			up={{ href: to(["practise"]), text: "Practise" }}
			lead={m && [m.machine?.model, m.machine?.serial, m.machine?.location].filter(Boolean).join(", ")}
		>
			<Waiting read={read} what="the machine" />
			{m && (
				<>
					<Entry title="Visit">
						<div class="buttons">
							<Visiting m={m} visit={own?.id ?? null} />
							{own && m.ports && (
								<a class="button" href={to(["visit", own.id, "read"], { port: m.ports.dex })}>
									Read it
								</a>
							)}
						</div>
					</Entry>
					{m.state === "running" ? (
						<Entry title="At the machine">
							<Hands m={m} audit={audit.doc} />
						</Entry>
					) : (
						<Entry title="At the machine">
							<p>The machine has ended.</p>
						</Entry>
					)}
					<Entry title="What happened">
						{events.length === 0 && <p class="quiet">Nothing yet.</p>}
						<ol
							class="events"
							tabIndex={0}
							aria-live="polite"
							aria-label="What happened, the newest first"
						>
							{[...events]
								.reverse()
								.slice(0, 40)
								.map((e, i) => (
									<li key={events.length - i}>
										<span class="quiet small">{e.at?.slice(11, 16)}</span> {sentence(e.text)}
									</li>
								))}
						</ol>
					</Entry>
					<Entry title="The fault">
						<Answer m={m} choices={choices.doc} events={events} reads={audits.length} />
					</Entry>
					{m.state === "running" && (
						<Entry title="End">
							<Do
								verb="End this machine"
								act={async () => {
									await ask("DELETE", `/api/practice/${id}`);
									stale((p) => p.startsWith("/api/practice"));
									go(to(["practise"]));
								}}
							/>
						</Entry>
					)}
				</>
			)}
		</Leaf>
	);
}
