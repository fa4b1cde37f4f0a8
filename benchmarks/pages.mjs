// SPDX-License-Identifier: Apache-2.0
// What the pages must hold, measured in the browser:  node benchmarks/pages.mjs BUILD
// First page cold, keys with 500 visits in the book, a ten-minute capture opened and zoomed, memory of the bench.
import { spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { Bench, go, openBrowser, openPage, settled } from "../tests/ui/hands.mjs";

const program = resolve(process.argv[2] ?? "build", "src/cli/fettle");
const folder = mkdtempSync(join(tmpdir(), "fettle-pages-"));
const middle = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];
const say = (what, figure, asked) => console.log(`${what.padEnd(52)} ${figure.padStart(12)}   asked: ${asked}`);

function capture(bench) {
	const lines = [
		"bus start ten.vcd",
		...Array.from({ length: 10 }, () => ["sell 21 card", "wait 60"]).flat(),
		"bus stop",
		"quit",
		"",
	];
	return new Promise((yes) => {
		const child = spawn(program, ["practice", "--pace", "fast"], {
			env: bench.env,
			cwd: folder,
			stdio: ["pipe", "ignore", "inherit"],
		});
		child.once("exit", yes);
		child.stdin.end(lines.join("\n"));
	});
}

/** From the first byte asked for to the page drawn; what starting a browser takes is not ours. */
async function firstPage(browser, bench) {
	const times = [];
	for (let i = 0; i < 5; i++) {
		const page = await openPage(browser, bench, "phone", "light");
		await page.goto(bench.url);
		await page.waitForSelector("h1");
		times.push(
			await page.evaluate(
				() =>
					new Promise((yes) => {
						const look = () => {
							const paint = performance.getEntriesByName("first-contentful-paint")[0];
							return paint ? yes(paint.startTime) : setTimeout(look, 20);
						};
						look();
					}),
			),
		);
		await page.context().close();
	}
	say("first page, cold", `${middle(times).toFixed(0)} ms`, "200 ms");
}

async function manyVisits(browser, bench) {
	const page = await openPage(browser, bench, "phone", "light");
	await go(page, bench, "/");
	await page.waitForSelector(".rows .row", { timeout: 120000 });
	const times = [];
	for (const key of "asset 4") {
		times.push(
			await page.evaluate(async (k) => {
				const i = document.querySelector("input[type=search]");
				const begun = performance.now();
				i.value += k;
				i.dispatchEvent(new InputEvent("input", { bubbles: true }));
				await new Promise((yes) => {
					setTimeout(yes, 61);
				});
				await new Promise(requestAnimationFrame);
				return performance.now() - begun - 61;
			}, key),
		);
	}
	say("a key in the search over 500 visits, beyond its 60 ms", `${middle(times).toFixed(0)} ms`, "100 ms");
	await page.context().close();
}

async function longCapture(browser, bench, id) {
	const page = await openPage(browser, bench, "desk", "light");
	await go(page, bench, `/visit/${id}`);
	const begun = Date.now();
	await page.evaluate((to) => {
		location.hash = to;
	}, `#/visit/${id}/bus`);
	await page.waitForSelector("canvas", { timeout: 60000 });
	say("a ten-minute capture is open", `${Date.now() - begun} ms`, "1 000 ms");
	await settled(page);
	const frames = await page.evaluate(async () => {
		const c = document.querySelector("canvas");
		const left = c.getBoundingClientRect().left + c.clientWidth * 0.3;
		const begun = performance.now();
		for (let i = 0; i < 60; i++) {
			c.dispatchEvent(
				new WheelEvent("wheel", { deltaY: i < 40 ? -40 : 40, clientX: left, cancelable: true }),
			);
			await new Promise(requestAnimationFrame);
		}
		return 60000 / (performance.now() - begun);
	});
	say("zooming it", `${frames.toFixed(0)} a second`, "30 a second");
	await page.context().close();
}

const browser = await openBrowser();
const bench = await new Bench(program, folder, "pages").start();
try {
	await firstPage(browser, bench);
	for (let i = 0; i < 500; i++) {
		await bench.ask("POST", "/api/visits", { asset: `AS-${1000 + i}`, site: `asset ${i}` });
	}
	await manyVisits(browser, bench);
	await capture(bench);
	await bench.ask(
		"POST",
		"/api/visits/AS-1000-1/evidence?name=ten.vcd&kind=bus",
		new Uint8Array(readFileSync(join(folder, "ten.vcd"))),
	);
	await longCapture(browser, bench, "AS-1000-1");
	const memory = /VmHWM:\s+(\d+)/.exec(readFileSync(`/proc/${bench.child.pid}/status`, "utf8"));
	say("the bench's memory at most", `${(Number(memory[1]) / 1024).toFixed(0)} MB`, "50 MB");
} finally {
	await browser.close();
	await bench.kill();
	rmSync(folder, { recursive: true, force: true });
}
