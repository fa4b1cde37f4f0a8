// SPDX-License-Identifier: Apache-2.0
import { render } from "preact";
import { useEffect, useState } from "preact/hooks";
import { post, Refusal, sentenceOf } from "./api";
import type { BenchDoc } from "./documents";
import { startStream, useDoc, useLine } from "./live";
import { AuditPage } from "./pages/audit";
import { BrowsersPage, PairPage } from "./pages/browsers";
import { BusPage } from "./pages/bus";
import { HandOverPage } from "./pages/handover";
import { ColdPage, SignalPage, SupplyPage } from "./pages/measure";
import { isOffice, OfficePage } from "./office-way";
import { NumbersPage, OpenPage } from "./pages/numbers";
import { PhotographsPage } from "./pages/photographs";
import { MachinePage, PractisePage } from "./pages/practise";
import { ReadPage } from "./pages/read";
import { SalesPage } from "./pages/sales";
import { SettingsPage } from "./pages/settings";
import { SheetPage } from "./pages/sheet";
import { VisitPage } from "./pages/visit";
import { VisitsPage } from "./pages/visits";
import { to, usePlace, type Place } from "./route";

type Paper = "light" | "dark";

function paperNow(): Paper {
	const set = document.documentElement.dataset["paper"];
	if (set === "light" || set === "dark") {
		return set;
	}
	return matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light";
}

function setPaper(p: Paper | null): void {
	if (p) {
		document.documentElement.dataset["paper"] = p;
	}
}

function keptPaper(): Paper | null {
	try {
		const p = localStorage.getItem("fettle.paper");
		return p === "light" || p === "dark" ? p : null;
	} catch {
		return null;
	}
}

function PaperSwitch() {
	const [paper, set] = useState<Paper>(paperNow());
	const other: Paper = paper === "light" ? "dark" : "light";
	const turn = () => {
		setPaper(other);
		set(other);
		try {
			localStorage.setItem("fettle.paper", other);
		} catch {
			/* for this page only then */
		}
	};
	return (
		<button type="button" onClick={turn} aria-label={`Turn to ${other} paper`}>
			{other === "dark" ? "Dark" : "Light"}
		</button>
	);
}

function Cover({ place }: { place: Place }) {
	const at = place.parts[0] ?? "";
	const current = (names: string[]) => (names.includes(at) ? "page" : undefined);
	return (
		<header class="cover">
			<a class="name" href="#/">
				fettle
			</a>
			<nav aria-label="Notebook">
				<a href="#/" aria-current={current(["", "visit", "open"])}>
					Visits
				</a>
				<a href={to(["fleet"])} aria-current={isOffice(at) ? "page" : undefined}>
					Office
				</a>
				<a href={to(["practise"])} aria-current={current(["practise"])}>
					Practise
				</a>
				<a href={to(["browsers"])} aria-current={current(["browsers"])}>
					Bench
				</a>
			</nav>
			<PaperSwitch />
		</header>
	);
}

const visitPages: Record<string, (p: { id: string; place: Place }) => preact.JSX.Element> = {
	read: ReadPage,
	audit: AuditPage,
	settings: SettingsPage,
	photographs: PhotographsPage,
	sales: SalesPage,
	bus: BusPage,
	cold: ColdPage,
	signal: SignalPage,
	supply: SupplyPage,
	sheet: SheetPage,
	machine: NumbersPage,
	"hand-over": HandOverPage,
};

function Body({ place }: { place: Place }) {
	const [what, id, page] = place.parts;
	if (what === "visit" && id) {
		const Page = (page && visitPages[page]) || VisitPage;
		return <Page id={id} place={place} key={`${id}/${page ?? ""}`} />;
	}
	if (what === "open") {
		return <OpenPage />;
	}
	if (isOffice(what)) {
		return <OfficePage place={place} />;
	}
	if (what === "practise") {
		return id ? <MachinePage id={id} key={id} /> : <PractisePage />;
	}
	if (what === "browsers") {
		return <BrowsersPage />;
	}
	return <VisitsPage />;
}

/** Nothing changes for who is paired; a new phone gives its code first. */
function Book({ refused }: { refused: string | null }) {
	const place = usePlace();
	const up = useLine();
	const bench = useDoc<BenchDoc>("/api/bench");
	const stranger = bench.doc !== null && !bench.doc.paired;
	useEffect(() => {
		if (bench.doc && !stranger) {
			startStream();
		}
	}, [bench.doc !== null, stranger]);
	useEffect(() => {
		scrollTo(0, 0);
	}, [place.parts.join("/")]);
	return (
		<>
			<a
				class="skip"
				href="#leaf"
				onClick={(e) => {
					e.preventDefault();
					document.querySelector<HTMLElement>("h1")?.focus();
				}}
			>
				To the page
			</a>
			<Cover place={place} />
			<p class={up ? "unseen" : "offline"} role="status">
				{up ? "" : "The bench does not answer. What you write is kept here and sent when it is back."}
			</p>
			<main id="leaf">{stranger ? <PairPage refused={refused} /> : <Body place={place} />}</main>
		</>
	);
}

/** The code of pairing stands behind #, where it never travels; it is posted once and taken out of sight. What comes back
 * is why it did not serve. */
async function pairFromAddress(): Promise<string | null> {
	const found = /^#pair=([A-Za-z0-9-]+)$/.exec(location.hash);
	if (!found) {
		return null;
	}
	history.replaceState(null, "", "#/");
	try {
		await post("/api/pair", { code: found[1], name: navigator.platform || "browser" });
		return null;
	} catch (e) {
		return e instanceof Refusal && e.status === 403
			? "The code of this address serves no more: it was used already, or it is too old. Ask for a new one."
			: sentenceOf(e);
	}
}

setPaper(keptPaper());
const root = document.getElementById("book");
if (root) {
	void pairFromAddress().then((refused) => render(<Book refused={refused} />, root));
}
