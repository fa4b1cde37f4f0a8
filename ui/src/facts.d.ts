// SPDX-License-Identifier: Apache-2.0
// Tables of data/, taken in by build.mjs.
declare module "facts:claims" {
	const facts: Record<string, { words: boolean; shownBy: string; source: string } | undefined>;
	export default facts;
}
declare module "facts:rules" {
	const sentences: Record<string, string | undefined>;
	export default sentences;
}
