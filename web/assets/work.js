// At the panel: one hit at a time, by touch, key or foot switch, with the network or without it. What is noted lies in the device's own
// outbox until the workshop has it; every note has a key of its own, so that sending it twice does no harm.
import { colour } from "./viewer.js";
import { inches, t } from "./words.js";

const $ = (id) => /** @type {any} */ (document.getElementById(id));
const plan = JSON.parse($("plan-data").textContent);
const said = new Map(); // hit number -> last note
for (const h of plan.hits) if (h.said) said.set(h.n, { did: h.said, felt: h.felt || "", at: "" });
const idleMS = 10 * 60 * 1000; // no note for so long: the work has stopped
const resend = 8000;
let at = plan.hits.findIndex((h) => String(h.n) === $("ap-form").elements.n.value);
if (at < 0) at = plan.hits.length;

const key = () => Array.from(crypto.getRandomValues(new Uint8Array(10)), (b) => b.toString(16).padStart(2, "0")).join("");

// ---- the outbox ----
const box = new Promise((ok, no) => {
	const q = indexedDB.open("fairmetal", 1);
	q.onupgradeneeded = () => {
		q.result.createObjectStore("outbox", { keyPath: "key" });
		q.result.createObjectStore("logs"); // by job: the workshop's log as last heard, for a page that was kept before
	};
	q.onsuccess = () => ok(q.result);
	q.onerror = () => no(q.error);
});
/** Run requests on a store of the device. */
const outbox = async (mode, f, name = "outbox") => {
	const db = await box;
	return new Promise((ok, no) => {
		const x = db.transaction(name, mode), q = f(x.objectStore(name));
		x.oncomplete = () => ok(q?.result);
		x.onerror = () => no(x.error);
	});
};
const waiting = async () => (await outbox("readonly", (s) => s.getAll()));
let sending = false, more = false, again = 0;

/** Send all that waits; what comes in meanwhile goes next. */
async function send() {
	if (sending) { more = true; return; }
	sending = true;
	clearTimeout(again);
	let reached = true;
	do {
		more = false;
		try { await batch(await waiting()); } catch { reached = false; }
	} while (more && reached);
	sending = false;
	const left = await waiting(), net = $("ap-net");
	net.textContent = net.dataset.wrong || (left.length ? t("{1} kept here until the workshop is in reach", left.length) : t("all noted"));
	net.dataset.left = String(left.length);
	if (left.length) again = setTimeout(send, resend);
}

async function batch(all) {
	for (const job of new Set(all.map((m) => m.job))) {
		const list = all.filter((m) => m.job === job);
		const answer = await fetch(`/jobs/${job}/work/log`, { method: "POST", headers: { "Content-Type": "application/json" }, redirect: "error",
			body: JSON.stringify({ hits: list.filter((m) => m.hit).map((m) => m.hit), spans: list.filter((m) => m.span).map((m) => m.span) }) });
		if (!answer.ok && answer.status !== 404) throw new Error(String(answer.status));
		const log = answer.ok ? await answer.json() : {}; // 404: the job was removed, and its notes with it
		// A span may have grown while it was under way: only what was sent as it stands is done with.
		const now = new Map((await waiting()).map((m) => [m.key, JSON.stringify(m)]));
		await outbox("readwrite", (s) => { for (const m of list) if (now.get(m.key) === JSON.stringify(m)) s.delete(m.key); });
		const wrong = Object.values(log.refused || {})[0];
		if (wrong) $("ap-net").dataset.wrong = wrong;
		if (!answer.ok) continue;
		await outbox("readwrite", (s) => s.put(log.hits || [], job), "logs");
		if (job === plan.job) await follow(log.hits || []);
	}
}

/** Take over what other devices noted, and keep what still waits here. */
async function follow(hits) {
	said.clear();
	for (const h of [...hits, ...(await waiting()).filter((m) => m.hit && m.job === plan.job).map((m) => m.hit)]) {
		if (h.capture !== plan.capture) continue;
		if (h.did === "open") said.delete(h.n); else said.set(h.n, h);
	}
	show();
}

// ---- the clock ----
let span = null, lock = null;

