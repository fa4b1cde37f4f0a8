// SPDX-License-Identifier: Apache-2.0
// The first load: how much it is, that nothing comes from outside, that the policy of the bench suffers it.
import { Bench, check, go, noComplaints, openPage } from "./hands.mjs";

const most = 120 * 1000; // ours: the whole first load, gzipped, over a phone at the edge of its network

export async function load({ browser, program, folder }) {
	const bench = await new Bench(program, folder, "load").start();
	try {
		const page = await openPage(browser, bench, "phone", "light");
		const sizes = [];
		// The stream of events never ends, so it has no size.
		page.on(
			"response",
			(r) =>
				r.url().includes("/api/events") ||
				sizes.push(
					r
						.request()
						.sizes()
						.then((s) => ({ url: r.url(), bytes: s.responseBodySize })),
				),
		);
		await go(page, bench, "/");
		const files = await Promise.all(sizes);
		const sum = files.reduce((n, s) => n + s.bytes, 0);
		check(
			"the script comes with the first load",
			files.some((s) => s.url.endsWith("/app.js") && s.bytes > 10000),
		);
		check("the first load is small enough", sum > 0 && sum < most, `${sum} bytes`);
		const head = await fetch(`${bench.url}/app.js`, { headers: { "Accept-Encoding": "gzip" } });
		check("pages travel packed", head.headers.get("content-encoding") === "gzip");
		check(
			"the policy allows no foreign script",
			/default-src 'self'/.test(head.headers.get("content-security-policy") ?? "") &&
				!/unsafe-inline/.test(head.headers.get("content-security-policy") ?? ""),
		);
		noComplaints(page, "first load");
		await page.context().close();
	} finally {
		await bench.kill();
	}
}
