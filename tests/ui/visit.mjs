// SPDX-License-Identifier: Apache-2.0
// A whole visit by clicks and keys against a live practice port: opened, read, updated, keyed back, sold from, found to be
// crossed, mended, sold from again, written down, photographed, closed, packed; the office then verifies the package.
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { Bench, check, go, looksSound, noComplaints, openPage, settled, snapshot } from "./hands.mjs";
import { png } from "./scene.mjs";

const two = (n) => String(n).padStart(2, "0");

function localMinute() {
	const t = new Date();
	return `${t.getFullYear()}-${two(t.getMonth() + 1)}-${two(t.getDate())}T${two(t.getHours())}:${two(t.getMinutes())}`;
}

class Visit {
	constructor(page, bench, size, folder) {
		Object.assign(this, { page, bench, size, folder });
	}

	doc() {
		return this.bench.ask("GET", `/api/visits/${this.id}`);
	}

	async stands(claim) {
		return (await this.doc()).claims.find((c) => c.id === claim)?.stands;
	}

	at(page, query = "") {
		return go(this.page, this.bench, `/visit/${this.id}${page ? `/${page}` : ""}${query}`);
	}

	button(name) {
		return this.page.getByRole("button", { name, exact: true });
	}

	link(name) {
		return this.page.getByRole("link", { name, exact: true });
	}

	/** What happens at the machine itself, told to it and awaited. */
	async machine(line) {
		await this.bench.ask("POST", `/api/practice/${this.machineId}/lines`, { line });
	}

	/** Makes a sale, which is an event, and waits until the machine has told of it. */
	async sell(line) {
		const count = async () =>
			(await this.bench.ask("GET", `/api/practice/${this.machineId}`)).machine.events.filter(
				(e) => e.event === "sale",
			).length;
		const before = await count();
		await this.machine(line);
		for (let i = 0; (await count()) === before && i < 100; i++) {
			await new Promise((yes) => {
				setTimeout(yes, 50);
			});
		}
	}

	/** Reads the machine on the page and gives the number of audits that are filed then. */
	async read() {
		await this.at("read");
		await this.page.getByLabel(/DEX\/UCS port/).check();
		await this.page.getByRole("button", { name: /^Read (the audit|again)$/ }).click();
		await this.page.getByText("Read whole and checked").waitFor({ timeout: 30000 });
		await this.page.getByText(/^Filed with the visit/).waitFor();
		return (await this.doc()).visit.evidence.filter((e) => e.kind === "audit").length;
	}

	async say(stage, claim, text) {
		await this.at("", `?stage=${stage}&claim=${claim}`);
		await this.page.getByLabel("What you saw or did").fill(text);
		await this.button("Say so").click();
		await this.page
			.locator(`#claim-${claim.replace(".", "\\.")} .shown`)
			.first()
			.waitFor();
	}
}

async function opened(v) {
	const { page } = v;
	await go(page, v.bench, "/");
	await v.link("Open a visit").click();
	await page.getByLabel("Asset number").fill(v.asset);
	await page.getByLabel("Site").fill("Linden Hall foyer");
	await page.getByLabel("Serial number of the machine").fill("PL7730418");
	await page.getByLabel("Fitter").fill("A. Fitter");
	for (const part of [
		"door switch told by the unit",
		"cooling or heating",
		"antenna",
		"multi-drop bus",
		"figures of the supply",
	]) {
		await page.getByLabel(part).check();
	}
	await v.button("Open the visit").click();
	await page.getByRole("heading", { level: 1, name: `${v.asset} Linden Hall foyer` }).waitFor();
	v.id = `${v.asset}-1`;
	check(`${v.size}: the visit opens at its path`, (await page.locator(".verdict").innerText()).includes("open"));
}

async function kept(v) {
	const { page } = v;
	await page.locator(".next").getByText("Read the audit").click();
	await v.button("Start a practice machine").click();
	await page.getByText("DEX/UCS port").first().waitFor();
	v.machineId = (await v.bench.ask("GET", "/api/practice")).machines.at(-1).id;
	await v.sell("sell 31 coins 100");
	await page.getByRole("button", { name: "Read the audit" }).click();
	await page.getByText("The machine is sending").waitFor();
	check(
		`${v.size}: blocks come one by one`,
		await page
			.waitForFunction(() => document.querySelectorAll(".blocks i").length > 0)
			.then(
				() => true,
				() => false,
			),
	);
	await page.getByText("Read whole and checked").waitFor({ timeout: 30000 });
	await page.getByText("Every byte that passed").click();
	check(
		`${v.size}: the trace can be looked at`,
		await page
			.waitForFunction(() => (document.querySelector(".trace")?.textContent ?? "").length > 200)
			.then(
				() => true,
				() => false,
			),
	);
	check(`${v.size}: the audit of before is shown`, (await v.stands("keep.audit")) === "shown");
	await looksSound(page, `read, ${v.size}, after a read`);
}

