// SPDX-License-Identifier: Apache-2.0
// What is refused, and how: nothing that stands is lost, nothing unreadable is filed, and the sentence is one of the page.
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { Bench, check, go, looksSound, noComplaints, openPage, settled } from "./hands.mjs";

const demo = new URL("../../data/demo/", import.meta.url).pathname;
const csv = (name, text) => ({ name, mimeType: "text/csv", buffer: Buffer.from(text) });

/** Nobody has to know the command line to understand the page. */
async function pageSpeaksPlainly(page, name) {
	const text = await page.locator("main").innerText();
	const found = /fettle [a-z]+|--[a-z]|\.\/\w|does not hold what it must/.exec(text);
	check(`${name}: no words of the command line`, !found, found?.[0]);
}

async function tables(page, bench) {
	for (const t of ["survey", "families", "units", "parts", "leads", "technicians"]) {
		await bench.ask("PUT", `/api/tables/${t}`, readFileSync(join(demo, `${t}.csv`)));
	}
	await go(page, bench, "/fleet");
	await page.getByRole("row", { name: /BD-1001/ }).waitFor();
	const units = readFileSync(join(demo, "units.csv"), "utf8");
	await page
		.getByLabel("Put tables in, several at once")
		.setInputFiles([csv("survey.csv", units), csv("units.csv", units)]);
	await page.getByText("survey.csv was not put in, the table survey stands as it was").waitFor();
	check("a good table beside it is put in", await page.getByText("Put in: units.").isVisible());
	await page.getByRole("row", { name: /BD-1001/ }).waitFor(); // read anew, with the units
	check("the survey that stood stands", true);
	await pageSpeaksPlainly(page, "a table that is another");
}

async function plan(page, bench) {
	await go(page, bench, "/plan");
	await page.getByLabel("First day").fill("next Monday");
	await page.getByRole("button", { name: "Plan the visits" }).click();
	await page.getByText("First day takes a date such as").waitFor();
	await page.getByLabel("First day").fill("2026-13-45");
	await page.getByRole("button", { name: "Plan the visits" }).click();
	await page.getByText(/First day takes a date as/).waitFor();
	await page.getByLabel("First day").fill("2026-11-30");
	await page.getByLabel("Days to look at").fill("two");
	await page.getByRole("button", { name: "Plan the visits" }).click();
	await page.getByText("Days to look at takes a number").waitFor();
	await pageSpeaksPlainly(page, "a plan that cannot be");
	await bench.ask("DELETE", "/api/tables/families");
	await go(page, bench, "/fleet");
	await page.getByText("There is no table families yet").waitFor();
	await pageSpeaksPlainly(page, "a table that is missing");
}

async function unreadable(page, bench, id) {
	for (const [at, label] of [
		["bus", "Add a capture"],
		["cold", "Add a logger's table"],
		["signal", "Add a modem's answers or a table of levels"],
	]) {
		await go(page, bench, `/visit/${id}/${at}`);
		await page.getByLabel(label).setInputFiles(csv("m.csv", "asset,note\nBD-1,all well this morning\n"));
		await page.getByText(/^Not filed: m\.csv/).waitFor();
		await pageSpeaksPlainly(page, `${at} that cannot be read`);
	}
	await go(page, bench, `/visit/${id}/photographs`);
	await page.locator("#camera").setInputFiles(csv("plan.pdf", "%PDF-1.4"));
	await page.getByText("plan.pdf is no picture").waitFor();
	check(
		"nothing unreadable is filed",
		(await bench.ask("GET", `/api/visits/${id}`)).visit.evidence.length === 0,
	);
	await go(page, bench, `/visit/${id}/signal`);
	await page
		.getByLabel("Add a modem's answers or a table of levels")
		.setInputFiles(csv("levels.txt", `position door closed\n${"+CSQ: 20,99\n".repeat(12)}`));
	await page.getByRole("heading", { name: "Places" }).waitFor();
	check("what can be read is filed", true);
	await go(page, bench, "/visit/NO-SUCH-1");
	await page.getByText("the page Visits lists those it has").waitFor();
}

/** Of a visit that is closed each page says so and takes no keys; what is not there is said. */
async function closed(page, bench, id) {
	await bench.ask("POST", `/api/visits/${id}/close`, { open_claims: true });
	const open = () =>
		page.locator("main :is(input, textarea, select)").evaluateAll((l) => l.filter((e) => !e.matches(":disabled")).length);
	for (const [at, typed] of [
		["", null],
		["settings", 0],
		["supply", 0],
		["machine", 0],
		["sales", null],
		["bus", 0],
		["cold", null],
		["photographs", 0],
	]) {
		await go(page, bench, `/visit/${id}/${at}`);
		await page.getByText(/^Closed on .*\. What stands here can be read/).waitFor();
		const n = await open();
		check(`closed, ${at || "visit"}: nothing to type into`, typed === null || n === typed, `${n} fields`);
		await looksSound(page, `closed, ${at || "visit"}`);
	}
	await go(page, bench, `/visit/${id}/bus`);
	await page.getByText("None was filed with this visit").waitFor();
}

/** An audit without the serial number that was meant: the step is where it is typed. */
async function serial(page, bench) {
	await bench.ask("POST", "/api/visits", { asset: "RF-0002" });
	const audit = readFileSync(new URL("../samples/sample-1.dts", import.meta.url));
	await bench.ask("POST", "/api/visits/RF-0002-1/evidence?name=a.dts&kind=audit&stage=know", audit);
	await go(page, bench, "/visit/RF-0002-1?stage=know&claim=know.machine");
	await page.getByRole("link", { name: "Give the serial number" }).first().click();
	await page.getByLabel("Serial number of the machine").fill("PL7730418");
	check("a serial number that is missing is typed one step away", true);
}

export async function refusals({ browser, program, folder }) {
	const bench = await new Bench(program, folder, "refusals").start();
	try {
		await bench.ask("POST", "/api/visits", { asset: "RF-0001", site: "Linden Hall" });
		const page = await openPage(browser, bench, "phone", "light");
		await tables(page, bench);
		await plan(page, bench);
		await unreadable(page, bench, "RF-0001-1");
		await settled(page);
		await looksSound(page, "a visit that is not there");
		await serial(page, bench);
		await closed(page, bench, "RF-0001-1");
		noComplaints(page, "refusals");
		await page.context().close();
	} finally {
		await bench.kill();
	}
}