async function tick(part) {
	const now = Date.now();
	if (span && (span.part !== part || now - Date.parse(span.end) > idleMS)) span = null;
	if (!span) span = { key: key(), part, start: new Date(now).toISOString(), end: "" };
	span.end = new Date(now).toISOString();
	if (span.end > span.start) await outbox("readwrite", (s) => s.put({ key: span.key, job: plan.job, span: { ...span } }));
	try { lock ??= await navigator.wakeLock.request("screen"); lock.onrelease = () => { lock = null; }; } catch { /* the screen's own timer holds */ }
}
function clock() {
	const c = $("ap-clock"), on = span && Date.now() - Date.parse(span.end) <= idleMS;
	c.hidden = !on;
	if (on) c.textContent = t("{1} min", Math.floor((Date.now() - Date.parse(span.start)) / 60000));
	else lock?.release();
}
setInterval(clock, 5000);

// ---- what is shown ----
const sign = (v) => (v > 0 ? "+" : v < 0 ? "\u2212" : "") + Math.abs(v).toFixed(0);

function show() {
	const h = plan.hits[at], done = said.size;
	$("ap-count").textContent = t("{1} of {2} hits noted", done, plan.hits.length);
	$("ap-hit").hidden = !h;
	$("ap-end").hidden = Boolean(h);
	for (const tr of document.querySelectorAll(".hits tbody tr")) {
		const s = said.get(Number(tr.dataset.n));
		tr.querySelector(".said").textContent = !s ? "" : s.felt ? t("done, hard") : s.did === "done" ? t("done") : t("skipped");
		tr.classList.toggle("on", h && tr.dataset.n === String(h.n));
	}
	$("atpanel").dataset.n = h ? String(h.n) : "";
	$("ap-back").hidden = at === 0 && done === 0;
	if (!h) return;
	const r = plan.rounds[h.round], s = said.get(h.n);
	$("ap-round").textContent = r.title + (s ? ` (${s.felt ? t("done, hard") : s.did === "done" ? t("done") : t("skipped")})` : "");
	$("ap-n").textContent = String(h.n);
	$("ap-method").textContent = h.method;
	$("ap-tool").textContent = h.tool + (h.bar ? ", " + h.bar : "");
	$("ap-how").textContent = h.how || "";
	$("ap-how").hidden = !h.how;
	$("ap-from").textContent = sign(h.from_um);
	$("ap-loaded").textContent = sign(h.loaded_um);
	$("ap-to").textContent = sign(h.to_um);
	$("ap-hand").textContent = (h.hand_n || h.force_n).toFixed(0);
	$("ap-pull").hidden = h.part !== "pull";
	$("ap-glue").textContent = h.glue?.name ? h.glue.name : t("No glue of your rack holds at this skin temperature.");
	$("ap-wait").hidden = !(h.glue?.wait_s > 0);
	$("ap-waits").textContent = "";
	clearInterval(count);
	$("ap-watch").replaceChildren(...(r.watch || []).map((w) => Object.assign(document.createElement("li"), { textContent: w })));
	const last = [...said.values()].filter((v) => v.at).sort((a, b) => (a.at < b.at ? -1 : 1)).slice(-5);
	if (last.length) $("ap-hard").hidden = last.filter((v) => v.felt === "hard").length < 3;
	const e = $("ap-form").elements;
	e.n.value = String(h.n);
	e.round.value = String(h.round);
	draw();
}

let count = 0;
$("ap-wait").addEventListener("click", () => {
	const end = Date.now() + 1000 * plan.hits[at].glue.wait_s;
	clearInterval(count);
	const say = () => {
		const left = Math.ceil((end - Date.now()) / 1000);
		$("ap-waits").textContent = left > 0 ? `${left} s` : t("Pull now.");
		if (left <= 0) clearInterval(count);
	};
	count = setInterval(say, 500);
	say();
});

/** Note the hit and go on to the next open one. */
async function note(did, felt = "") {
	const h = plan.hits[at];
	if (!h) return;
	const hit = { key: key(), capture: plan.capture, round: h.round, n: h.n, did, felt, part: h.part, at: new Date().toISOString() };
	said.set(h.n, hit);
	const open = plan.hits.findIndex((o, i) => i > at && !said.has(o.n));
	at = open >= 0 ? open : plan.hits.findIndex((o) => !said.has(o.n));
	if (at < 0) at = plan.hits.length;
	show();
	$("atpanel").scrollIntoView({ block: "start" });
	await outbox("readwrite", (s) => s.put({ key: hit.key, job: plan.job, hit }));
	await tick(h.part);
	clock();
	send();
}
const look = (d) => { at = Math.min(plan.hits.length - 1, Math.max(0, at + d)); show(); };

