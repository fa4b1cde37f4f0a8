// SPDX-License-Identifier: Apache-2.0
// The office: a surveyed fleet, its map and questions; the weeks after, with what is acknowledged.
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { Bench, check, go, noComplaints, openPage, settled, walk } from "./hands.mjs";

const demo = new URL("../../data/demo/", import.meta.url).pathname;
const tables = ["survey", "families", "units", "parts", "leads", "technicians"];

/** Tables of the demo and a planted fleet of 16 machines and 60 days. */
async function officeOf(program, folder) {
	const maker = new Bench(program, folder, "office-maker");
	const fleet = join(folder, "fleet");
	await maker.run("practice", "fleet", "-o", fleet, "--machines", "16", "--days", "60", "--seed", "11");
	const bench = await new Bench(program, folder, "office", ["--audits", join(fleet, "audits")]).start();
	return { bench, fleet };
}

async function surveyPutIn(page, bench) {
	await go(page, bench, "/fleet");
	await page
		.getByText("Begin from the templates", { exact: false })
		.or(page.getByText("begin from the templates", { exact: false }))
		.first()
		.waitFor();
	await page
		.getByLabel("Put tables in, several at once")
		.setInputFiles({ name: "lunch.csv", mimeType: "text/csv", buffer: Buffer.from("a,b\n") });
	await page.getByText("none of these tables by its name").waitFor();
	check("a file that is none of the tables is told so", true);
	await page.getByLabel("Put tables in, several at once").setInputFiles(tables.map((t) => join(demo, `${t}.csv`)));
	await page.getByRole("row", { name: /BD-1001/ }).waitFor();
	check("the survey is judged as soon as it is there", true);
}

/** What the page shows is what the command says. */
async function fleetAgrees(page, bench) {
	const lines = (await bench.run("survey", join(demo, "survey.csv"), "--catalogue", demo, "--json"))
		.trim()
		.split("\n")
		.map((l) => JSON.parse(l));
	await go(page, bench, "/fleet");
	await page.getByRole("row", { name: /BD-1001/ }).waitFor();
	const cannot = lines.filter((m) => m.fit === "cannot");
	check(
		"every machine has its row",
		(await page.getByRole("group", { name: "Machines", exact: true }).locator("tbody tr").count()) ===
			lines.length,
	);
	check(
		"every machine with coordinates is on the map",
		(await page.locator(".map .spot").count()) === lines.filter((m) => m.latitude !== null).length,
	);
	for (const fit of ["ready", "with parts", "with update", "look first"]) {
		await page.getByRole("group", { name: "By fit" }).getByRole("button", { name: fit }).click();
	}
	const last = lines.find((m) => m.fit === "look-first").asset; // of the fit turned off last: drawn anew without it
	await page.getByRole("row", { name: new RegExp(last) }).waitFor({ state: "detached" });
	check(
		"a fit turned off leaves table and map",
		(await page.getByRole("group", { name: "Machines", exact: true }).locator("tbody tr").count()) ===
			cannot.length &&
			(await page.locator(".map .spot").count()) === cannot.filter((m) => m.latitude !== null).length,
		`${cannot.length}`,
	);
	await page.reload();
	await page.getByRole("row", { name: /BD-1001/ }).waitFor();
	const rule = lines.flatMap((m) => m.reasons)[0].rule;
	await page.getByLabel("By reason").selectOption(rule);
	check(
		"a reason leaves the machines that have it",
		(await page.getByRole("group", { name: "Machines", exact: true }).locator("tbody tr").count()) ===
			lines.filter((m) => m.reasons.some((r) => r.rule === rule)).length,
	);
	await page.getByLabel("By reason").selectOption("");
}

