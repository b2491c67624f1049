// The panel on the page: photo with heat map, map with a section line, and the surface as a solid. One selection links them with the
// list of marks.
import { startDrawing } from "./draw.js";
import { startSolid } from "./solid.js";
import { figure, t } from "./words.js";

/** Colour of a height; the same scale as the heat map on the photo. */
export function colour(um, full) {
	let q = Math.sqrt(Math.min(Math.abs(um) / full, 1));
	if (Math.abs(um) < 1.5) q *= Math.abs(um) / 1.5;
	const mix = (a, b) => a + (b - a) * q;
	return um < 0 ? [mix(238, 20), mix(240, 50), mix(240, 170)] : [mix(238, 200), mix(240, 60), mix(240, 0)];
}

/** @typedef {{grid:{cols:number,rows:number,pitch_mm:number,x0_mm:number,y0_mm:number},full_scale_um:number,cards:any[],photo:any}} Doc */

export async function startViewer() {
	const root = document.getElementById("viewer");
	if (!root) return;
	const base = `/captures/${root.dataset.capture}/`;
	const [doc, marks, height, sigma] = await Promise.all([
		fetch(base + "surface.json").then((r) => r.json()),
		fetch(base + "seen.json").then((r) => r.json()).then((m) => m.marks),
		fetch(base + "height.f32").then((r) => r.arrayBuffer()).then((b) => new Float32Array(b)),
		fetch(base + "sigma.f32").then((r) => r.arrayBuffer()).then((b) => new Float32Array(b)),
	]);
	const state = { doc, marks, height, sigma, picked: "", hit: null, tool: null, areas: JSON.parse(root.dataset.areas || "null") || [], listeners: /** @type {(() => void)[]} */ ([]) };
	const pick = (id, hit = null) => { state.picked = id; state.hit = hit; for (const f of state.listeners) f(); };
	list(state, pick);
	onPhoto(state, pick);
	const map = onMap(state, pick);
	const show = tabs({ map: map.draw, solid: startSolid(state) });
	startDrawing(state, { ...map, pick }, () => show("map"));
	root.dataset.ready = "yes";
}

function list(state, pick) {
	const kinds = { round: t("round"), crease: t("crease"), star: t("star"), line: t("line"), high: t("high") };
	const body = document.querySelector("#marks tbody");
	if (body) {
		body.replaceChildren(...state.marks.map((m) => {
			const tr = document.createElement("tr");
			tr.dataset.mark = m.id;
			tr.tabIndex = 0;
			const cells = [m.id, kinds[m.kind], `${figure(m.length_mm)} x ${figure(m.width_mm)}`, m.folded ? t("not known") : figure(m.depth_um / 1000, 3)];
			cells.forEach((c, i) => { const td = document.createElement("td"); td.textContent = c; if (i > 1) td.className = "n"; tr.append(td); });
			if (!m.folded) tr.title = t("+- {1} um; crown {2} um", figure(m.depth_sigma_um, 1), figure(m.crown_um));
			const go = () => pick(m.id);
			tr.addEventListener("click", go);
			tr.addEventListener("pointerenter", go);
			tr.addEventListener("focus", go);
			return tr;
		}));
		state.listeners.push(() => {
			for (const tr of body.children) tr.classList.toggle("on", tr.dataset.mark === state.picked);
		});
	}
	for (const tr of document.querySelectorAll(".hits tbody tr")) {
		const go = () => {
			document.querySelectorAll(".hits tr.on").forEach((o) => o.classList.remove("on"));
			tr.classList.add("on");
			pick(tr.children[1].textContent, [Number(tr.dataset.x), Number(tr.dataset.y)]);
		};
		tr.addEventListener("click", go);
		tr.addEventListener("focus", go);
	}
}

