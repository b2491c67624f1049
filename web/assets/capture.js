// Photos one by one from the phone's camera, and a look at each of them as soon as it is there.
import { t } from "./words.js";

const form = /** @type {HTMLFormElement} */ (document.getElementById("capture-form"));
const input = /** @type {HTMLInputElement} */ (document.getElementById("photos"));
const camera = /** @type {HTMLInputElement} */ (document.getElementById("camera"));

/** A photo just taken joins those that are chosen. */
camera.addEventListener("change", () => {
	const all = new DataTransfer();
	for (const f of input.files) all.items.add(f);
	for (const f of camera.files) all.items.add(new File([f], f.name.replace(/(\.\w+)?$/, `-${String(input.files.length + 1).padStart(2, "0")}$1`), { type: f.type }));
	input.files = all.files;
	camera.value = "";
	document.dispatchEvent(new Event("photos"));
});

const seen = new Map(); // what was said of a photo, by name, size and time
let run = 0;

/** Send the photos one after another to be looked at; a new choice, or sending all of them, ends it. */
async function check() {
	const mine = ++run;
	for (const f of [...input.files]) {
		if (!f.type.startsWith("image/") && !/\.hei[cf]$/i.test(f.name)) continue;
		const key = `${f.name} ${f.size} ${f.lastModified}`;
		if (!seen.has(key)) {
			say(f, "busy", t("looking at it"));
			try {
				const r = await fetch(form.dataset.check, { method: "POST", body: f });
				if (mine !== run) return;
				if (!r.ok) continue;
				seen.set(key, await r.json());
			} catch {
				return; // the network is gone: sending will tell
			}
		}
		if (mine !== run) return;
		const v = seen.get(key);
		say(f, v.ok ? "good" : "poor", (v.ok ? "\u2713 " : "! ") + v.words);
	}
}

function say(file, state, words) {
	const fig = [...document.querySelectorAll("#thumbs figure")].find((k) => /** @type {HTMLElement} */ (k).dataset.name === file.name);
	if (!fig) return;
	let p = fig.querySelector("p");
	if (!p) fig.append((p = document.createElement("p")));
	p.textContent = words;
	/** @type {HTMLElement} */ (fig).dataset.state = state;
}

document.addEventListener("chosen", check);
document.addEventListener("sending", () => run++);
if (input.files.length) check();

/** Another flaw, another set-up: only the drawing changes, what was chosen stays. */
const guide = /** @type {HTMLFormElement} */ (document.getElementById("guide-form"));
guide.querySelector("button").hidden = true;
guide.addEventListener("change", async () => {
	const r = await fetch(`${location.pathname}?${new URLSearchParams(/** @type {any} */ (new FormData(guide)))}`);
	if (!r.ok) return;
	const page = new DOMParser().parseFromString(await r.text(), "text/html");
	document.getElementById("guide").replaceChildren(...page.getElementById("guide").childNodes);
});
