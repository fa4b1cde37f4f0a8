// SPDX-License-Identifier: Apache-2.0
// Every page, on a phone and on a desk, on light and on dark paper: sound, as wide as the screen, and kept as a picture.
import { Bench, check, go, openPage, papers, settled, walk } from "./hands.mjs";
import { scene } from "./scene.mjs";

const pages = [
	"read",
	"audit",
	"settings",
	"photographs",
	"sales",
	"bus",
	"cold",
	"signal",
	"supply",
	"sheet",
	"machine",
	"hand-over",
];

/** What a page must say of the scene, so that an empty page is no sound page. */
const says = {
	visit: /contradicted/,
	audit: /OAT BAR/,
	sales: /Selections 21 and 23 count for each other/,
	bus: /cashless device 1/,
	cold: /Compressor/,
	signal: /door closed/,
	supply: /telemetry unit/,
	settings: /SALT CRISPS/,
	photographs: /machine-open/,
	"hand-over": /BD-0417/,
	read: /first\.dts/,
	machine: /SIM/,
};

export async function everyPage({ browser, program, folder, snapshots }) {
	const bench = await new Bench(program, folder, "every").start();
	try {
		const id = await scene(bench, folder);
		const places = [
			["visits", "/"],
			["open", "/open"],
			["practise", "/practise"],
			["bench", "/browsers"],
			["visit", `/visit/${id}`],
			["claim", `/visit/${id}?claim=prove.sales`],
			...pages.map((p) => [p, `/visit/${id}/${p}`]),
		];
		await walk({ browser, bench, snapshots }, places, says, "", (paper) => paper !== papers[0]);
		await paperSwitch(browser, bench);
		await sheetOnPhone(browser, bench, id);
	} finally {
		await bench.kill();
	}
}

/** The wiring sheet is seen whole on a phone, and can be enlarged. */
async function sheetOnPhone(browser, bench, id) {
	const page = await openPage(browser, bench, "phone", "light");
	await go(page, bench, `/visit/${id}/sheet`);
	const drawn = page.getByRole("img", { name: /The wiring sheet/ });
	await drawn.waitFor();
	const wide = async () => (await drawn.boundingBox()).width;
	const first = await wide();
	check("the wiring sheet is as wide as the screen", first > 200 && first <= 360, `${first}`);
	await page.getByRole("button", { name: "Enlarge" }).click();
	check("and is enlarged by a button", (await wide()) > 2 * first);
	await page.context().close();
}

async function paperSwitch(browser, bench) {
	const page = await openPage(browser, bench, "phone", "light");
	await go(page, bench, "/");
	const ground = () => page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor);
	const light = await ground();
	await page.getByRole("button", { name: "Turn to dark paper" }).click();
	const dark = await ground();
	check("the switch turns the paper", light !== dark);
	await page.reload();
	await settled(page);
	check("the paper stays turned", (await ground()) === dark);
	await page.context().close();
}