function onPhoto(state, pick) {
	const svg = document.getElementById("photo-marks");
	const ns = "http://www.w3.org/2000/svg";
	for (const m of state.marks) {
		if (!m.outline_px?.length) continue;
		const p = document.createElementNS(ns, "polygon");
		p.setAttribute("points", m.outline_px.map((q) => q.join(",")).join(" "));
		p.setAttribute("fill", "transparent");
		p.setAttribute("stroke-width", "3");
		p.dataset.mark = m.id;
		p.addEventListener("pointerenter", () => pick(m.id));
		p.addEventListener("click", () => pick(m.id));
		const t = document.createElementNS(ns, "text");
		const xs = m.outline_px.map((q) => q[0]), ys = m.outline_px.map((q) => q[1]);
		t.setAttribute("x", String(Math.max(...xs) + 4));
		t.setAttribute("y", String(Math.min(...ys)));
		t.setAttribute("fill", "#fff");
		t.setAttribute("stroke", "#000");
		t.setAttribute("paint-order", "stroke");
		t.textContent = m.id;
		svg.append(p, t);
	}
	const show = () => { for (const p of svg.querySelectorAll("polygon")) p.setAttribute("stroke", p.dataset.mark === state.picked ? "#ffe14d" : "transparent"); };
	state.listeners.push(show);
	show();
	/** Letters of 15 px on any screen. */
	const fit = () => {
		const k = svg.viewBox.baseVal.width / (svg.clientWidth || svg.viewBox.baseVal.width);
		for (const text of svg.querySelectorAll("text")) {
			text.setAttribute("font-size", String(15 * k));
			text.setAttribute("stroke-width", String(3 * k));
		}
	};
	new ResizeObserver(fit).observe(svg);
	const fade = /** @type {HTMLInputElement} */ (document.getElementById("fade"));
	const heat = document.getElementById("heat");
	const set = () => { heat.style.opacity = String(Number(fade.value) / 100); };
	fade.addEventListener("input", set);
	set();
}

/** Bounds of what was measured, in cells. */
function bounds(state) {
	const { cols, rows } = state.doc.grid;
	let x0 = cols, y0 = rows, x1 = 0, y1 = 0;
	for (let r = 0; r < rows; r += 3) for (let c = 0; c < cols; c += 3) {
		if (state.height[r * cols + c] === state.height[r * cols + c]) { x0 = Math.min(x0, c); x1 = Math.max(x1, c); y0 = Math.min(y0, r); y1 = Math.max(y1, r); }
	}
	return x1 > x0 ? [x0, y0, x1, y1] : [0, 0, cols - 1, rows - 1];
}