$("ap-form").addEventListener("submit", (e) => {
	e.preventDefault();
	const v = /** @type {SubmitEvent} */ (e).submitter.value;
	if (v === "hard") note("done", "hard"); else note(v);
});
$("ap-back").addEventListener("click", () => look(-1));
addEventListener("keydown", (e) => {
	const where = /** @type {HTMLElement} */ (e.target);
	if (e.ctrlKey || e.altKey || e.metaKey || e.repeat || where.closest("input, select, textarea, summary, a, [role=tab], [role=region]")) return;
	const press = e.key === " " || e.key === "Enter";
	if (press && where.closest("button")) return; // the button in focus is pressed
	if (press || e.key === "PageDown") note("done");
	else if (e.key === "ArrowUp") note("done", "hard");
	else if (e.key === "ArrowDown") note("skipped");
	else if (e.key === "ArrowRight") look(1);
	else if (e.key === "ArrowLeft") look(-1);
	else return;
	e.preventDefault();
});

// ---- the maps ----
let doc = null, marks = [], height = null, picture = null;
async function load() {
	const base = `/captures/${plan.capture}/`;
	[doc, marks, height] = await Promise.all([
		fetch(base + "surface.json").then((r) => r.json()),
		fetch(base + "marks.json").then((r) => r.json()).then((m) => m.marks),
		fetch(base + "height.f32").then((r) => r.arrayBuffer()).then((b) => new Float32Array(b)),
	]);
	const { cols, rows } = doc.grid, k = Math.max(1, Math.ceil(Math.max(cols, rows) / 1400));
	const w = Math.ceil(cols / k), h = Math.ceil(rows / k);
	picture = new OffscreenCanvas(w, h);
	const g = picture.getContext("2d"), img = g.createImageData(w, h);
	for (let r = 0; r < h; r++) for (let c = 0; c < w; c++) {
		const v = height[Math.min(rows - 1, (h - 1 - r) * k) * cols + c * k];
		if (v === v) img.data.set([...colour(1000 * v, doc.full_scale_um), 255], 4 * (r * w + c));
	}
	g.putImageData(img, 0, 0);
	draw();
	$("atpanel").dataset.ready = "yes";
}

/** Draw a window of the panel, in mm, with the hits. */
function window2d(canvas, x0, y0, x1, y1, near) {
	canvas.hidden = false;
	const box = canvas.getBoundingClientRect(), dpr = Math.min(2, devicePixelRatio || 1);
	const aspect = (y1 - y0) / (x1 - x0);
	canvas.width = Math.max(1, Math.round(box.width * dpr));
	canvas.height = Math.max(1, Math.round(box.width * dpr * aspect));
	const g = canvas.getContext("2d"), s = canvas.width / (x1 - x0), gd = doc.grid;
	const X = (x) => (x - x0) * s, Y = (y) => (y1 - y) * s;
	g.fillStyle = "#888b8c";
	g.fillRect(0, 0, canvas.width, canvas.height);
	g.imageSmoothingEnabled = !near;
	g.drawImage(picture, X(gd.x0_mm - gd.pitch_mm / 2), Y(gd.y0_mm + (gd.rows - 0.5) * gd.pitch_mm), gd.cols * gd.pitch_mm * s, gd.rows * gd.pitch_mm * s);
	const path = (o) => { g.beginPath(); o.forEach((q, i) => (i ? g.lineTo(X(q[0]), Y(q[1])) : g.moveTo(X(q[0]), Y(q[1])))); g.closePath(); };
	for (const c of doc.cards || []) {
		path(c.outline_mm);
		g.fillStyle = "#fffdf9";
		g.fill();
		g.fillStyle = "#1d2529";
		g.textAlign = "center";
		g.font = `bold ${Math.round(c.side_mm * s * 0.6)}px sans-serif`;
		g.fillText(c.letter, X(c.centre_mm[0]), Y(c.centre_mm[1]) + c.side_mm * s * 0.2);
	}
	g.lineWidth = dpr;
	g.strokeStyle = "#1d2529";
	for (const m of marks) { path(m.outline_mm); g.stroke(); }
	const h = plan.hits[at], r = (near ? 5 : 3) * dpr;
	for (const o of plan.hits) {
		if (h && o.round !== h.round) continue;
		g.beginPath();
		g.arc(X(o.x_mm), Y(o.y_mm), r, 0, 7);
		g.fillStyle = said.has(o.n) ? "#1d2529" : "#ffffffcc";
		g.fill();
		g.lineWidth = dpr;
		g.strokeStyle = "#1d2529";
		g.stroke();
	}
	if (!h) return;
	const cx = X(h.x_mm), cy = Y(h.y_mm), a = (near ? 9 : 5) * dpr, b = (near ? 34 : 18) * dpr;
	for (const [wide, ink] of [[7 * dpr, "#000"], [3 * dpr, "#fff"]]) {
		g.lineWidth = wide;
		g.strokeStyle = ink;
		g.beginPath();
		for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { g.moveTo(cx + a * dx, cy + a * dy); g.lineTo(cx + b * dx, cy + b * dy); }
		g.moveTo(cx + a * 1.6, cy);
		g.arc(cx, cy, a * 1.6, 0, 7);
		g.stroke();
	}
	if (near) {
		g.fillStyle = "#fff";
		g.fillRect(8 * dpr, canvas.height - 26 * dpr, 10 * s + 12 * dpr, 20 * dpr);
		g.fillStyle = "#1d2529";
		g.fillRect(14 * dpr, canvas.height - 12 * dpr, 10 * s, 3 * dpr);
		g.font = `${11 * dpr}px sans-serif`;
		g.textAlign = "left";
		g.fillText("10 mm", 14 * dpr, canvas.height - 15 * dpr);
	}
}

