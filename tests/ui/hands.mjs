// SPDX-License-Identifier: Apache-2.0
// What the tests in a browser share: a bench on a free port with a book of its own, a browser, checks that are counted.
import { spawn } from "node:child_process";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { createInterface } from "node:readline";

const root = new URL("../../", import.meta.url).pathname;
export const require = createRequire(join(root, "ui", "package.json"));

export const sizes = { phone: { width: 360, height: 740 }, desk: { width: 1280, height: 800 } };
export const papers = ["light", "dark"];

export const tally = { passed: 0, failed: 0 };

export function check(what, holds, but = "") {
	if (holds) {
		tally.passed++;
	} else {
		tally.failed++;
		console.log(`FAILED: ${what}${but ? `: ${but}` : ""}`);
	}
	return holds;
}

/** A bench of its own: { url, port, stop, start } over one book. */
export class Bench {
	constructor(program, folder, name, more = []) {
		this.more = more;
		this.program = program;
		this.book = join(folder, `${name}.sqlite`);
		this.env = {
			...process.env,
			HOME: folder,
			XDG_CONFIG_HOME: folder,
			XDG_DATA_HOME: folder,
			FETTLE_BOOK: this.book,
		};
		this.port = 0;
	}

	async start() {
		const args = ["bench", "--port", String(this.port), "--book", this.book, "--json", ...this.more];
		this.child = spawn(this.program, args, {
			env: this.env,
			stdio: ["ignore", "pipe", "inherit"],
		});
		const lines = createInterface({ input: this.child.stdout });
		const first = await new Promise((yes, no) => {
			lines.once("line", yes);
			this.child.once("exit", (code) =>
				no(new Error(`the bench ended with ${code} before it said where it is`)),
			);
		});
		this.url = JSON.parse(first).url.replace(/\/$/, "");
		this.port = Number(new URL(this.url).port);
		return this;
	}

	/** As a dead battery would. */
	async kill(signal = "SIGKILL") {
		if (this.child.exitCode === null && this.child.signalCode === null) {
			const gone = new Promise((yes) => this.child.once("exit", yes));
			this.child.kill(signal);
			await gone;
		}
	}

	async ask(method, path, body) {
		const bytes = typeof body === "string" || body instanceof Uint8Array;
		const r = await fetch(this.url + path, {
			method,
			headers: { Origin: this.url, "Content-Type": bytes ? "application/octet-stream" : "application/json" },
			body: body === undefined ? undefined : bytes ? body : JSON.stringify(body),
		});
		const text = await r.text();
		if (!r.ok) {
			throw new Error(`${method} ${path}: ${r.status} ${text}`);
		}
		return JSON.parse(text);
	}

	run(...args) {
		return new Promise((yes, no) => {
			const child = spawn(this.program, args, { env: this.env, stdio: ["ignore", "pipe", "pipe"] });
			let out = "";
			let err = "";
			child.stdout.on("data", (d) => {
				out += d;
			});
			child.stderr.on("data", (d) => {
				err += d;
			});
			child.once("exit", (code) =>
				code === 0 || code === 1 ? yes(out) : no(new Error(`fettle ${args.join(" ")}: ${code}\n${err}`)),
			);
		});
	}
}

export async function openBrowser() {
	const { chromium } = require("playwright-core");
	return chromium.launch({
		executablePath: "/usr/bin/chromium",
		args: [
			"--no-sandbox",
			"--disable-gpu",
			"--disable-quic",
			"--no-first-run",
			"--disable-background-networking",
			"--disable-component-update",
			"--disable-sync",
		],
	});
}