async function mapByKeys(page) {
	await page
		.getByRole("group", { name: "Machines", exact: true })
		.getByRole("button", { name: "BD-1008", exact: true })
		.click();
	await page.locator(".map .spot[aria-pressed=true]").first().waitFor();
	check(
		"a row chosen is chosen on the map",
		(await page.locator(".map .spot[aria-pressed=true]").getAttribute("data-id")) === "BD-1008",
	);
	check("its reasons and its kit are told", /door switch/.test(await page.locator("#one").innerText()));
	await page.locator(".map .spot[aria-pressed=true]").focus();
	const seen = new Set(["BD-1008"]);
	for (const key of ["ArrowRight", "ArrowUp", "ArrowLeft", "ArrowDown"]) {
		await page.keyboard.press(key);
		seen.add(await page.locator(".map .spot[aria-pressed=true]").getAttribute("data-id"));
	}
	const now = await page.locator(".map .spot[aria-pressed=true]").getAttribute("data-id");
	check("arrow keys go from machine to machine", seen.size >= 3, [...seen].join(" "));
	check("and the table goes along", (await page.locator("tr[data-chosen] th").innerText()) === now);
}

async function watched(page, bench) {
	await go(page, bench, "/watch");
	await page.locator(".case").first().waitFor();
	const rows = await page.getByRole("group", { name: "Machines today" }).locator("tbody tr").all();
	const today = await Promise.all(rows.map((row) => row.locator("td").allInnerTexts()));
	check(
		"no machine with audits missing is as it should be",
		today.some((t) => Number(t[2]) > 0 && /nothing open, \d+ audits? missing/.test(t[0])) &&
			today.every((t) => !(Number(t[2]) > 0 && /as it should be/.test(t[0]))),
		JSON.stringify(today),
	);
	const text = await page.locator(".case > button").allInnerTexts();
	check("exceptions stand in a line each", text.length > 2 && text.every((t) => /PF-\d{5}/.test(t)), text[0]);
	const first = text[0].match(/PF-\d{5}/)[0];
	await page.locator(".case > button").first().click();
	await page.getByText("Acknowledge", { exact: true }).click();
	await page.getByLabel("Who says so").fill("A. Clerk");
	await page.getByLabel("Why it is known").fill("told the route last week");
	await page.getByRole("button", { name: "Acknowledge it" }).click();
	await page.getByRole("heading", { name: "Known" }).waitFor();
	check(
		"what is acknowledged stays quiet",
		(await page.getByRole("region", { name: "Needs a person" }).locator(".case").count()) === text.length - 1,
	);
	await page.reload();
	await page.getByRole("heading", { name: "Known" }).waitFor();
	check(
		"also after a reload",
		(await page.getByRole("region", { name: "Known" }).locator(".case").allInnerTexts()).some((t) =>
			t.includes(first),
		),
	);
	await page.getByRole("region", { name: "Known" }).locator(".case > button").first().click();
	const why = await page.getByRole("region", { name: "Known" }).innerText();
	await page.getByRole("region", { name: "Known" }).locator(".case > button").first().click();
	check("with why, who and when", /Known: told the route last week \(A\. Clerk, \d{4}-\d\d-\d\d\)\./.test(why), why);
}

