// The screen as striped board: one-time size check, stripes pixel-exact in mm, steps by tap, key or clock.
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
	$("rule-state").textContent = localStorage.getItem("px-per-100mm") ? "Checked: this screen is kept in mind." : "Not checked yet.";
	$("b-area").textContent = `${w} x ${h} mm`;
}
size.addEventListener("input", () => { localStorage.setItem("px-per-100mm", size.value); rule(); });
rule();

/** The steps to show: stripes, pitch and shift. */
function steps() {
	const fine = num("b-fine"), coarse = num("b-coarse"), run = $("b-run").value;
	const of = (stripes) => [fine, coarse].flatMap((pitch) => [0, 0.25, 0.5, 0.75].map((shift) => ({ stripes, pitch, shift })));
	if (run === "set") return [...of("u"), ...of("v")];
	return of(run).slice(0, 4);
}

let list = [], at = 0, clock = 0, lock = null;

function draw() {
	const c = $("stripes"), dpr = window.devicePixelRatio || 1;
	c.width = Math.round(innerWidth * dpr);
	c.height = Math.round(innerHeight * dpr);
	const s = list[at], n = s.stripes === "u" ? c.width : c.height;
	const px = perMM() * dpr, square = $("b-profile").value === "square";
	const strip = new Uint8ClampedArray(4 * n);
	for (let i = 0; i < n; i++) {
		const mm = (i + 0.5 - n / 2) / px;
		const w = Math.cos(2 * Math.PI * (mm / s.pitch - s.shift));
		const lin = square ? (w > 0 ? 1 : 0) : 0.5 + 0.5 * w;
		// Screens follow the sRGB curve (IEC 61966-2-1).
		const v = 255 * (lin <= 0.0031308 ? 12.92 * lin : 1.055 * lin ** (1 / 2.4) - 0.055);
		strip.set([v, v, v, 255], 4 * i);
	}
	const g = c.getContext("2d");
	const one = new OffscreenCanvas(s.stripes === "u" ? n : 1, s.stripes === "u" ? 1 : n);
	one.getContext("2d").putImageData(new ImageData(strip, one.width, one.height), 0, 0);
	g.imageSmoothingEnabled = false;
	g.drawImage(one, 0, 0, c.width, c.height);
	$("board-step").textContent = `${at + 1} / ${list.length}`;
	c.dataset.step = `${s.stripes} ${s.pitch} ${s.shift}`;
}

async function start() {
	if (!(num("b-fine") > 0.5) || !(num("b-coarse") > 0.5)) { $("rule-state").textContent = "Give the pitch of the stripes in mm."; return; }
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
