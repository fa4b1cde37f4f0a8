// SPDX-License-Identifier: Apache-2.0
// Reads calendars with a parser that is none of ours and prints their events as JSON, one line a file:
//   node calendar.mjs FOLDER_OF_NODE_MODULES FILE...
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";

const [modules, ...files] = process.argv.slice(2);
const found = createRequire(join(modules, "x"))("ical.js");
const ICAL = found.default ?? found;

for (const file of files) {
	const calendar = new ICAL.Component(ICAL.parse(readFileSync(file, "utf8")));
	const events = calendar.getAllSubcomponents("vevent").map((v) => {
		const e = new ICAL.Event(v);
		const text = (name) => v.getFirstPropertyValue(name);
		return {
			uid: e.uid,
			summary: e.summary,
			location: e.location,
			description: e.description,
			start: e.startDate.toString(),
			end: e.endDate.toString(),
			floating: e.startDate.zone === ICAL.Timezone.localTimezone,
			stamp: String(text("dtstamp")),
			sequence: e.sequence,
			status: text("status"),
			geo: text("geo"),
		};
	});
	console.log(JSON.stringify({ version: calendar.getFirstPropertyValue("version"),
		prodid: calendar.getFirstPropertyValue("prodid"), events }));
}
