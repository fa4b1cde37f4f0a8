// SPDX-License-Identifier: Apache-2.0
// Reading the machine: pick a port, watch the blocks come, keep the audit with the visit.
import { useEffect, useState } from "preact/hooks";
import { ask, getText, post, visitPath } from "../api";
import type { Job, JobDoc, JobsDoc, Machine, MachineDoc, MachinesDoc, PortsDoc, VisitDoc } from "../documents";
import { listen, stale, useDoc } from "../live";
import { Choose, Do, Entry, Field, Findings, Leaf, visitUp, Waiting, When } from "../parts";
import { nextStep } from "../path";
import { to, type Place } from "../route";
import { count, number, size } from "../words";

interface Wish {
	port: string;
	link: string;
	baud: string;
	turn_round: string;
	security: string;
}

function machineTitle(m: Machine): string {
	return `${m.machine?.asset ?? m.machine?.serial ?? "machine"}, ${m.machine?.name ?? m.machine?.dialect ?? "practice"}`;
}

function PortRow(p: { path: string; title: string; about: string; picked: boolean; pick: () => void }) {
	return (
		<li class="tick">
			<input type="radio" name="port" id={`port-${p.path}`} checked={p.picked} onChange={p.pick} />
			<label for={`port-${p.path}`}>
				<span>
					<b>{p.title}</b>
					<br />
					<span class="quiet small">{p.about}</span>
				</span>
			</label>
		</li>
	);
}

function Ports({ wish, set }: { wish: Wish; set: (w: Partial<Wish>) => void }) {
	const ports = useDoc<PortsDoc>("/api/ports");
	const practice = useDoc<MachinesDoc>("/api/practice");
	const running = (practice.doc?.machines ?? []).filter((m) => m.state === "running" && m.ports);
	return (
		<fieldset>
			<legend class="unseen">Port</legend>
			<Waiting read={ports} what="the ports" />
			<ul class="rows">
				{ports.doc?.ports.map((p) => (
					<PortRow
						key={p.path}
						path={p.path}
						title={p.description ?? "Serial port"}
						picked={wish.port === p.path}
						about={[p.path, p.kind === "native" ? "built in" : p.kind === "usb" ? "USB" : p.kind, p.serial].filter(Boolean).join(", ")}
						pick={() => set({ port: p.path, link: "auto" })}
					/>
				))}
				{running.map((m) => (
					<>
						<PortRow
							key={`${m.id}-dex`}
							path={m.ports?.dex ?? ""}
							title={`Practice machine ${machineTitle(m)}`}
							about="DEX/UCS port"
							picked={wish.port === m.ports?.dex}
							pick={() => set({ port: m.ports?.dex ?? "", link: "dex" })}
						/>
						<PortRow
							key={`${m.id}-ddcmp`}
							path={m.ports?.ddcmp ?? ""}
							title={`Practice machine ${machineTitle(m)}`}
							about="DDCMP port"
							picked={wish.port === m.ports?.ddcmp}
							pick={() => set({ port: m.ports?.ddcmp ?? "", link: "ddcmp" })}
						/>
					</>
				))}
			</ul>
			{ports.doc && !ports.doc.ports.length && !running.length && (
				<p class="quiet">No serial port is plugged in and no practice machine runs.</p>
			)}
			<div class="buttons">
				<Do
					verb="Look again"
					plain
					act={async () => {
						stale((p) => p === "/api/ports" || p === "/api/practice");
					}}
				/>
				<Do
					verb="Start a practice machine"
					doing="Starting it"
					act={async () => {
						const d = await post<MachineDoc>("/api/practice", { machine: "snack" });
						stale((p) => p === "/api/practice");
						set({ port: d.machine.ports?.dex ?? "", link: "dex" });
					}}
				/>
			</div>
		</fieldset>
	);
}

