// SPDX-License-Identifier: Apache-2.0
// A form half-written survives a reload, a bench that is killed, a lost line and another phone.
import { Bench, check, go, openPage, settled } from "./hands.mjs";

const label = "What you saw or did";

export async function drafts({ browser, program, folder }) {
	const bench = await new Bench(program, folder, "drafts").start();
	try {
		await bench.ask("POST", "/api/visits", { asset: "DR-0001", site: "Pump house" });
		const place = "/visit/DR-0001-1?stage=fit&claim=fit.level";
		const page = await openPage(browser, bench, "phone", "light");
		await go(page, bench, place);
		await page.getByLabel(label).pressSequentially("level, one anchor lo");
		await page.reload();
		await settled(page);
		check(
			"a reload right after the last key loses none",
			(await page.getByLabel(label).inputValue()) === "level, one anchor lo",
		);

		await bench.kill();
		await page.getByLabel(label).press("End");
		await page.getByLabel(label).pressSequentially("ose, told the ca");
		await page.getByText("The bench does not answer").waitFor();
		check("the page says that the bench is gone", true);
		await page.getByLabel(label).pressSequentially("nteen");
		const text = "level, one anchor loose, told the canteen";
		check("keys go on while it is gone", (await page.getByLabel(label).inputValue()) === text);

		await bench.start();
		await page.getByText("Draft kept in the book").waitFor({ timeout: 20000 });
		check("what was typed meanwhile stands in the form", (await page.getByLabel(label).inputValue()) === text);
		const kept = await bench.ask("GET", "/api/drafts/DR-0001-1.say.fit.level");
		check("and in the book", kept.draft.text === text, kept.draft.text);

		await deadPhone(browser, bench, place, text);
		await page.getByRole("button", { name: "Say so" }).click();
		await page
			.getByText(`${text[0].toUpperCase()}${text.slice(1)}.`)
			.first()
			.waitFor();
		const doc = await bench.ask("GET", "/api/visits/DR-0001-1");
		const claim = doc.claims.find((c) => c.id === "fit.level");
		check("saying so shows the claim", claim.stands === "shown" && claim.said.text === text);
		await page.waitForFunction(() => !Object.keys(localStorage).some((k) => k.includes("fit.level")));
		const left = await bench.ask("GET", "/api/drafts?prefix=DR-0001-1.say");
		check("what was sent is no draft any more", left.drafts.length === 0);
		await page.context().close();
	} finally {
		await bench.kill();
	}
}

/** Another browser that never saw the page finds what was typed. */
async function deadPhone(browser, bench, place, text) {
	const other = await openPage(browser, bench, "desk", "dark");
	await go(other, bench, place);
	await other.waitForFunction(
		([l, t]) =>
			[...document.querySelectorAll("textarea")].some((x) => x.value === t && x.labels[0]?.textContent === l),
		[label, text],
	);
	check("another phone goes on where the first one died", true);
	await other.context().close();
}
