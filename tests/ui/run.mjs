// SPDX-License-Identifier: Apache-2.0
// The pages in a real browser:  node tests/ui/run.mjs BUILD [CASE...]
// Prints a line a complaint and closes with "N passed, N failed". Snapshots lie in BUILD/snapshots.
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { check, openBrowser, require, tally } from "./hands.mjs";
import { drafts } from "./drafts.mjs";
import { everyPage } from "./every.mjs";
import { load } from "./load.mjs";
import { office } from "./office.mjs";
import { drill, pairing, photographs } from "./practise.mjs";
import { keyboard, together } from "./together.mjs";
import { refusals } from "./refusals.mjs";
import { visit } from "./visit.mjs";

const cases = { load, every: everyPage, drafts, together, keyboard, photographs, pairing, drill, visit, refusals, office };
const [build = "build", ...names] = process.argv.slice(2);
const program = resolve(build, "src/cli/fettle");

function missing() {
	if (!existsSync("/usr/bin/chromium")) {
		return "chromium is not installed";
	}
	try {
		require("playwright-core");
		return null;
	} catch {
		return "ui/node_modules is not there; tools/ui.sh fetches it";
	}
}

/** The pages as they stood when a case broke off. */
async function whatWasSeen(name) {
	const pages = browser.contexts().flatMap((c) => c.pages());
	for (const [i, page] of pages.entries()) {
		await page
			.screenshot({ path: join(resolve(build, "snapshots"), `failed-${name}-${i}.png`), fullPage: true })
			.catch(() => undefined);
		await page
			.context()
			.close()
			.catch(() => undefined);
	}
}

/** A case that hangs is a failure, not a wait. */
function within(seconds, work) {
	let timer;
	const late = new Promise((_, no) => {
		timer = setTimeout(() => no(new Error(`not done within ${seconds} s`)), seconds * 1000);
	});
	return Promise.race([work, late]).finally(() => clearTimeout(timer));
}

const lacks = missing();
if (lacks) {
	console.log(`ui: the tests in a browser are passed over: ${lacks}`);
	console.log("0 passed, 0 failed");
	process.exit(0);
}

const folder = mkdtempSync(join(tmpdir(), "fettle-ui-"));
const browser = await openBrowser();
try {
	for (const name of names.length ? names : Object.keys(cases)) {
		const begun = Date.now();
		try {
			await within(300, cases[name]({ browser, program, folder, snapshots: resolve(build, "snapshots") }));
		} catch (e) {
			check(name, false, String(e.stack ?? e).slice(0, 1500));
			await whatWasSeen(name);
		}
		console.log(`ui: ${name} in ${((Date.now() - begun) / 1000).toFixed(1)} s`);
	}
} finally {
	await browser.close();
	rmSync(folder, { recursive: true, force: true });
}
console.log(`${tally.passed} passed, ${tally.failed} failed`);
process.exit(tally.failed ? 1 : 0);