async function keyedBack(v) {
	const { page } = v;
	await v.machine("firmware 0313");
	check(`${v.size}: the updated machine is read`, (await v.read()) === 2);
	await v.link("Look at the audit").click();
	await page.getByText("0 of 4 things keyed back in").waitFor();
	await page.getByLabel(/^21 price/).check();
	await page.getByLabel(/^22 price/).check();
	await page.getByText("2 of 4 things keyed back in").waitFor();
	await page.reload();
	await page.getByText("2 of 4 things keyed back in").waitFor();
	check(`${v.size}: ticks of the restore sheet survive a reload`, await page.getByLabel(/^21 price/).isChecked());
	await snapshot(page, v.snapshots, `restore-${v.size}`);
	for (const line of [
		"price 21 125",
		"price 22 125",
		"price 23 200",
		"price 24 225",
		"fault crossed-selections 21 23",
		`clock ${localMinute()}`,
	]) {
		await v.machine(line);
	}
	check(`${v.size}: the keyed machine is read`, (await v.read()) === 3);
	check(`${v.size}: no price is lost any more`, (await v.stands("prove.prices")) === "shown");
}

const sales = [
	["21", "coins", "sell 21 coins 100 25"],
	["23", "coins", "sell 23 coins 100 100"],
	["23", "a card", "sell 23 card"],
	["11", "a bill", "sell 11 bill 500", "5.00"],
	["24", "a card", "sell 24 card"],
];

async function sold(v, list) {
	const { page } = v;
	await v.at("sales");
	for (const [selection, way, , tendered] of list) {
		const open = page.getByText("Add a sale to the list");
		if (!(await page.getByLabel("Selection").isVisible())) {
			await open.click();
		}
		await page.getByLabel("Selection").fill(selection);
		await page.getByLabel("Paid with").selectOption({ label: way });
		await page.getByLabel("Money put in").fill(tendered ?? "");
		await v.button("Add").click();
		await page.waitForFunction(() =>
			[...document.querySelectorAll("label")].some(
				(l) => l.textContent === "Selection" && document.getElementById(l.htmlFor)?.value === "",
			),
		);
	}
	for (const [i, [, , line]] of list.entries()) {
		await v.sell(line);
		await page.locator(`#sale-${i}`).check();
	}
	await page.getByText(`${list.length} of ${list.length} sales made`).waitFor();
	await v.button("File the list").click();
	await page.getByText("Make a list of five").waitFor();
}

async function proved(v) {
	const { page } = v;
	await sold(v, sales);
	await v.read();
	await v.at("sales");
	await page.getByText("Selections 21 and 23 count for each other.").first().waitFor();
	check(
		`${v.size}: crossed selections are drawn as crossing curves`,
		await page
			.getByRole("img", { name: "Button 21 moves the counters of 23, button 23 those of 21." })
			.isVisible(),
	);
	check(`${v.size}: the claim is contradicted`, (await v.stands("prove.sales")) === "contradicted");
	await snapshot(page, v.snapshots, `crossed-${v.size}`);
	await v.at("");
	check(
		`${v.size}: the next step is to look at it`,
		await v.page.locator(".next").getByText("See what the sales tell").isVisible(),
	);
	await v.machine("fault off crossed-selections");
	await v.read();
	await sold(v, [["21", "coins", "sell 21 coins 100 25"], ...sales.slice(1)]);
	await v.read();
	check(`${v.size}: mended, sold again, shown`, (await v.stands("prove.sales")) === "shown");
}

async function writtenDown(v) {
	const { page } = v;
	await v.at("settings");
	await page.getByRole("group", { name: "Selection 11" }).getByLabel("Motors").fill("1");
	await page.keyboard.press("Enter");
	await page.keyboard.type("SALT CRISPS 40 g");
	await page.reload();
	await settled(page);
	await page.waitForFunction(() => document.querySelector(".keys input")?.value === "1.50");
	check(
		`${v.size}: the settings grid keeps what was typed`,
		(await page.getByRole("group", { name: "Selection 11" }).getByLabel("Motors").inputValue()) === "1",
	);
	await v.button("File the settings").click();
	await page.waitForFunction(() => location.hash.includes("stage=keep"));
	check(`${v.size}: the settings are on record`, (await v.stands("keep.settings")) === "shown");
	const picture = join(v.folder, "large.png");
	for (const stage of ["Keep", "Fit"]) {
		writeFileSync(picture, png(2600, 1300, stage === "Keep" ? [90, 110, 120] : [140, 120, 90]));
		await v.at("photographs");
		await page.getByLabel("Belongs to").selectOption({ label: stage });
		await page.setInputFiles("#camera", picture);
		await page
			.locator(".prints img")
			.nth(stage === "Keep" ? 0 : 1)
			.waitFor();
	}
	const photo = (await v.doc()).visit.evidence.find((e) => e.kind === "photograph");
	const bytes = new Uint8Array(
		await (await fetch(`${v.bench.url}/api/visits/${v.id}/evidence/${photo.number}`)).arrayBuffer(),
	);
	const side = (() => {
		for (let i = 2; i + 9 < bytes.length; i += 2 + bytes[i + 2] * 256 + bytes[i + 3]) {
			if (bytes[i + 1] >= 0xc0 && bytes[i + 1] <= 0xc2) {
				return bytes[i + 7] * 256 + bytes[i + 8];
			}
		}
		return 0;
	})();
	check(`${v.size}: a photograph is made smaller`, side === 2000, `${side} points wide`);
	check(
		`${v.size}: photographs show their claims`,
		(await v.stands("keep.condition")) === "shown" && (await v.stands("fit.photographs")) === "shown",
	);
}

