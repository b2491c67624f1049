// The screen as striped board: one-time size check, stripes pixel-exact in mm, steps by tap, key or clock.
import { t } from "./words.js";

const $ = (id) => /** @type {any} */ (document.getElementById(id));
const stored = Number(localStorage.getItem("px-per-100mm"));
const size = $("rule-size"), line = $("rule").firstElementChild;
// CSS promises 96 px an inch, which screens keep only roughly.
size.value = String(stored || 378);

const num = (id) => Number(String($(id).value).replace(",", "."));
const perMM = () => Number(size.value) / 100;

function rule() {
	line.style.width = size.value + "px";
	const w = Math.round(screen.width / perMM()), h = Math.round(screen.height / perMM());
	$("rule-state").textContent = localStorage.getItem("px-per-100mm") ? t("Checked: this screen is kept in mind.") : t("Not checked yet.");
	$("b-area").textContent = `${w} x ${h} mm`;
}
size.addEventListener("input", () => { localStorage.setItem("px-per-100mm", size.value); rule(); });
rule();

/** The steps to show: stripes, pitch and shift. */
function steps() {
	const fine = num("b-fine"), coarse = num("b-coarse"), run = $("b-run").value;
	const of = (stripes) => [fine, coarse].flatMap((pitch) => [0, 0.25, 0.5, 0.75].map((shift) => ({ stripes, pitch, shift })));
	if (run === "set") return [...of("u"), ...of("v")];
	if (run === "uv") return [{ stripes: "uv", pitch: fine, shift: 0 }];
	return of(run).slice(0, 4);
}

let list = [], at = 0, clock = 0, lock = null;

function draw() {
	const c = $("stripes"), dpr = window.devicePixelRatio || 1;
	c.width = Math.round(innerWidth * dpr);
	c.height = Math.round(innerHeight * dpr);
	const s = list[at], g = c.getContext("2d");
	const px = perMM() * dpr, square = $("b-profile").value === "square";
	/** Light of the stripes along n pixels, 0 to 1. */
	const along = (n) => Float32Array.from({ length: n }, (_, i) => {
		const w = Math.cos(2 * Math.PI * ((i + 0.5 - n / 2) / px / s.pitch - s.shift));
		return square ? (w > 0 ? 1 : 0) : 0.5 + 0.5 * w;
	});
	// Screens follow the sRGB curve (IEC 61966-2-1).
	const grey = (lin) => 255 * (lin <= 0.0031308 ? 12.92 * lin : 1.055 * lin ** (1 / 2.4) - 0.055);
	// Crossed stripes are half of each direction's light; one direction is drawn as a strip one pixel wide and pulled over the screen.
	const u = s.stripes === "v" ? [0] : along(c.width), v = s.stripes === "u" ? [0] : along(c.height), share = s.stripes === "uv" ? 0.5 : 1;
	const data = new Uint8ClampedArray(4 * u.length * v.length);
	for (let y = 0; y < v.length; y++) for (let x = 0; x < u.length; x++) {
		const k = grey(share * (u[x] + v[y]));
		data.set([k, k, k, 255], 4 * (y * u.length + x));
	}
	const one = new OffscreenCanvas(u.length, v.length);
	one.getContext("2d").putImageData(new ImageData(data, one.width, one.height), 0, 0);
	g.imageSmoothingEnabled = false;
	g.drawImage(one, 0, 0, c.width, c.height);
	$("board-step").textContent = `${at + 1} / ${list.length}`;
	c.dataset.step = `${s.stripes} ${s.pitch} ${s.shift}`;
}

async function start() {
	if (!(num("b-fine") > 0.5) || !(num("b-coarse") > 0.5)) { $("rule-state").textContent = t("Give the pitch of the stripes in mm."); return; }
	list = steps();
	at = 0;
	$("board").hidden = false;
	try { await document.documentElement.requestFullscreen(); } catch { /* a window will do */ }
	try { lock = await navigator.wakeLock.request("screen"); } catch { /* the screen's own timer holds */ }
	draw();
	const s = Number($("b-auto").value);
	if (s) clock = setInterval(() => go(1), 1000 * s);
}

function stop() {
	$("board").hidden = true;
	clearInterval(clock);
	lock?.release();
	if (document.fullscreenElement) document.exitFullscreen();
}

function go(d) {
	if (at + d >= list.length) { stop(); return; }
	at = Math.max(0, at + d);
	draw();
}

$("b-go").addEventListener("click", start);
$("board").addEventListener("click", (e) => (e.clientX < 60 && e.clientY < 60 ? stop() : go(1)));
addEventListener("keydown", (e) => {
	if ($("board").hidden) return;
	if (e.key === "Escape") stop();
	else if (e.key === " " || e.key === "ArrowRight" || e.key === "Enter") go(1);
	else if (e.key === "ArrowLeft") go(-1);
	else return;
	e.preventDefault();
});
addEventListener("resize", () => { if (!$("board").hidden) draw(); });
