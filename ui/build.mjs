// SPDX-License-Identifier: Apache-2.0
// One script, one style sheet and one page into dist/: the same bytes from the same tree.
import { build } from "esbuild";
import { cp, mkdir, readFile, rm } from "node:fs/promises";

/** Rows of a table of facts; quoted cells may hold commas and doubled quotes. */
function rowsOf(text) {
	const lines = text.split("\n").filter((l) => l !== "" && !l.startsWith("#"));
	const cells = (l) =>
		[...l.matchAll(/("(?:[^"]|"")*"|[^,]*)(?:,|$)/g)]
			.map((m) => m[1])
			.map((c) => (c.startsWith('"') ? c.slice(1, -1).replaceAll('""', '"') : c));
	const head = cells(lines[0]);
	return lines.slice(1).map((l) => Object.fromEntries(head.map((h, i) => [h, cells(l)[i]])));
}

/** What tables of facts say beside the documents: where a claim comes from, whether words can show it, what a rule is. */
const tables = {
	"facts:claims": {
		file: "../data/claims.csv",
		key: "id",
		of: (r) => ({ words: r.words === "YES", shownBy: r.shown_by, source: r.source }),
	},
	"facts:rules": { file: "../data/rules.csv", key: "rule", of: (r) => r.sentence },
};
const facts = {
	name: "facts",
	setup(b) {
		b.onResolve({ filter: /^facts:/ }, (a) => ({ path: a.path, namespace: "facts" }));
		b.onLoad({ filter: /.*/, namespace: "facts" }, async ({ path }) => {
			const t = tables[path];
			const rows = rowsOf(await readFile(t.file, "utf8"));
			if (!rows.length || rows.some((r) => !r[t.key] || t.of(r) === undefined)) {
				throw new Error(`${t.file} does not look as build.mjs expects`);
			}
			return {
				contents: JSON.stringify(Object.fromEntries(rows.map((r) => [r[t.key], t.of(r)]))),
				loader: "json",
			};
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
	splitting: true,
	chunkNames: "[name]-[hash]",
	target: ["es2022"],
	jsx: "automatic",
	jsxImportSource: "preact",
	legalComments: "none",
	charset: "utf8",
	logLevel: "warning",
	plugins: [facts],
});
for (const name of ["index.html", "icon.svg"]) {
	await cp(name, `dist/${name}`);
}
