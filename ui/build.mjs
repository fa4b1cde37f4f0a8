// SPDX-License-Identifier: Apache-2.0
// One script, one style sheet and one page into dist/: the same bytes from the same tree.
import { build } from "esbuild";
import { cp, mkdir, readFile, rm } from "node:fs/promises";

/** Rows of a table of facts; quoted cells may hold commas and doubled quotes. */
function rowsOf(text) {
	const lines = text.split("\n").filter((l) => l !== "" && !l.startsWith("#"));
	const cells = (l) => [...l.matchAll(/("(?:[^"]|"")*"|[^,]*)(?:,|$)/g)].map((m) => m[1])
		.map((c) => (c.startsWith('"') ? c.slice(1, -1).replaceAll('""', '"') : c));
	const head = cells(lines[0]);
	return lines.slice(1).map((l) => Object.fromEntries(head.map((h, i) => [h, cells(l)[i]])));
}

/** What the table of claims says beside the documents: where a claim comes from, and whether words can show it. */
const claims = {
	name: "claims",
	setup(b) {
		b.onResolve({ filter: /^claims:facts$/ }, () => ({ path: "facts", namespace: "claims" }));
		b.onLoad({ filter: /.*/, namespace: "claims" }, async () => {
			const rows = rowsOf(await readFile("../data/claims.csv", "utf8"));
			const facts = Object.fromEntries(rows.map((r) => [r.id, { words: r.words === "YES", shownBy: r.shown_by, source: r.source }]));
			if (!facts["know.machine"]?.source) {
				throw new Error("data/claims.csv does not look as this script expects");
			}
			return { contents: JSON.stringify(facts), loader: "json" };
		});
	},
};

await rm("dist", { recursive: true, force: true });
await mkdir("dist");
await build({
	entryPoints: { app: "src/main.tsx", look: "src/look.css" },
	outdir: "dist",
	bundle: true,
	minify: true,
	format: "esm",
	target: ["es2022"],
	jsx: "automatic",
	jsxImportSource: "preact",
	legalComments: "none",
	charset: "utf8",
	logLevel: "warning",
	plugins: [claims],
});
for (const name of ["index.html", "icon.svg"]) {
	await cp(name, `dist/${name}`);
}
