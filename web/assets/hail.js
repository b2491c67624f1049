// A hail day's photos: folders become a queue that is sent one after another; the sheet follows the measuring.
import { t } from "./words.js";

const $ = (id) => /** @type {any} */ (document.getElementById(id));
const form = $("lot-photos"), send = $("lot-send"), say = $("lot-sending"), list = $("lot-queue");
/** @type {Map<string, File[]>} */
const queue = new Map();
let sending = false, stale = false;

/** A file belongs to the folder it lies in; one without a folder to its own name up to the number at the end. */
function add(file, path) {
	const parts = path.split("/").filter(Boolean);
	const folder = parts.length > 1 ? parts.slice(0, -1).join("/") : file.name.replace(/\.\w+$/, "").replace(/[\s_-]*([uv]\d{1,3}-)?\d+$/, "");
	if (file.name.startsWith(".")) return;
	queue.set(folder, [...(queue.get(folder) || []), file]);
}

function show() {
	send.disabled = sending || queue.size === 0;
	list.replaceChildren(...[...queue].map(([name, files]) => {
		const li = document.createElement("li");
		li.dataset.folder = name;
		li.textContent = `${name} (${files.length})`;
		return li;
	}));
}

async function walk(entry, path) {
	if (entry.isFile) {
		const file = await new Promise((ok, no) => entry.file(ok, no));
		add(file, path + entry.name);
		return;
	}
	const reader = entry.createReader();
	for (;;) {
		const some = await new Promise((ok, no) => reader.readEntries(ok, no));
		if (!some.length) return;
		for (const e of some) await walk(e, path + entry.name + "/");
	}
}

for (const id of ["lot-folder", "lot-files"]) {
	const take = () => {
		for (const f of $(id).files) add(f, f.webkitRelativePath || f.name);
		show();
	};
	$(id).addEventListener("change", take);
	if ($(id).files.length) take();
}
const drop = $("lot-drop");
for (const k of ["dragenter", "dragover"]) drop.addEventListener(k, (e) => { e.preventDefault(); drop.classList.add("over"); });
for (const k of ["dragleave", "drop"]) drop.addEventListener(k, (e) => { e.preventDefault(); drop.classList.remove("over"); });
drop.addEventListener("drop", async (e) => {
	for (const entry of [...e.dataTransfer.items].map((i) => i.webkitGetAsEntry()).filter(Boolean)) await walk(entry, "");
	show();
});

form.addEventListener("submit", async (e) => {
	e.preventDefault();
	sending = true;
	send.disabled = true;
	const all = queue.size;
	let done = 0, wrong = 0;
	for (const [name, files] of [...queue]) {
		say.textContent = t("sending {1} of {2}", done + wrong + 1, all);
		const body = new FormData(form);
		body.append("folder", name);
		for (const f of files) body.append("photos", f, f.name);
		const li = [...list.children].find((k) => k.dataset.folder === name);
		try {
			const r = await fetch(form.action, { method: "POST", body });
			const answer = await r.json();
			li.textContent = `${name}: ${answer.text}`;
			if (r.ok) {
				queue.delete(name);
				done++;
			} else {
				li.className = "bad";
				wrong++;
			}
		} catch {
			li.textContent = t("{1}: the workshop cannot be reached; send again", name);
			li.className = "bad";
			wrong++;
		}
	}
	sending = false;
	send.disabled = queue.size === 0;
	say.textContent = wrong ? t("{1} sent, {2} still to do", done, wrong) : t("all sent; the measuring goes on by itself");
	form.dataset.sent = String(done);
	if (stale && !wrong) location.reload();
});

/** Put what is new of a panel's capture into its row; what the row says already is no reason to make the sheet anew. */
function news(job, state, progress) {
	const row = document.querySelector(`tr[data-job="${job}"] .what`);
	if (!row || (row.dataset.state === state && state !== "measuring")) return;
	row.dataset.state = state;
	if (state === "measuring") row.textContent = t("measuring {1} %", Math.round(100 * progress));
	if (state === "queued") row.textContent = t("waits to be measured");
	if (state !== "measured" && state !== "refused") return;
	row.textContent = state === "measured" ? t("measured") : t("not measured");
	if (state === "measured") document.querySelector("#lot progress").value++;
	// The sheet is made anew by the server, but never under somebody's photos.
	stale = true;
	if (!sending && queue.size === 0) location.reload();
}

const source = new EventSource("/events");
source.onmessage = (m) => {
	const e = JSON.parse(m.data);
	news(e.job, e.state, e.progress);
};
// What ended before the stream was open is in the sheet that the server makes now.
source.onopen = async () => {
	if (!document.querySelector(".what[data-state=queued], .what[data-state=measuring]")) return;
	const r = await fetch(location.href);
	if (!r.ok) return;
	const now = new DOMParser().parseFromString(await r.text(), "text/html");
	for (const tr of now.querySelectorAll("tr[data-job]")) {
		const state = tr.querySelector(".what").dataset.state;
		if (state === "measured" || state === "refused") news(tr.dataset.job, state, 1);
	}
};