/** Planned, one machine moved by the keyboard and one by drawing it, each with its cost; the plan kept is the one shown. */
async function planned(page, bench) {
	await go(page, bench, "/plan");
	await page.getByLabel("First day").fill("2026-11-30");
	await page.getByRole("button", { name: "Plan the visits" }).click();
	await page.locator(".board .day").first().waitFor({ timeout: 60000 });
	const kept = async () => JSON.parse(await (await fetch(`${bench.url}/api/tables/plan`)).text());
	const was = await kept();
	check("each day has its column", (await page.locator(".board .day").count()) === was.days.length);
	const shown = await page.locator(".board .stop b").allInnerTexts();
	const stops = was.days.flatMap((d) => d.stops.map((s) => s.asset));
	check("and its stops in order", shown.join() === stops.join());
	const days = [...was.days].sort((a, b) => b.stops.length - a.stops.length);
	const [from] = days;
	const to = days.find((d) => d.technician === from.technician && d.date !== from.date) ?? days[1];
	const asset = from.stops[0].asset;
	await page.getByRole("button", { name: asset, expanded: false }).click();
	await page.getByLabel(`Move ${asset} to`).selectOption(`${to.technician}:${to.date}`);
	await page.getByRole("heading", { name: "What it costs" }).waitFor({ timeout: 30000 });
	check("a move says what it costs", /km/.test(await page.locator("#cost").innerText()));
	check("and what goes along with it", /No other machine|goes along|day out/.test(await page.locator("#cost").innerText()));
	check("and keeps nothing by itself", JSON.stringify((await kept()).days) === JSON.stringify(was.days));
	const keep = page.getByRole("button", { name: "Keep the new plan" });
	if (await keep.count()) {
		await keep.click();
		await page.getByRole("heading", { name: "What it costs" }).waitFor({ state: "detached" });
		const now = (await kept()).days.find((d) => d.date === to.date && d.technician === to.technician);
		check(
			"what is kept is what was shown",
			now.stops.some((s) => s.asset === asset),
		);
	} else {
		check("where it does not fit the page says so", /does not fit/.test(await page.locator("#cost").innerText()));
		await page.getByRole("button", { name: "Leave it as it was" }).click();
	}
	await page.locator(".board .stop").first().dragTo(page.locator(".board .day").nth(1));
	await page.getByRole("heading", { name: "What it costs" }).waitFor({ timeout: 30000 });
	check("a machine drawn to another day says so too", /km/.test(await page.locator("#cost").innerText()));
	await page.getByRole("button", { name: "Leave it as it was" }).click();
	const buy = (await kept()).buy.filter((b) => b.buy > 0);
	const told = await page.getByRole("group", { name: "What is to be bought" }).locator("tbody th").allInnerTexts();
	check(
		"what is to be bought is told, with its name",
		buy.length > 0 && told.length === buy.length && told.every((t, i) => t.endsWith(buy[i].part) && /[a-z]{4}/.test(t)),
		told.join(),
	);
	check(
		"planning anew begins where the plan does",
		(await page.getByLabel("First day").inputValue()) === was.days.map((d) => d.date).sort()[0],
	);
	const open = await page.getByRole("region", { name: "Findings" }).getByRole("link").allInnerTexts();
	const stays = was.findings.filter((f) => f.where.element).map((f) => f.where.element);
	check("what stands against the plan names its machines", stays.length > 0 && stays.every((a) => open.includes(a)), open.join());
	await page.setViewportSize({ width: 360, height: 740 });
	const van = page.getByRole("group", { name: /^Van of/ }).first();
	const seen = await van.evaluate((v) => {
		const risk = [...v.querySelectorAll("thead th")].find((h) => h.textContent?.trim() === "Risk");
		return v.getBoundingClientRect().right - (risk?.getBoundingClientRect().right ?? Infinity);
	});
	check("a van's risk is in sight on a narrow page", seen >= 0, `${seen}`);
	check("which says that more stands to the right", await van.locator(".further").isVisible());
	await page.setViewportSize({ width: 1280, height: 900 });
	check("and says it only there", !(await van.locator(".further").isVisible()));
	// opened anew, the machines and homes come after the map
	let come = () => undefined;
	const late = new Promise((yes) => (come = yes));
	const slow = /\/api\/(survey|tables\/technicians)/;
	await page.route(slow, (r) => late.then(() => r.continue()));
	await page.reload();
	await page.getByText("None of these machines has coordinates").waitFor();
	come();
	await page.locator(".map .spot").first().waitFor();
	await page.unroute(slow);
	const drawn = await page.locator("svg.map").evaluate((m) => [m.viewBox.baseVal.width, m.clientWidth]);
	check("the map's letters are as large as those of the page", Math.abs(drawn[0] - drawn[1]) <= 1, drawn.join(" in "));
	for (const link of await page.getByRole("region", { name: "Papers" }).getByRole("link").all()) {
		const r = await fetch(new URL(await link.getAttribute("href"), bench.url));
		check(`${await link.innerText()} is handed out`, r.ok && (await r.arrayBuffer()).byteLength > 20, `${r.status}`);
	}
}