async function said(v) {
	for (const [stage, claim, text] of [
		["know", "know.fits", "looked at controller, port and room"],
		["know", "know.works", "sold one of 31 before the door was opened"],
		["fit", "fit.isolated", "plug pulled and kept in hand"],
		["fit", "fit.level", "level, both anchors tight"],
		["fit", "fit.cables", "tied at the hinge, door tried twice"],
		["fit", "fit.old-unit", "there was none"],
		["hand-over", "hand-over.box", "goods, cash box and keys back"],
	]) {
		await v.say(stage, claim, text);
	}
	const { page } = v;
	await v.at("machine");
	await page.getByLabel("Unit fitted").fill("U-55201");
	await page.getByLabel("SIM", { exact: true }).fill("8949123456789012346");
	await page.getByText("The check digit does not fit").waitFor();
	await page.getByLabel("SIM", { exact: true }).fill("8949123456789012347");
	await page.getByText("The check digit is right").waitFor();
	await v.button("Put the numbers on record").click();
	await page.waitForFunction(() => !location.hash.includes("machine"));
	check(
		`${v.size}: a wrong check digit is told while it is typed`,
		(await v.stands("hand-over.numbers")) === "shown",
	);
	await waivedWhatIsLeft(v);
}

/** What this machine cannot show is waived with a reason. */
async function waivedWhatIsLeft(v) {
	const left = (await v.doc()).claims.filter((c) => !c.due_later && c.stands !== "shown");
	for (const c of left) {
		await v.at("", `?stage=${c.stage}&claim=${c.id}`);
		await v.page.getByText("Waive this").click();
		await v.page.getByLabel("Why it cannot be shown at this visit").fill("a practice machine");
		await v.button("Waive with this reason").click();
		await v.page
			.locator(`#claim-${c.id.replace(".", "\\.")} .waived`)
			.first()
			.waitFor();
	}
	check(
		`${v.size}: at most two claims had to be waived`,
		left.length <= 2,
		left.map((c) => `${c.id}: ${c.because}`).join("; "),
	);
}

async function handedOver(v) {
	const { page } = v;
	await v.at("");
	await page.locator(".next").getByText("Close the visit").click();
	await page.getByText("Nothing that closing asks for is missing.").waitFor();
	await v.button("Close the visit").click();
	await page.getByText("Nothing that was due can be changed any more.").waitFor();
	await v.button("Pack it").click();
	const [download] = await Promise.all([page.waitForEvent("download"), v.link("Take the package").click()]);
	const zip = join(v.folder, `${v.id}.zip`);
	await download.saveAs(zip);
	const told = JSON.parse(await v.bench.run("handover", "verify", zip, "--json"));
	check(
		`${v.size}: the office verifies the package`,
		told.verdict === "shown" && told.stated_verdict === "shown" && told.signed_by === "A. Fitter",
		`${told.verdict} ${told.stated_verdict} ${told.signed_by}`,
	);
	await looksSound(page, `hand over, ${v.size}, packed`);
	await snapshot(page, v.snapshots, `packed-${v.size}`);
	await page.getByLabel("When and how the office got it").fill("by mail, received");
	await v.button("Say so").click();
	await page.waitForFunction(() => !document.body.innerText.includes("When and how the office got it"));
	check(`${v.size}: the office has it`, (await v.stands("hand-over.package")) === "shown");
}

export async function visit({ browser, program, folder, snapshots }) {
	for (const [size, paper, asset] of [
		["phone", "light", "HL-0932"],
		["desk", "dark", "HL-0933"],
	]) {
		const bench = await new Bench(program, folder, `visit-${size}`).start();
		try {
			const page = await openPage(browser, bench, size, paper, { acceptDownloads: true });
			const v = new Visit(page, bench, size, folder);
			Object.assign(v, { asset, snapshots });
			await opened(v);
			await kept(v);
			await keyedBack(v);
			await proved(v);
			await writtenDown(v);
			await said(v);
			await handedOver(v);
			noComplaints(page, `whole visit, ${size}`);
			await bench.ask("DELETE", `/api/practice/${v.machineId}`);
			await page.context().close();
		} finally {
			await bench.kill("SIGTERM");
		}
	}
}