function onMap(state, pick) {
	const canvas = /** @type {HTMLCanvasElement} */ (document.getElementById("map"));
	const g = canvas.getContext("2d"), { cols, rows, pitch_mm: p, x0_mm: X0, y0_mm: Y0 } = state.doc.grid;
	const [cx0, cy0, cx1, cy1] = bounds(state), w = cx1 - cx0 + 1, h = cy1 - cy0 + 1;
	const picture = new OffscreenCanvas(w, h), pg = picture.getContext("2d"), img = pg.createImageData(w, h);
	for (let r = 0; r < h; r++) for (let c = 0; c < w; c++) {
		// Up in the picture is +y.
		const v = state.height[(cy1 - r) * cols + cx0 + c], o = 4 * (r * w + c);
		if (v !== v) continue;
		const [a, b, d] = colour(1000 * v, state.doc.full_scale_um);
		img.data.set([a, b, d, 255], o);
	}
	pg.putImageData(img, 0, 0);
	canvas.width = 1200;
	canvas.height = Math.round(1200 * h / w);
	const s = 1200 / w;
	const toX = (x) => ((x - X0) / p - cx0 + 0.5) * s, toY = (y) => (cy1 - (y - Y0) / p + 0.5) * s;
	const fromX = (px) => (px / s - 0.5 + cx0) * p + X0, fromY = (py) => (cy1 + 0.5 - py / s) * p + Y0;
	canvas.dataset.frame = JSON.stringify([[fromX(0), fromX(canvas.width)], [fromY(canvas.height), fromY(0)]]); // mm at the rims
	const deepest = state.marks[0];
	const mid = deepest ? deepest.deepest_mm : [fromX(600), fromY(canvas.height / 2)];
	const reach = Math.max(25, deepest ? deepest.length_mm : 40);
	const line = [[mid[0] - reach, mid[1]], [mid[0] + reach, mid[1]]];
	const trace = (points, close) => {
		g.beginPath();
		points.forEach((q, i) => (i ? g.lineTo(toX(q[0]), toY(q[1])) : g.moveTo(toX(q[0]), toY(q[1]))));
		if (close) g.closePath();
	};

	const draw = () => {
		const k = canvas.width / (canvas.clientWidth || canvas.width); // of a pixel of the screen
		const label = (text, x, y) => {
			g.font = `${14 * k}px sans-serif`;
			g.lineWidth = 3 * k;
			g.strokeStyle = "#fff";
			g.strokeText(text, x, y);
			g.fillStyle = "#1d2529";
			g.fillText(text, x, y);
		};
		/** The line in dark and light, so that it is seen on any colour. */
		const twice = (wide) => { g.lineWidth = (wide + 1.5) * k; g.strokeStyle = "#1d2529"; g.stroke(); g.lineWidth = wide * k; g.strokeStyle = "#fff"; g.stroke(); };
		g.clearRect(0, 0, canvas.width, canvas.height);
		g.fillStyle = "#888b8c";
		g.fillRect(0, 0, canvas.width, canvas.height);
		g.imageSmoothingEnabled = false;
		g.drawImage(picture, 0, 0, canvas.width, canvas.height);
		for (const c of state.doc.cards || []) {
			trace(c.outline_mm, true);
			g.fillStyle = "#fffdf9";
			g.fill();
			g.fillStyle = "#1d2529";
			g.font = `bold ${16 * k}px sans-serif`;
			g.textAlign = "center";
			g.fillText(c.letter, toX(c.centre_mm[0]), toY(c.centre_mm[1]) + 6 * k);
		}
		g.textAlign = "left";
		for (const a of state.areas) {
			if (!a.outline_mm) continue;
			g.setLineDash(a.behind ? [] : [7 * k, 5 * k]);
			trace(a.outline_mm, true);
			twice(1);
			g.setLineDash([]);
			const [x, y] = [Math.max(0, Math.min(...a.outline_mm.map((q) => toX(q[0])))) + 6 * k, Math.max(0, Math.min(...a.outline_mm.map((q) => toY(q[1])))) + 16 * k];
			label(`${a.name}: ${a.says}`, x, y);
		}
		for (const m of state.marks) {
			const on = m.id === state.picked;
			trace(m.outline_mm, true);
			g.lineWidth = (on ? 2.5 : 1) * k;
			g.strokeStyle = on ? "#ffd400" : "#1d2529";
			g.stroke();
			label(m.id, toX(m.x_mm + m.length_mm / 2), toY(m.y_mm + m.width_mm / 2));
		}
		if (state.hit) {
			const [x, y] = [toX(state.hit[0]), toY(state.hit[1])];
			g.beginPath(); g.arc(x, y, 7 * k, 0, 7); g.moveTo(x - 12 * k, y); g.lineTo(x + 12 * k, y); g.moveTo(x, y - 12 * k); g.lineTo(x, y + 12 * k);
			twice(1);
		}
		profile(state, line);
		if (state.tool) {
			const { line: drawn, loop, held } = state.tool;
			trace(drawn, loop && !held);
			if (loop && !held) { g.fillStyle = "#ffd40055"; g.fill(); }
			twice(3);
			if (drawn.length === 1) { g.beginPath(); g.arc(toX(drawn[0][0]), toY(drawn[0][1]), 6 * k, 0, 7); twice(3); }
			return;
		}
		trace(line, false);
		twice(1);
		for (const e of line) { g.beginPath(); g.arc(toX(e[0]), toY(e[1]), 8 * k, 0, 7); g.fillStyle = "#fff"; g.fill(); g.lineWidth = 2 * k; g.strokeStyle = "#1d2529"; g.stroke(); }
	};
	state.listeners.push(draw);

	const at = (e) => {
		const b = canvas.getBoundingClientRect();
		return [fromX((e.clientX - b.left) * canvas.width / b.width), fromY((e.clientY - b.top) * canvas.height / b.height)];
	};
	let held = -1, last = [0, 0];
	const near = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
	canvas.addEventListener("pointerdown", (e) => {
		const q = at(e);
		if (state.tool) {
			state.tool.down(q);
			canvas.setPointerCapture(e.pointerId);
			draw();
			return;
		}
		const b = canvas.getBoundingClientRect(), grip = 28 * canvas.width / b.width / s * p;
		held = near(q, line[0]) < grip ? 0 : near(q, line[1]) < grip ? 1 : 2;
		if (held === 2) {
			const m = state.marks.find((k) => near(q, [k.x_mm, k.y_mm]) < k.length_mm / 2);
			if (m) pick(m.id);
		}
		last = q;
		canvas.setPointerCapture(e.pointerId);
	});
	canvas.addEventListener("pointermove", (e) => {
		if (state.tool) {
			state.tool.move(at(e));
			draw();
			return;
		}
		if (held < 0) return;
		const q = at(e);
		if (held < 2) line[held] = q;
		else for (const k of line) { k[0] += q[0] - last[0]; k[1] += q[1] - last[1]; }
		last = q;
		draw();
	});
	for (const over of ["pointerup", "pointercancel"]) {
		canvas.addEventListener(over, () => {
			held = -1;
			state.tool?.up();
			if (state.tool) draw();
		});
	}
	canvas.addEventListener("keydown", (e) => {
		const step = e.shiftKey ? 10 : 2;
		const d = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[e.key];
		if (!d || state.tool) return;
		for (const k of line) { k[0] += d[0]; k[1] += d[1]; }
		draw();
		e.preventDefault();
	});
	new ResizeObserver(draw).observe(canvas);
	draw();
	/** Two pixels of the screen, in mm. */
	const grain = () => 2 * canvas.width / canvas.getBoundingClientRect().width / s * p;
	return { draw, canvas, grain };
}

