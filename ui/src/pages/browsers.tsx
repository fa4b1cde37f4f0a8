// SPDX-License-Identifier: Apache-2.0
// Which browsers may ask this bench; a code for one more; the page that a new one is met with.
import { useEffect, useState } from "preact/hooks";
import { ask, post } from "../api";
import type { BenchDoc, BrowsersDoc, CodeDoc } from "../documents";
import { put, stale, useDoc } from "../live";
import { Complaint, Do, Entry, Field, Leaf, Waiting, When } from "../parts";

export function PairPage({ refused }: { refused: string | null }) {
	const [code, setCode] = useState("");
	const [name, setName] = useState("");
	return (
		<Leaf title="Pair this browser" lead="The bench shows a code where it was started. It serves once.">
			<Entry title="Code">
				<Complaint text={refused} />
				<p class="quiet">
					A browser that is paired already makes one too: under Bench, “Show a code for one more”.
				</p>
				<div class="fields">
					<Field label="Code" value={code} onText={setCode} auto="one-time-code" />
					<Field
						label="What to call this browser"
						value={name}
						onText={setName}
						hint="Such as: phone of the van"
					/>
					<Do
						verb="Pair"
						first
						act={async () => {
							put(
								"/api/bench",
								await post<BenchDoc>("/api/pair", {
									code: code.trim(),
									name: name.trim() || "browser",
								}),
							);
							stale(() => true);
						}}
					/>
				</div>
			</Entry>
		</Leaf>
	);
}

function Pattern({ rows }: { rows: string[] }) {
	const path = rows
		.flatMap((row, y) => [...row].map((c, x) => (c === "1" ? `M${x + 4} ${y + 4}h1v1h-1z` : "")))
		.join("");
	const side = rows.length + 8;
	return (
		<svg
			viewBox={`0 0 ${side} ${side}`}
			width="240"
			height="240"
			role="img"
			aria-label="The address with the code, for a camera"
		>
			<rect width={side} height={side} fill="#fff" />
			<path d={path} fill="#000" />
		</svg>
	);
}

export function BrowsersPage() {
	const bench = useDoc<BenchDoc>("/api/bench");
	const list = useDoc<BrowsersDoc>("/api/browsers");
	const [code, setCode] = useState<{ doc: CodeDoc; before: number } | null>(null);
	const latest = Math.max(0, ...(list.doc?.browsers.map((b) => Number(b.id)) ?? []));
	const paired = code && list.doc?.browsers.find((b) => Number(b.id) > code.before);
	useEffect(() => {
		if (!code) {
			return undefined;
		}
		const left = new Date(code.doc.until).getTime() - Date.now();
		const timer = setTimeout(() => setCode(null), Math.max(0, left));
		return () => clearTimeout(timer);
	}, [code]);
	return (
		<Leaf title="This bench">
			<Entry title="Book">
				<Waiting read={bench} what="the bench" />
				{bench.doc && (
					<dl class="facts">
						<dt>Book</dt>
						<dd class="code">{bench.doc.book}</dd>
						<dt>Version</dt>
						<dd>{bench.doc.version}</dd>
						<dt>Reached by</dt>
						<dd>{bench.doc.loopback ? "this computer alone" : "paired browsers of this network"}</dd>
					</dl>
				)}
			</Entry>
			<Entry title="Browsers">
				<Waiting read={list} what="the list" />
				{list.doc && !list.doc.browsers.length && (
					<p class="quiet">No browser is paired. This computer needs no pairing.</p>
				)}
				<ul class="rows">
					{list.doc?.browsers.map((b) => (
						<li class="row" key={b.id}>
							<span>
								<b>{b.name}</b>
								{b.this ? ", this one" : ""}
								<br />
								<span class="quiet small">
									paired <When iso={b.paired} />
									{b.seen && (
										<>
											, last here <When iso={b.seen} />
										</>
									)}
								</span>
							</span>
							<Do
								verb={`Take it back from ${b.name}`}
								plain
								act={async () => {
									put("/api/browsers", await ask<BrowsersDoc>("DELETE", `/api/browsers/${b.id}`));
								}}
							/>
						</li>
					))}
				</ul>
				{bench.doc?.pairing && (
					<Do
						verb="Show a code for one more"
						act={async () => {
							setCode({ doc: await ask<CodeDoc>("POST", "/api/browsers/code"), before: latest });
						}}
					/>
				)}
				<p role="status">{paired ? `${paired.name} is paired; the code has served.` : ""}</p>
				{code && !paired && (
					<div class="column">
						<p>
							Code <b class="code">{code.doc.code}</b>, serves once, until{" "}
							<When iso={code.doc.until} />.
						</p>
						<Pattern rows={code.doc.qr} />
						<p class="code">{code.doc.url}</p>
					</div>
				)}
			</Entry>
		</Leaf>
	);
}