function draw() {
	const h = plan.hits[at];
	if (!picture || !h) return;
	const gd = doc.grid, xs = [], ys = [];
	// The whole map holds the marks and the cards, and not much beside.
	for (const m of marks) for (const q of m.outline_mm) { xs.push(q[0]); ys.push(q[1]); }
	for (const c of doc.cards || []) for (const q of c.outline_mm) { xs.push(q[0]); ys.push(q[1]); }
	for (const o of plan.hits) { xs.push(o.x_mm); ys.push(o.y_mm); }
	const pad = 12, lo = [Math.max(gd.x0_mm, Math.min(...xs) - pad), Math.max(gd.y0_mm, Math.min(...ys) - pad)];
	const hi = [Math.max(...xs) + pad, Math.max(...ys) + pad];
	const low = (hi[0] - lo[0]) * 0.8 - (hi[1] - lo[1]);
	if (low > 0) { lo[1] -= low / 2; hi[1] += low / 2; }
	window2d($("ap-map"), lo[0], lo[1], hi[0], hi[1], false);
	window2d($("ap-near"), h.x_mm - 25, h.y_mm - 20, h.x_mm + 25, h.y_mm + 20, true);
	const far = (doc.cards || []).map((c) => {
		const d = Math.hypot(h.x_mm - c.centre_mm[0], h.y_mm - c.centre_mm[1]);
		return t("{1} mm from card {2}", d.toFixed(0), c.letter) + inches(d);
	});
	$("ap-place").hidden = false;
	$("ap-place").textContent = [t("mark {1}", h.mark), ...far].join(" · ");
}
addEventListener("resize", draw);

// ---- start ----
addEventListener("online", send);
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
show();
load().catch(() => { $("ap-net").dataset.wrong = t("The map is not on this device yet; the figures hold."); });
(async () => {
	// A page kept on this device may be older than what was noted on it since.
	const heard = (await outbox("readonly", (s) => s.get(plan.job), "logs")) || [];
	await follow(heard.length > plan.noted ? heard : [...said].map(([n, v]) => ({ ...v, n, capture: plan.capture })));
	if (!new URLSearchParams(location.search).has("n")) {
		at = plan.hits.findIndex((h) => !said.has(h.n));
		if (at < 0) at = plan.hits.length;
		show();
	}
	send();
	if (!navigator.serviceWorker) return;
	try {
		await navigator.serviceWorker.register("/worker.js");
		const ready = await navigator.serviceWorker.ready, line = new MessageChannel();
		line.port1.onmessage = () => { $("atpanel").dataset.kept = "yes"; };
		ready.active.postMessage({ keep: [location.pathname, "/assets/work.js", ...["surface.json", "marks.json", "height.f32"].map((f) => `/captures/${plan.capture}/${f}`)] }, [line.port2]);
	} catch { /* the page works with the network only */ }
})();