/** Every block a box on the line; those that were asked for again are dashed. */
function Blocks({ blocks, again }: { blocks: number; again: number }) {
	const most = 240;
	const drawn = Math.min(blocks, most);
	return (
		<div class="blocks" aria-hidden="true">
			{Array.from({ length: drawn }, (_, i) => (
				<i key={i} />
			))}
			{Array.from({ length: Math.min(again, 40) }, (_, i) => (
				<i key={`a${i}`} class="again" />
			))}
		</div>
	);
}

function linkWords(link: string | null | undefined): string {
	return link === "dex" ? "DEX/UCS" : link === "ddcmp" ? "DDCMP" : "not known yet";
}

function Trace({ job }: { job: Job }) {
	const [text, set] = useState<string | null>(null);
	return (
		<details
			onToggle={(e) => {
				if (e.currentTarget.open) {
					void getText(`/api/jobs/${job.id}/trace`).then(set, (x: Error) => set(x.message));
				}
			}}
		>
			<summary>Every byte that passed</summary>
			{text === null ? (
				<p class="quiet">
					Reading the trace <span class="working" />
				</p>
			) : (
				<pre class="trace" tabIndex={0} aria-label="Trace of the port">
					{text.slice(0, 200000)}
				</pre>
			)}
		</details>
	);
}

function Progress({ job }: { job: Job }) {
	const p = job.progress;
	const running = job.state === "running";
	const words = running
		? p?.phase === "reading"
			? "The machine is sending"
			: "Calling the machine"
		: job.state === "done"
			? "Read whole and checked"
			: job.state === "stopped"
				? "Stopped"
				: "Not read";
	return (
		<div class="column">
			<p role="status">
				<b>{words}</b> {running && <span class="working" />}
			</p>
			<Blocks
				blocks={p?.blocks ?? job.document?.blocks ?? 0}
				again={p?.retries ?? job.document?.retries ?? 0}
			/>
			<dl class="facts">
				<dt>Link</dt>
				<dd>
					{linkWords(p?.link ?? job.document?.link)}
					{p?.baud ? `, ${number(p.baud)} bits a second` : ""}
				</dd>
				<dt>So far</dt>
				<dd>
					{size(p?.bytes ?? 0)} in {count(p?.blocks ?? 0, "block")}
				</dd>
				<dt>Sent again</dt>
				<dd>{count(p?.retries ?? 0, "block")}</dd>
				<dt>Time</dt>
				<dd>{p?.seconds !== null && p?.seconds !== undefined ? `${p.seconds.toFixed(1)} s` : "–"}</dd>
			</dl>
			{job.error && (
				<p class="complaint" role="alert">
					{job.error}
				</p>
			)}
			{running && <Do verb="Stop reading" act={() => ask("DELETE", `/api/jobs/${job.id}`)} />}
		</div>
	);
}

function Outcome({ job, doc }: { job: Job; doc: VisitDoc | null }) {
	const step = doc ? nextStep(doc) : null;
	return (
		<div class="column">
			{job.filed !== null && (
				<p>
					Filed with the visit as{" "}
					{doc?.visit.evidence.find((e) => e.number === job.filed)?.name ?? `piece ${job.filed}`}.
				</p>
			)}
			{job.document && <Findings list={job.document.findings} />}
			<div class="buttons">
				{doc && job.state === "done" && (
					<a class="button" href={to(["visit", doc.visit.id, "audit"])}>
						Look at the audit
					</a>
				)}
				{doc && step && step.href !== to(["visit", doc.visit.id, "read"]) && job.state === "done" && (
					<a class="button first" href={step.href}>
						{step.verb}
					</a>
				)}
			</div>
		</div>
	);
}

const figures = [
	["baud", "Bits a second", "Empty: as the link begins", "numeric"],
	["turn_round", "Silence before an answer, ms", "Empty: 10", "numeric"],
	["security", "Security code", "DDCMP, four digits 0–9 A–F", "text"],
] as const;