/** A page that counts every complaint of the browser: an error of a script, a breach of the policy, a foreign address. */
export async function openPage(browser, bench, size, paper, more = {}) {
	const context = await browser.newContext({
		viewport: sizes[size],
		colorScheme: paper,
		hasTouch: size === "phone",
		reducedMotion: "reduce",
		...more,
	});
	const page = await context.newPage();
	page.setDefaultTimeout(10000);
	page.complaints = [];
	page.on("pageerror", (e) => page.complaints.push(e.message));
	page.on("console", (m) => {
		// A draft that is not there answers 404, and a bench that was killed answers nothing: both are as they must be.
		if (m.type() === "error" && !/Failed to load resource|net::ERR|EventSource/.test(m.text())) {
			page.complaints.push(m.text());
		}
	});
	page.on("request", (r) => {
		if (!r.url().startsWith(bench.url) && !r.url().startsWith("blob:")) {
			page.complaints.push(`asked ${r.url()}`);
		}
	});
	return page;
}

export async function go(page, bench, place) {
	await page.goto(`${bench.url}/#${place}`);
	await settled(page);
}

/** Nothing is being read any more. */
export async function settled(page) {
	await page.waitForSelector("h1");
	await page.waitForFunction(() => !document.querySelector("main .working"));
}

const axe = existsSync(join(root, "ui/node_modules/axe-core/axe.min.js"))
	? readFileSync(join(root, "ui/node_modules/axe-core/axe.min.js"), "utf8")
	: "";

/** The rules of WCAG 2.2 AA that a program can tell (`inkOnly`: those that another paper may change alone); run from outside, so that the policy of the pages stays as it is. */
export async function looksSound(page, name, inkOnly = false) {
	await page.evaluate(axe);
	const found = await page.evaluate(async (ink) => {
		const r = await globalThis.axe.run(document, {
			runOnly: ink
				? { type: "rule", values: ["color-contrast"] }
				: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
		});
		return r.violations.map(
			(v) =>
				`${v.id} (${v.help}): ${v.nodes
					.slice(0, 3)
					.map((n) => n.target.join(" "))
					.join("; ")}`,
		);
	}, inkOnly);
	check(`${name}: nothing that hinders anybody`, found.length === 0, found.join("\n    "));
	const wide = await page.evaluate(
		() => document.documentElement.scrollWidth - document.documentElement.clientWidth,
	);
	check(`${name}: as wide as the screen`, wide <= 0, `${wide} points too wide`);
	const small = await page.evaluate(() =>
		[
			...document.querySelectorAll(
				"button, a.button, summary, select, input:not([type=checkbox]):not([type=radio])",
			),
		]
			.filter(
				(e) => e.offsetParent !== null && e.getBoundingClientRect().height < 47.5 && !e.closest(".unseen"),
			)
			.map(
				(e) =>
					`${e.tagName} "${(e.textContent || e.id).slice(0, 30)}" ${Math.round(e.getBoundingClientRect().height)}`,
			),
	);
	check(`${name}: targets of 48 points`, small.length === 0, small.slice(0, 4).join(", "));
}

export async function snapshot(page, folder, name) {
	mkdirSync(folder, { recursive: true });
	await page.screenshot({ path: join(folder, `${name}.png`), fullPage: true });
}

export function noComplaints(page, name) {
	check(
		`${name}: the browser has nothing to complain of`,
		page.complaints.length === 0,
		page.complaints.slice(0, 3).join(" | "),
	);
	page.complaints.length = 0;
}

/** Every place on each size and paper: it says what it must, looks sound, complains of nothing, and its picture is kept.
 * `inkOnly` (paper): whether another paper has been looked at whole. */
export async function walk({ browser, bench, snapshots }, places, says, prefix = "", inkOnly = () => false) {
	for (const size of Object.keys(sizes)) {
		for (const paper of papers) {
			const page = await openPage(browser, bench, size, paper);
			for (const [name, place] of places) {
				await go(page, bench, place);
				const title = `${prefix}${name}, ${size}, ${paper}`;
				if (says[name]) {
					await page
						.waitForFunction(
							(re) => new RegExp(re).test(document.querySelector("main").innerText),
							says[name].source,
						)
						.then(
							() => check(title, true),
							() => check(`${title} says ${says[name]}`, false),
						);
				}
				await settled(page);
				await looksSound(page, title, inkOnly(paper));
				await snapshot(page, snapshots, `${prefix.replace(" ", "-")}${name}-${size}-${paper}`);
				noComplaints(page, title);
			}
			await page.context().close();
		}
	}
}
