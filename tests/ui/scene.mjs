// SPDX-License-Identifier: Apache-2.0
// A book with something on every page, made by the program itself on a practice machine.
import { spawn } from "node:child_process";
import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { deflateSync } from "node:zlib";

function practise(bench, folder, lines, faults) {
	return new Promise((yes, no) => {
		const child = spawn(
			bench.program,
			["practice", "--pace", "fast", ...faults.flatMap((f) => ["--fault", f])],
			{ env: bench.env, cwd: folder, stdio: ["pipe", "ignore", "pipe"] },
		);
		let err = "";
		child.stderr.on("data", (d) => {
			err += d;
		});
		child.once("exit", (code) =>
			code === 0 && err === "" ? yes() : no(new Error(`practice: ${code} ${err}`)),
		);
		child.stdin.end([...lines, "quit", ""].join("\n"));
	});
}

/** A PNG of one colour, written here so that no picture has to lie in the tree. */
export function png(width, height, [r, g, b]) {
	const table = Array.from({ length: 256 }, (_, n) => {
		let c = n;
		for (let k = 0; k < 8; k++) {
			c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
		}
		return c >>> 0;
	});
	const crc = (buf) => (buf.reduce((c, x) => table[(c ^ x) & 255] ^ (c >>> 8), 0xffffffff) ^ 0xffffffff) >>> 0;
	const chunk = (kind, data) => {
		const body = Buffer.concat([Buffer.from(kind), data]);
		const head = Buffer.alloc(4);
		head.writeUInt32BE(data.length);
		const tail = Buffer.alloc(4);
		tail.writeUInt32BE(crc(body));
		return Buffer.concat([head, body, tail]);
	};
	const head = Buffer.alloc(13);
	head.writeUInt32BE(width, 0);
	head.writeUInt32BE(height, 4);
	head.set([8, 2, 0, 0, 0], 8);
	const row = Buffer.concat([
		Buffer.from([0]),
		Buffer.from(Array.from({ length: width }, () => [r, g, b]).flat()),
	]);
	const rows = Buffer.concat(Array.from({ length: height }, () => row));
	return Buffer.concat([
		Buffer.from([137, 80, 78, 71, 13, 10, 26, 10]),
		chunk("IHDR", head),
		chunk("IDAT", deflateSync(rows)),
		chunk("IEND", Buffer.alloc(0)),
	]);
}

function signalLog() {
	const at = (name, levels) => [`position ${name}`, ...levels.map((n) => `+CSQ: ${n},99`)];
	return [
		...at("door open", [20, 21, 19, 20, 22, 20, 21, 20, 19, 21, 20]),
		...at("door closed", [12, 13, 11, 12, 12, 14, 11, 12, 13, 12, 12]),
		"+CREG: 0,1",
		"",
	].join("\n");
}

export async function scene(bench, parent) {
	const folder = join(parent, `scene-${bench.port}`);
	mkdirSync(folder, { recursive: true });
	const file = (name) => join(folder, name);
	await practise(
		bench,
		folder,
		[
			"sell 31 coins 100",
			"read first.dts",
			"price firmware 0313".replace("price ", ""),
			"read updated.dts",
			...[
				"price 21 125",
				"price 22 125",
				"price 23 200",
				"fault crossed-selections 21 23",
				"read keyed.dts",
				"sales forget",
			],
			"sell 21 coins 100 25",
			"sell 23 coins 100 100",
			"sell 23 card",
			"sell 11 bill 500",
			"read sold.dts",
			"sales sales.csv",
		],
		[],
	);
	await practise(
		bench,
		folder,
		[
			"bus start tap.vcd",
			"sell 21 card",
			"sell 11 coins 100 50",
			"wait 10",
			"bus stop",
			"log start",
			"wait 90000",
			"door open",
			"wait 240",
			"refill",
			"door close",
			"wait 40000",
			"log cabinet.csv",
		],
		["bus-late reader"],
	);
	writeFileSync(file("levels.txt"), signalLog());
	writeFileSync(file("chain.csv"), await bench.run("supply", "--template"));
	writeFileSync(file("machine-open.png"), png(64, 48, [120, 140, 150]));
	await bench.run(
		"visit",
		"open",
		"BD-0417",
		"--site",
		"Harbour canteen, east",
		"--machine-serial",
		"PL7730418",
		"--by",
		"A. Fitter",
	);
	const add = (...args) => bench.run("visit", "add", "BD-0417", ...args);
	await add(file("first.dts"));
	await add(file("updated.dts"));
	await add(file("keyed.dts"));
	await add(file("sold.dts"), file("sales.csv"));
	await add(file("tap.vcd"));
	await add(file("cabinet.csv"), "--kind", "temperature");
	await add(file("levels.txt"), "--kind", "signal");
	await add(file("chain.csv"), "--kind", "supply");
	await add(file("machine-open.png"));
	await bench.run("visit", "say", "BD-0417", "fit.level", "level, both anchors tight");
	await bench.run("visit", "waive", "BD-0417", "know.supply", "--because", "the maker gives no figures");
	await bench.run("visit", "open", "KT-2201", "--site", "Ferry hall");
	return "BD-0417-1";
}