function Settings({ wish, set }: { wish: Wish; set: (w: Partial<Wish>) => void }) {
	return (
		<details>
			<summary>Settings of the line</summary>
			<div class="fields two">
				<Field label="Another port, by its path" value={wish.port} onText={(port) => set({ port })} />
				<Choose
					label="Link"
					value={wish.link}
					onPick={(link) => set({ link })}
					options={[
						{ value: "auto", text: "Find out" },
						{ value: "dex", text: "DEX/UCS" },
						{ value: "ddcmp", text: "DDCMP" },
					]}
				/>
				{figures.map(([name, label, hint, mode]) => (
					<Field
						key={name}
						label={label}
						value={wish[name]}
						onText={(text) => set({ [name]: text })}
						mode={mode}
						hint={hint}
					/>
				))}
			</div>
		</details>
	);
}

export function ReadPage({ id, place }: { id: string; place: Place }) {
	const read = useDoc<VisitDoc>(visitPath(id));
	const jobs = useDoc<JobsDoc>("/api/jobs");
	const [wish, setWish] = useState<Wish>({
		port: place.params.get("port") ?? "",
		link: "auto",
		baud: "",
		turn_round: "",
		security: "",
	});
	const [job, setJob] = useState<Job | null>(null);
	const set = (w: Partial<Wish>) => setWish((old) => ({ ...old, ...w }));
	useEffect(
		() =>
			listen("job", (j) =>
				setJob((now) => (now ? (String(now.id) === String(j.id) ? j : now) : j.visit === id ? j : now)),
			),
		[id],
	);
	useEffect(() => {
		const mine = jobs.doc?.jobs.filter((j) => j.visit === id && j.state === "running");
		setJob((now) => now ?? mine?.[mine.length - 1] ?? null);
	}, [jobs.doc]);
	const begin = async () => {
		const number = (t: string) => (t.trim() === "" ? undefined : Number(t));
		const d = await post<JobDoc>("/api/reads", {
			port: wish.port,
			link: wish.link,
			baud: number(wish.baud),
			turn_round: number(wish.turn_round),
			security: wish.security || undefined,
			visit: read.doc?.visit.closed ? undefined : id,
		});
		setJob(d.job);
	};
	const busy = job?.state === "running";
	return (
		<Leaf
			title="Read the machine"
			up={visitUp(read.doc?.visit ?? null, id)}
			lead="Plug into the data port. Nothing of the mains has to be opened for this."
		>
			<Entry title="Port">
				<Ports wish={wish} set={set} />
				<Settings wish={wish} set={set} />
			</Entry>
			<Entry title="Progress">
				{job ? <Progress job={job} /> : <p class="quiet">Nothing is being read.</p>}
				{job && !busy && <Outcome job={job} doc={read.doc} />}
				{job && !busy && <Trace job={job} />}
			</Entry>
			<Earlier visit={read.doc} />
			<div class="next">
				<Do
					verb={job && !busy ? "Read again" : "Read the audit"}
					doing="Reading"
					first
					disabled={wish.port === "" || busy}
					act={begin}
				/>
			</div>
		</Leaf>
	);
}

function Earlier({ visit }: { visit: VisitDoc | null }) {
	const audits = (visit?.visit.evidence ?? []).filter((e) => e.kind === "audit");
	return (
		<Entry title="Read so far">
			{audits.length ? (
				<ul class="rows">
					{audits.map((e) => (
						<li key={e.number}>
							<a
								class="row"
								href={to(["visit", visit?.visit.id ?? "", "audit"], { after: e.number })}
							>
								<span>
									<b>{e.name}</b> <span class="quiet">{e.stage}</span>
								</span>
								<span class="quiet small end">
									{size(e.bytes)}, <When iso={e.added} />
								</span>
							</a>
						</li>
					))}
				</ul>
			) : (
				<p class="quiet">No audit yet.</p>
			)}
		</Entry>
	);
}
