// SPDX-License-Identifier: Apache-2.0
// data/claims.csv, taken in by build.mjs.
declare module "claims:facts" {
	const facts: Record<string, { words: boolean; shownBy: string; source: string } | undefined>;
	export default facts;
}
