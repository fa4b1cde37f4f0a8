// SPDX-License-Identifier: Apache-2.0
// A drill with a fault that is not told; photographs and what a camera writes into them; a phone that has to be paired.
import { spawn } from "node:child_process";
import { writeFileSync } from "node:fs";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { Bench, check, go, looksSound, noComplaints, openPage, settled, snapshot } from "./hands.mjs";

export async function drill({ browser, program, folder, snapshots }) {
	const bench = await new Bench(program, folder, "drill").start();
	try {
		const page = await openPage(browser, bench, "phone", "dark");
		await go(page, bench, "/practise");
		await page.getByRole("button", { name: "Start the machine" }).click();
		await page.getByRole("heading", { level: 1, name: /^Practice machine/ }).waitFor();
		const id = page.url().split("/").at(-1);
		const told = () => bench.ask("GET", `/api/practice/${id}`).then((d) => d.machine);
		check("the fault of a drill is not told", (await told()).hidden && (await told()).faults === null);
		await page.getByRole("button", { name: "Open a visit here" }).click();
		await page.locator(".verdict").waitFor();
		await go(page, bench, `/practise/${id}`);
		await page.getByRole("link", { name: "Read it" }).click();
		await page.getByRole("button", { name: "Read the audit" }).click();
		await page.getByText(/^(Read whole and checked|Not read)$/).waitFor({ timeout: 30000 });
		await go(page, bench, `/practise/${id}`);
		await page.getByLabel("Selection").fill("21");
		await page.getByRole("button", { name: "Sell by card" }).click();
		await page.locator(".events li").first().waitFor();
		check(
			"what happens at the machine is told as it happens",
			/card|21/.test(await page.locator(".events").innerText()),
		);
		await looksSound(page, "a drill");
		await page.getByLabel("The fault is").selectOption("crossed-selections");
		await page.getByRole("button", { name: "That is it: tell me" }).click();
		await page.getByText(/^It was: /).waitFor();
		const faults = (await told()).faults;
		check(
			"then it is told what it was",
			(await page.getByText(/^It was: /).innerText()).includes(faults[0].replace(/-/g, " ")),
			String(faults),
		);
		const right = faults.some((f) => f.startsWith("crossed-selections"));
		check(
			"and whether the guess was right",
			await page.getByText(right ? "found" : "not crossed selections", { exact: true }).isVisible(),
		);
		check(
			"and how directly it was found",
			/1 read, \d+ sales?,/.test(await page.locator("main").innerText()) ||
				/0 reads/.test(await page.locator("main").innerText()),
		);
		await snapshot(page, snapshots, "drill-phone-dark");
		noComplaints(page, "a drill");
		await page.getByRole("button", { name: "End this machine" }).click();
		await page.getByText("No machine runs.").waitFor();
		await page.context().close();
	} finally {
		await bench.kill("SIGTERM");
	}
}

/** A JPEG as a camera writes it, lying on its side (turn 6), with a place in its Exif part. */
async function cameraPicture(page) {
	const bytes = await page.evaluate(async () => {
		const c = document.createElement("canvas");
		c.width = 64;
		c.height = 32;
		const g = c.getContext("2d");
		g.fillStyle = "#456";
		g.fillRect(0, 0, 64, 32);
		const blob = await new Promise((yes) => {
			c.toBlob(yes, "image/jpeg");
		});
		return [...new Uint8Array(await blob.arrayBuffer())];
	});
	const tiff = Buffer.alloc(26);
	tiff.write("II*\0", 0, "latin1");
	tiff.writeUInt32LE(8, 4);
	tiff.writeUInt16LE(1, 8); // one entry: 0x0112, the turn, a SHORT, once, 6
	tiff.writeUInt16LE(0x0112, 10);
	tiff.writeUInt16LE(3, 12);
	tiff.writeUInt32LE(1, 14);
	tiff.writeUInt16LE(6, 18);
	const body = Buffer.concat([Buffer.from("Exif\0\0", "latin1"), tiff, Buffer.from("A-PLACE-ON-EARTH")]);
	const head = Buffer.from([0xff, 0xe1, 0, 0]);
	head.writeUInt16BE(body.length + 2, 2);
	return Buffer.concat([Buffer.from(bytes.slice(0, 2)), head, body, Buffer.from(bytes.slice(2))]);
}

