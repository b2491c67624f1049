// Live parts of the pages: progress, uploads, the viewer. All forms work without it.
import { startViewer } from "./viewer.js";
import { inches, t } from "./words.js";

/** Follow captures that are being measured. */
function live() {
	const box = /** @type {HTMLElement|null} */ (document.querySelector("[data-live]"));
	if (!box) return;
	const source = new EventSource("/events");
	/** Load the page anew, once. */
	const again = () => {
		source.close();
		location.reload();
	};
	source.onmessage = (m) => {
		const e = JSON.parse(m.data);
		if (box.dataset.live === "bench") {
			const what = document.querySelector(`[data-job="${e.job}"] .what`);
			if (what && e.state === "measuring") what.textContent = t("measuring {1} %", Math.round(100 * e.progress));
			if (e.state === "measured" || e.state === "refused") again();
			return;
		}
		if (e.capture !== box.dataset.capture) return;
		const bar = box.querySelector("progress");
		const doing = box.querySelector(".doing");
		if (bar) bar.value = e.progress;
		if (doing && e.doing) doing.textContent = t(e.doing);
		if (e.state === "measured" || e.state === "refused") again();
	};
	// What happened before the stream was open is in the page that the server makes now.
	source.onopen = () => {
		if (box.dataset.live === "capture") setTimeout(check, 400);
	};
	async function check() {
		const r = await fetch(location.href);
		if (r.ok && !(await r.text()).includes('data-live="capture"')) again();
	}
}

/** Recognise what photos show, by name or by order; mirrors the server's rule so that it can be corrected before sending. */
function guess(names, kind, fine, coarse) {
	const named = /^([uv])(\d{1,3})-(\d{1,2})\./;
	const byName = names.every((n) => named.test(n));
	const order = byName ? names.slice() : names.slice().sort();
	return order.map((n, i) => {
		const m = n.match(named);
		if (byName && kind === "shifted" && m) return { n, stripes: m[1], pitch: Number(m[2]), shift: Number(m[3]) / 100 };
		if (kind === "crossed") return { n, stripes: "uv", pitch: fine, shift: 0 };
		if (kind === "shifted") {
			const half = order.length / 2, quarter = Math.max(1, Math.floor(order.length / 4));
			return { n, stripes: i >= half ? "v" : "u", pitch: Math.floor(i / quarter) % 2 ? coarse : fine, shift: (i % quarter) / quarter };
		}
		const low = n.toLowerCase();
		return { n, stripes: low.includes("-v") || (i >= (order.length + 1) / 2 && !low.includes("-u")) ? "v" : "u", pitch: fine, shift: 0 };
	});
}

function uploads() {
	const form = /** @type {HTMLFormElement|null} */ (document.getElementById("capture-form"));
	if (!form) return;
	const input = /** @type {HTMLInputElement} */ (document.getElementById("photos"));
	const drop = document.getElementById("drop");
	const thumbs = document.getElementById("thumbs");
	const box = document.getElementById("frames-box");
	const body = document.querySelector("#frames tbody");
	const value = (n) => /** @type {any} */ (form.elements.namedItem(n)).value;

	const show = () => {
		const files = [...input.files];
		thumbs.replaceChildren(...files.filter((f) => f.type.startsWith("image/") && f.size < 40e6).slice(0, 60).map((f) => {
			const fig = document.createElement("figure"), img = document.createElement("img"), cap = document.createElement("figcaption");
			img.src = URL.createObjectURL(f);
			img.alt = "";
			img.onload = () => URL.revokeObjectURL(img.src);
			cap.textContent = f.name;
			fig.append(img, cap);
			fig.dataset.name = f.name;
			return fig;
		}));
		table(files);
		document.dispatchEvent(new Event("chosen"));
	};
	const table = (files) => {
		const own = files.some((f) => f.name === "capture.json");
		box.hidden = own || files.length === 0;
		if (box.hidden) return;
		const rows = guess(files.map((f) => f.name), value("kind"), Number(value("fine")), Number(value("coarse")));
		body.replaceChildren(...rows.map((r) => {
			const tr = document.createElement("tr");
			const name = document.createElement("td");
			name.textContent = r.n;
			const pick = document.createElement("select");
			pick.name = "stripes_" + r.n;
			pick.setAttribute("aria-label", "stripes in " + r.n);
			for (const [v, label] of [["u", t("upright")], ["v", t("level")], ["uv", t("crossed")]]) pick.add(new Option(label, v, v === r.stripes, v === r.stripes));
			const cell = (key, v) => {
				const td = document.createElement("td"), i = document.createElement("input");
				i.name = key + r.n;
				i.value = String(v);
				i.inputMode = "decimal";
				i.setAttribute("aria-label", key.replace("_", " ") + r.n);
				td.append(i);
				return td;
			};
			const s = document.createElement("td");
			s.append(pick);
			tr.append(name, s, cell("pitch_", r.pitch), cell("shift_", r.shift));
			return tr;
		}));
	};
	input.addEventListener("change", show);
	document.addEventListener("photos", show);
	if (input.files.length) show(); // chosen before this script was there
	form.addEventListener("change", (e) => {
		if (["kind", "fine", "coarse"].includes(/** @type {any} */ (e.target).name)) table([...input.files]);
	});
	for (const k of ["dragenter", "dragover"]) drop.addEventListener(k, (e) => { e.preventDefault(); drop.classList.add("over"); });
	for (const k of ["dragleave", "drop"]) drop.addEventListener(k, (e) => { e.preventDefault(); drop.classList.remove("over"); });
	drop.addEventListener("drop", (e) => {
		if (/** @type {DragEvent} */ (e).dataTransfer.files.length) {
			input.files = /** @type {DragEvent} */ (e).dataTransfer.files;
			show();
		}
	});
	// With script the photos go up with progress, and a problem leaves everything that was typed in place.
	form.addEventListener("submit", (e) => {
		e.preventDefault();
		const send = /** @type {HTMLButtonElement} */ (document.getElementById("send"));
		const say = document.getElementById("sending");
		send.disabled = true;
		document.dispatchEvent(new Event("sending"));
		const x = new XMLHttpRequest();
		x.open("POST", form.action);
		x.upload.onprogress = (p) => { if (p.lengthComputable) say.textContent = t("sending {1} %", Math.round(100 * p.loaded / p.total)); };
		x.onerror = () => { say.textContent = t("The workshop cannot be reached. Your photos are still chosen: send again."); send.disabled = false; };
		x.onload = () => {
			if (x.status < 400 && x.responseURL) { location.href = x.responseURL; return; }
			send.disabled = false;
			say.textContent = "";
			const page = new DOMParser().parseFromString(x.responseText, "text/html");
			const problem = page.querySelector(".problem");
			document.querySelector(".problem")?.remove();
			if (problem) { form.before(problem); problem.scrollIntoView({ block: "center" }); }
		};
		x.send(new FormData(form));
	});
}

/** A table of many columns becomes a card for each row on a narrow screen: the cells know their columns. */
function cards() {
	for (const table of document.querySelectorAll(".scroll table")) {
		const heads = [...table.querySelectorAll("thead th")].map((h) => h.textContent.trim());
		if (heads.length < 6) continue;
		table.classList.add("cards");
		for (const td of table.querySelectorAll("tbody td")) /** @type {HTMLElement} */ (td).dataset.label = heads[/** @type {HTMLTableCellElement} */ (td).cellIndex];
	}
}

live();
uploads();
cards();
for (const e of document.querySelectorAll("[data-mm]")) e.append(inches(Number(/** @type {HTMLElement} */ (e).dataset.mm)));
startViewer();
