// The vehicle to tap, paint readings with their verdict, and the pad for a signature.
import { t } from "./words.js";
import { startPads } from "./sign.js";

/** Tap or key a panel; the list beside it is the field that is sent. */
function drawing(box) {
	const select = box.querySelector("select[name=place]");
	const panels = [...box.querySelectorAll("[data-place]")];
	const say = box.querySelector(".picked");
	const show = () => {
		for (const p of panels) p.setAttribute("aria-pressed", String(p.dataset.place === select.value));
		say.textContent = select.value ? select.selectedOptions[0].textContent : t("Tap the panel, or choose it from the list.");
	};
	const pick = (p) => {
		select.value = p.dataset.place;
		show();
		if ("submit" in box.dataset) box.closest("form").requestSubmit();
	};
	for (const p of panels) {
		p.addEventListener("click", () => pick(p));
		p.addEventListener("keydown", (e) => {
			if (e.key !== "Enter" && e.key !== " ") return;
			e.preventDefault();
			pick(p);
		});
	}
	select.addEventListener("change", show);
	box.querySelector(".views-of").hidden = false;
	show();
}

/** The verdict on the readings as they are typed. */
function readings(box) {
	const say = document.querySelector(".coat");
	const limit = (n) => Number(box.dataset[n]);
	const kind = (um) => (um > limit("filler") ? "filler" : um > limit("repaint") ? "repaint" : um < limit("thin") ? "thin" : "factory");
	const words = { filler: t("filler"), repaint: t("painted again"), thin: t("factory film"), factory: t("factory film") };
	const show = () => {
		const um = [];
		for (const i of box.querySelectorAll("input")) {
			const v = Number(i.value.replace(",", "."));
			if (v > 0) {
				um.push(v);
				i.dataset.kind = kind(v);
			} else delete i.dataset.kind;
		}
		if (um.length === 0) { say.textContent = ""; return; }
		const low = Math.min(...um), high = Math.max(...um);
		say.textContent = t("{1}: {2} to {3} um", words[kind(high)], low, high) + (low < limit("thin") ? "; " + t("thin in places: sanded or polished before") : "");
	};
	box.addEventListener("input", show);
	show();
}

/** Names that fit what is typed; with a customer found, that customer's vehicles. */
function names(form) {
	const customer = form.elements.customer, people = document.getElementById("people"), vehicles = document.getElementById("vehicles");
	if (!people || !vehicles) return;
	const fill = (list, values) => list.replaceChildren(...values.map((v) => new Option(v, v)));
	let wait = 0;
	customer.addEventListener("input", () => {
		clearTimeout(wait);
		wait = setTimeout(async () => {
			const r = await fetch(`/find?${new URLSearchParams({ customer: customer.value })}`);
			if (!r.ok) return;
			const found = await r.json();
			fill(people, found.people);
			if (found.vehicles.length) fill(vehicles, found.vehicles);
		}, 200);
	});
}

const start = document.getElementById("job-form");
if (start) names(start);
document.querySelectorAll(".vehicle").forEach(drawing);
document.querySelectorAll(".readings").forEach(readings);
startPads();
