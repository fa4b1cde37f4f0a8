// SPDX-License-Identifier: Apache-2.0
import { useEffect, useState } from "preact/hooks";

/** The value a moment later, so that a long list does not hold up the keys. */
export function useDeferred<T>(value: T, ms = 60): T {
	const [now, set] = useState(value);
	useEffect(() => {
		const t = setTimeout(() => set(value), ms);
		return () => clearTimeout(t);
	}, [value, ms]);
	return now;
}