/** Height along the section line with its band of two sigma. */
function profile(state, line) {
	const svg = document.getElementById("profile"), { cols, rows, pitch_mm: p, x0_mm: X0, y0_mm: Y0 } = state.doc.grid;
	const [a, b] = line, len = Math.hypot(b[0] - a[0], b[1] - a[1]), n = 321;
	const at = (v, x, y) => {
		const c = (x - X0) / p, r = (y - Y0) / p, i = Math.floor(c), j = Math.floor(r);
		if (i < 0 || j < 0 || i + 1 >= cols || j + 1 >= rows) return NaN;
		const k = j * cols + i, f = c - i, q = r - j;
		return (1 - q) * ((1 - f) * v[k] + f * v[k + 1]) + q * ((1 - f) * v[k + cols] + f * v[k + cols + 1]);
	};
	const h = [], s = [];
	let lo = -12, hi = 12;
	for (let i = 0; i < n; i++) {
		const t = i / (n - 1), x = a[0] + t * (b[0] - a[0]), y = a[1] + t * (b[1] - a[1]);
		h.push(1000 * at(state.height, x, y));
		s.push(1000 * at(state.sigma, x, y));
		if (h[i] === h[i]) { lo = Math.min(lo, h[i]); hi = Math.max(hi, h[i]); }
	}
	const pad = 0.08 * (hi - lo), L = 54, W = svg.clientWidth || 640, T = 10, H = 160;
	svg.setAttribute("viewBox", `0 0 ${W} 200`);
	const X = (i) => L + (W - L - 10) * i / (n - 1), Y = (um) => T + H * (hi + pad - um) / (hi - lo + 2 * pad);
	const path = (f) => { let d = "", pen = false; for (let i = 0; i < n; i++) { const v = f(i); if (v !== v) { pen = false; continue; } d += `${pen ? "L" : "M"}${X(i).toFixed(1)} ${Y(v).toFixed(1)}`; pen = true; } return d; };
	let band = "", up = [], down = [];
	for (let i = 0; i < n; i++) if (h[i] === h[i]) { up.push(`${X(i).toFixed(1)} ${Y(h[i] + 2 * s[i]).toFixed(1)}`); down.unshift(`${X(i).toFixed(1)} ${Y(h[i] - 2 * s[i]).toFixed(1)}`); }
	if (up.length) band = `M${up.join("L")}L${down.join("L")}Z`;
	const ticks = nice(lo, hi, 4).map((v) => `<g><line x1="${L}" x2="${W - 10}" y1="${Y(v)}" y2="${Y(v)}" stroke="currentColor" opacity="${v === 0 ? 0.6 : 0.18}"/><text x="${L - 6}" y="${Y(v) + 4}" text-anchor="end" font-size="12" fill="currentColor">${v}</text></g>`).join("");
	const along = nice(0, len, W < 500 ? 4 : 6).map((v) => `<text x="${X(v / len * (n - 1))}" y="${T + H + 16}" text-anchor="middle" font-size="12" fill="currentColor">${v}</text>`).join("");
	svg.innerHTML = `${ticks}${along}<text x="4" y="16" font-size="12" fill="currentColor">um</text><text x="${W - 10}" y="${T + H + 28}" text-anchor="end" font-size="12" fill="currentColor">${t("mm along the line")}</text><path d="${band}" fill="#0b6fae" opacity=".25"/><path d="${path((i) => h[i])}" fill="none" stroke="#0b6fae" stroke-width="2.4"/>`;
	const min = Math.min(...h.filter((v) => v === v)), max = Math.max(...h.filter((v) => v === v));
	document.getElementById("readout").textContent = Number.isFinite(min) ? t("{1} mm long: from {2} to {3} um", figure(len), figure(min), figure(max)) : t("nothing measured along this line");
}

/** Round tick values. */
function nice(lo, hi, n) {
	const raw = (hi - lo) / n, mag = 10 ** Math.floor(Math.log10(raw)), step = [1, 2, 5, 10].map((k) => k * mag).find((k) => k >= raw);
	const out = [];
	for (let v = Math.ceil(lo / step) * step; v <= hi + 1e-9; v += step) out.push(Number(v.toFixed(6)));
	return out;
}

function tabs(draws) {
	const buttons = [...document.querySelectorAll(".viewtabs button")];
	const show = (view) => {
		for (const o of buttons) o.setAttribute("aria-selected", String(o.dataset.view === view));
		for (const v of document.querySelectorAll(".view")) v.hidden = v.dataset.pane !== view;
		draws[view]?.();
	};
	for (const b of buttons) b.addEventListener("click", () => show(b.dataset.view));
	return show;
}