export async function photographs({ browser, program, folder }) {
	const bench = await new Bench(program, folder, "photographs").start();
	try {
		await bench.ask("POST", "/api/visits", { asset: "PH-0005" });
		const page = await openPage(browser, bench, "phone", "light");
		await go(page, bench, "/visit/PH-0005-1/photographs");
		const file = join(folder, "camera.jpg");
		writeFileSync(file, await cameraPicture(page));
		const filed = async (n) => {
			await page
				.locator(".prints img")
				.nth(n - 1)
				.waitFor();
			const list = (await bench.ask("GET", "/api/visits/PH-0005-1")).visit.evidence;
			const r = await fetch(`${bench.url}/api/visits/PH-0005-1/evidence/${list.at(-1).number}`);
			return Buffer.from(await r.arrayBuffer());
		};
		await page.setInputFiles("#camera", file);
		const without = await filed(1);
		check(
			"the place a camera wrote is left out",
			!without.includes("A-PLACE-ON-EARTH") && !without.includes("Exif"),
		);
		await page.getByLabel("Keep the position the camera wrote into it").check();
		await page.setInputFiles("#camera", file);
		const kept = await filed(2);
		const at = kept.indexOf("Exif");
		check("unless it is asked for", kept.includes("A-PLACE-ON-EARTH"));
		check("and then the picture is not turned twice", at > 0 && kept.readUInt16LE(at + 6 + 18) === 1);
		const size = await page.evaluate(() => {
			const i = document.querySelector(".prints img");
			return [i.naturalWidth, i.naturalHeight];
		});
		check("a picture that lay on its side stands upright", size[0] === 32 && size[1] === 64, size.join(" x "));
		noComplaints(page, "photographs");
		await page.context().close();
	} finally {
		await bench.kill();
	}
}

/** The addresses of this computer beside loopback; pairing is asked for on those only. */
async function ownAddress() {
	const { networkInterfaces } = await import("node:os");
	return (
		Object.values(networkInterfaces())
			.flat()
			.find((a) => a && a.family === "IPv4" && !a.internal)?.address ?? null
	);
}

export async function pairing({ browser, program, folder }) {
	const address = await ownAddress();
	if (!address) {
		console.log("ui: pairing is passed over: this computer has no address but its own");
		return;
	}
	const bench = new Bench(program, folder, "pairing");
	const child = spawn(program, ["bench", "--listen", `${address}:0`, "--book", bench.book, "--json"], {
		env: bench.env,
		stdio: ["ignore", "pipe", "inherit"],
	});
	try {
		const first = JSON.parse(
			await new Promise((yes) => {
				createInterface({ input: child.stdout }).once("line", yes);
			}),
		);
		bench.url = first.url.replace(/\/$/, "");
		const page = await openPage(browser, bench, "phone", "light");
		await go(page, bench, "/");
		const met = page.getByRole("heading", { level: 1, name: "Pair this browser" });
		check(
			"a browser that was never paired is met with the code",
			await met.waitFor().then(
				() => true,
				() => false,
			),
		);
		await looksSound(page, "pairing");
		await page.getByRole("textbox", { name: "Code" }).fill("00000000");
		await page.getByRole("button", { name: "Pair", exact: true }).click();
		await page.getByRole("alert").filter({ hasText: /./ }).first().waitFor();
		check("a wrong code is refused in words", true);
		await page.getByRole("textbox", { name: "Code" }).fill(first.code);
		await page.getByLabel("What to call this browser").fill("phone of the van");
		await page.getByRole("button", { name: "Pair", exact: true }).click();
		await page.getByRole("heading", { level: 1, name: "Visits" }).waitFor();
		check("the right one opens the book", true);
		await go(page, bench, "/browsers");
		await page.getByText("phone of the van").first().waitFor();
		await settled(page);
		await page.getByRole("button", { name: "Show a code for one more" }).click();
		await page.getByRole("img", { name: "The address with the code, for a camera" }).waitFor();
		await looksSound(page, "paired browsers");
		const code = await page.locator("p b.code").innerText();
		const other = await openPage(browser, bench, "desk", "dark");
		await other.goto(`${bench.url}/#pair=${code}`);
		await other.getByRole("heading", { level: 1, name: "Visits" }).waitFor();
		check("an address scanned from the first pairs the second", !other.url().includes(code));
		await page.getByText("is paired; the code has served").waitFor();
		check("a code that has served is shown no more", (await page.locator("p b.code").count()) === 0);
		const third = await openPage(browser, bench, "phone", "light");
		await third.goto(`${bench.url}/#pair=${code}`);
		await third.getByText("it was used already").waitFor();
		check("and an address with it says so", await third.getByRole("textbox", { name: "Code" }).isVisible());
		await third.context().close();
		await page.context().close();
		await other.context().close();
	} finally {
		child.kill();
	}
}