/** Moves one machine on this page and returns once its cost is told. */
async function moveOne(page) {
	const asset = await page.locator(".board .stop b").first().innerText();
	await page.getByRole("button", { name: asset, expanded: false }).click();
	const days = page.getByLabel(`Move ${asset} to`).locator("option");
	await page.getByLabel(`Move ${asset} to`).selectOption(await days.nth(1).getAttribute("value"));
	await page.getByRole("heading", { name: "What it costs" }).waitFor({ timeout: 30000 });
	return asset;
}

/** Two who plan: what the one keeps is never overwritten by the other, whether that one hears of it in time or not. */
async function plannedByTwo(browser, bench) {
	const plan = async () => await (await fetch(`${bench.url}/api/tables/plan`)).text();
	const put = async (text) => bench.ask("PUT", "/api/tables/plan", Buffer.from(text));
	const was = await plan();
	const other = JSON.stringify({ ...JSON.parse(was), promised: 77 });
	for (const hears of [true, false]) {
		const page = await openPage(browser, bench, "desk", "light");
		if (!hears) {
			await page.route("**/api/events", (r) => r.abort());
		}
		await go(page, bench, "/plan");
		await page.locator(".board .day").first().waitFor();
		const asset = await moveOne(page);
		await put(other);
		if (!hears) {
			const keep = page.getByRole("button", { name: "Keep the new plan" });
			if (!(await keep.count())) {
				continue; // it does not fit there, so there is nothing to keep
			}
			await keep.click();
		}
		await page.getByText(`Somebody else kept another plan meanwhile: ${asset} was not moved`).waitFor();
		check(
			`a plan made from one that stands no more is refused, ${hears ? "heard of" : "not heard of"}`,
			(await page.getByRole("heading", { name: "What it costs" }).count()) === 0 && (await plan()) === other,
		);
		await put(was);
		await page.context().close();
	}
}

/** A machine whose exception has audits on both sides. */
async function shownBy(page, bench) {
	await go(page, bench, "/watch");
	const c = page.locator(".case > button").filter({ hasText: "sold nothing since" }).first();
	await c.click();
	await page.getByRole("link", { name: "The audits before and after" }).click();
	await page.getByText("Between").waitFor();
	await page.getByRole("list", { name: "Machine face, tray by tray" }).waitFor();
	await page.locator("svg.bars").waitFor();
	await settled(page);
	check("the audits that show it are one step away", /Counters/.test(await page.locator("#evidence").innerText()));
	const bars = await page.locator("svg.bars .bar").count();
	check("sales stand by day", bars > 40, `${bars}`);
	return new URL(page.url()).hash.slice(1);
}

const says = {
	fleet: /Salt yard office/,
	one: /To find out/,
	plan: /What|km/,
	watch: /expected/,
	machine: /Sales by day/,
	evidence: /Between/,
};

export async function office({ browser, program, folder, snapshots }) {
	const { bench, fleet } = await officeOf(program, folder);
	try {
		const page = await openPage(browser, bench, "desk", "light");
		await surveyPutIn(page, bench);
		await fleetAgrees(page, bench);
		await mapByKeys(page);
		await planned(page, bench);
		await plannedByTwo(browser, bench);
		await bench.ask("PUT", "/api/tables/counts", readFileSync(join(fleet, "counts.csv")));
		await watched(page, bench);
		const evidence = await shownBy(page, bench);
		noComplaints(page, "office");
		await page.context().close();
		const machine = evidence.split("?")[0];
		const places = [
			["fleet", "/fleet"],
			["one", "/fleet?asset=BD-1008"],
			["plan", "/plan"],
			["watch", "/watch"],
			["machine", machine],
			["evidence", evidence],
		];
		await walk({ browser, bench, snapshots }, places, says, "office ");
	} finally {
		await bench.kill();
	}
}
