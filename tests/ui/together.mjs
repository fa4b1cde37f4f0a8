// SPDX-License-Identifier: Apache-2.0
// Two browsers on one book, and one that has keys only.
import { Bench, check, go, openPage } from "./hands.mjs";

export async function together({ browser, program, folder }) {
	const bench = await new Bench(program, folder, "together").start();
	try {
		await bench.ask("POST", "/api/visits", { asset: "TW-0002" });
		const phone = await openPage(browser, bench, "phone", "light");
		const desk = await openPage(browser, bench, "desk", "dark");
		await go(phone, bench, "/visit/TW-0002-1?claim=fit.level");
		await go(desk, bench, "/visit/TW-0002-1?claim=fit.level");
		await phone.getByLabel("What you saw or did").pressSequentially("level");
		await desk.waitForFunction(() =>
			[...document.querySelectorAll("textarea")].some((t) => t.value === "level"),
		);
		check("a draft of the phone stands on the desk", true);
		await phone.getByRole("button", { name: "Say so" }).click();
		await desk.locator("#claim-fit\\.level .shown").first().waitFor();
		check("a claim shown on the phone is shown on the desk", true);

		await go(desk, bench, "/");
		await bench.run("visit", "open", "TW-0003", "--site", "Weir cottage");
		await desk.getByText("Weir cottage").waitFor();
		check("what the command line does is seen too", true);
		await phone.context().close();
		await desk.context().close();
	} finally {
		await bench.kill();
	}
}

/** Tab until the element with this name has the focus; false when it never gets it. */
async function tabTo(page, name, most = 80) {
	for (let i = 0; i < most; i++) {
		await page.keyboard.press("Tab");
		const now = await page.evaluate(() => {
			const e = document.activeElement === document.body ? null : document.activeElement;
			const seen = e ? getComputedStyle(e) : null;
			return {
				text: (e?.getAttribute("aria-label") ?? e?.labels?.[0]?.textContent ?? e?.textContent ?? "").trim(),
				outline: seen ? seen.outlineStyle !== "none" && parseFloat(seen.outlineWidth) >= 2 : false,
			};
		});
		if (now.text.includes(name)) {
			check(`the focus on "${name}" is seen`, now.outline);
			return true;
		}
	}
	return check(`Tab reaches "${name}"`, false);
}

export async function keyboard({ browser, program, folder }) {
	const bench = await new Bench(program, folder, "keyboard").start();
	try {
		const page = await openPage(browser, bench, "desk", "light");
		await go(page, bench, "/");
		await page.keyboard.press("Tab");
		check(
			"the first stop leads over the head of the page",
			await page.evaluate(() => document.activeElement?.textContent === "To the page"),
		);
		await tabTo(page, "Open a visit");
		await page.keyboard.press("Enter");
		await page.waitForFunction(
			() => location.hash === "#/open" && document.querySelector("h1")?.textContent === "Open a visit",
		);
		await tabTo(page, "Asset number");
		await page.keyboard.type("KY-0004");
		await tabTo(page, "card reader");
		await page.keyboard.press("Space");
		await tabTo(page, "Open the visit");
		await page.keyboard.press("Enter");
		await page.waitForFunction(() => location.hash.startsWith("#/visit/KY-0004-1"));
		const made = await bench.ask("GET", "/api/visits/KY-0004-1");
		check(
			"a visit opened by keys alone",
			made.visit.asset === "KY-0004" && made.visit.without === "card",
			JSON.stringify(made.visit.without),
		);
		await tabTo(page, "Fit");
		await page.keyboard.press("Enter");
		await tabTo(page, "The machine stands level");
		await page.keyboard.press("Enter");
		await tabTo(page, "What you saw or did");
		await page.keyboard.type("level");
		await tabTo(page, "Say so");
		await page.keyboard.press("Enter");
		await page.locator("#claim-fit\\.level .shown").first().waitFor();
		check("a claim settled by keys alone", true);
		await page.context().close();
	} finally {
		await bench.kill();
	}
}
