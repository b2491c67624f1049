// The striped light mirrored in the metal, before, now and as planned, under one light that the user turns and moves. The law is the one
// of package fair: eye and board at finite distance, exact reflection. WebGL2, no library.
import { t } from "./words.js";

const vertex = `#version 300 es
in vec2 at; out vec2 uv;
void main() { uv = at * 0.5 + 0.5; gl_Position = vec4(at, 0.0, 1.0); }`;
const fragment = `#version 300 es
precision highp float;
in vec2 uv; out vec4 o;
uniform highp sampler2D slopes; // hundredfold slope along x and y, 1 where measured
uniform vec2 low, size, grid0, gridSize; // the window and the grid, mm
uniform vec3 eyeDir, across; uniform float eyeMM, boardMM, pitch, shift; uniform vec2 bulge;
vec3 mirrored(vec3 v, vec2 z) { vec3 n = normalize(vec3(-z, 1.0)); return 2.0 * dot(v, n) * n - v; }
void main() {
	vec2 p2 = low + uv * size, middle = grid0 + gridSize * 0.5, d = p2 - middle;
	vec4 s = texture(slopes, (p2 - grid0) / gridSize);
	if (s.z < 0.99) { o = vec4(0.53, 0.545, 0.55, 1.0); return; }
	vec2 z = s.xy * 0.01 - d * bulge;
	vec3 p = vec3(d, -0.5 * dot(d * d, bulge));
	vec3 away = mirrored(eyeDir, vec2(0.0));
	vec3 board = boardMM * away;
	vec3 ray = mirrored(normalize(eyeMM * eyeDir - p), z);
	float along = dot(ray, away);
	if (along <= 0.0) { o = vec4(0.08, 0.08, 0.09, 1.0); return; }
	vec3 q = p + ray * (dot(board - p, away) / along);
	float phase = dot(q - board, across) / pitch + shift;
	float e = abs(phase - floor(phase + 0.5)), k = clamp((0.3 - e) / 0.1, 0.0, 1.0);
	k = k * k * (3.0 - 2.0 * k);
	o = vec4(vec3(28.0, 30.0, 34.0) / 255.0 + k * vec3(217.0, 214.0, 206.0) / 255.0, 1.0);
}`;

const root = document.getElementById("lights");
const light = JSON.parse(document.getElementById("lights-data").textContent);
const panes = [];

/** Slopes of a height map as a texture's data, on at most 1024 cells a side. */
function slopes(h, grid) {
	const k = Math.max(1, Math.ceil(Math.max(grid.cols, grid.rows) / 1024)), w = Math.floor((grid.cols - 1) / k) + 1, n = Math.floor((grid.rows - 1) / k) + 1;
	const out = new Float32Array(4 * w * n), p = 2 * k * grid.pitch_mm;
	const z = (c, r) => h[Math.min(r, n - 1) * k * grid.cols + Math.min(c, w - 1) * k];
	for (let r = 1; r + 1 < n; r++) for (let c = 1; c + 1 < w; c++) {
		const x = 100 * (z(c + 1, r) - z(c - 1, r)) / p, y = 100 * (z(c, r + 1) - z(c, r - 1)) / p;
		if (x === x && y === y) out.set([x, y, 1, 1], 4 * (r * w + c));
	}
	return { data: out, w, n };
}

async function pane(fig) {
	const doc = await fetch(`/captures/${fig.dataset.capture}/surface.json`).then((r) => r.json());
	const h = new Float32Array(await fetch(`/captures/${fig.dataset.capture}/${fig.dataset.file}`).then((r) => r.arrayBuffer()));
	const canvas = fig.querySelector("canvas"), gl = canvas.getContext("webgl2", { preserveDrawingBuffer: true });
	if (!gl) { canvas.replaceWith(Object.assign(document.createElement("p"), { textContent: t("This browser draws no light.") })); return; }
	canvas.hidden = false;
	const shader = (kind, src) => { const x = gl.createShader(kind); gl.shaderSource(x, src); gl.compileShader(x); return x; };
	const program = gl.createProgram();
	gl.attachShader(program, shader(gl.VERTEX_SHADER, vertex));
	gl.attachShader(program, shader(gl.FRAGMENT_SHADER, fragment));
	gl.linkProgram(program);
	gl.useProgram(program);
	gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
	gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 3, -1, -1, 3]), gl.STATIC_DRAW);
	gl.enableVertexAttribArray(gl.getAttribLocation(program, "at"));
	gl.vertexAttribPointer(gl.getAttribLocation(program, "at"), 2, gl.FLOAT, false, 0, 0);
	const s = slopes(h, doc.grid);
	gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
	gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA16F, s.w, s.n, 0, gl.RGBA, gl.FLOAT, s.data);
	for (const k of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, k, gl.LINEAR);
	for (const k of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T]) gl.texParameteri(gl.TEXTURE_2D, k, gl.CLAMP_TO_EDGE);
	panes.push({ canvas, gl, program, doc, mark: fig.querySelector("i") });
	fig.dataset.ready = "yes";
}

/** What is shown, in mm: the marks with sound metal round them. */
function frame() {
	const g = panes[0].doc.grid, whole = [g.x0_mm, g.y0_mm, g.x0_mm + (g.cols - 1) * g.pitch_mm, g.y0_mm + (g.rows - 1) * g.pitch_mm];
	const b = light.around;
	if (!b) return whole;
	const half = Math.max(b[2] - b[0], b[3] - b[1], 120) / 2 / light.zoom, x = (b[0] + b[2]) / 2, y = (b[1] + b[3]) / 2;
	return [x - half, y - half * 0.8, x + half, y + half * 0.8];
}

function draw() {
	if (!panes.length) return;
	const rad = Math.PI / 180, sa = Math.sin(light.azimuth * rad), ca = Math.cos(light.azimuth * rad), se = Math.sin(light.elevation * rad), ce = Math.cos(light.elevation * rad);
	const sl = Math.sin(light.line * rad), cl = Math.cos(light.line * rad), f = frame();
	for (const { canvas, gl, program, doc, mark } of panes) {
		const box = canvas.getBoundingClientRect(), dpr = Math.min(2, devicePixelRatio || 1), g = doc.grid;
		canvas.width = Math.max(1, Math.round(box.width * dpr));
		canvas.height = Math.max(1, Math.round(box.width * dpr * (f[3] - f[1]) / (f[2] - f[0])));
		gl.viewport(0, 0, canvas.width, canvas.height);
		const u = (n) => gl.getUniformLocation(program, n);
		gl.uniform2f(u("low"), f[0], f[1]);
		gl.uniform2f(u("size"), f[2] - f[0], f[3] - f[1]);
		gl.uniform2f(u("grid0"), g.x0_mm - g.pitch_mm / 2, g.y0_mm - g.pitch_mm / 2);
		gl.uniform2f(u("gridSize"), g.cols * g.pitch_mm, g.rows * g.pitch_mm);
		gl.uniform3f(u("eyeDir"), ce * ca, ce * sa, se);
		gl.uniform3f(u("across"), sl * -sa - cl * se * ca, sl * ca - cl * se * sa, -cl * ce);
		gl.uniform1f(u("eyeMM"), light.eye);
		gl.uniform1f(u("boardMM"), light.board);
		gl.uniform1f(u("pitch"), light.pitch);
		gl.uniform1f(u("shift"), light.shift);
		gl.uniform2f(u("bulge"), doc.form.rx_mm ? 1 / doc.form.rx_mm : 0, doc.form.ry_mm ? 1 / doc.form.ry_mm : 0);
		gl.drawArrays(gl.TRIANGLES, 0, 3);
		if (mark) {
			const on = Boolean(light.worst), px = on && (light.worst[0] - f[0]) / (f[2] - f[0]), py = on && (f[3] - light.worst[1]) / (f[3] - f[1]);
			mark.hidden = !on || px < 0 || px > 1 || py < 0 || py > 1;
			mark.style.left = 100 * px + "%";
			mark.style.top = 100 * py + "%";
		}
	}
	root.dataset.light = [light.azimuth, light.elevation, light.line, light.shift].map((v) => v.toFixed(2)).join(" ");
}

function turn(dAzimuth, dElevation) {
	light.azimuth = (light.azimuth + dAzimuth + 360) % 360;
	light.elevation = Math.min(85, Math.max(12, light.elevation + dElevation));
	draw();
}

for (const c of root.querySelectorAll("canvas")) {
	let last = null;
	c.addEventListener("pointerdown", (e) => { last = [e.clientX, e.clientY]; c.setPointerCapture(e.pointerId); });
	c.addEventListener("pointermove", (e) => {
		if (!last) return;
		turn((e.clientX - last[0]) / 3, (last[1] - e.clientY) / 4);
		last = [e.clientX, e.clientY];
	});
	for (const k of ["pointerup", "pointercancel"]) c.addEventListener(k, () => { last = null; });
	c.addEventListener("keydown", (e) => {
		const d = { ArrowLeft: [-4, 0], ArrowRight: [4, 0], ArrowUp: [0, 3], ArrowDown: [0, -3] }[e.key];
		if (!d) return;
		turn(d[0], d[1]);
		e.preventDefault();
	});
}
for (const i of document.querySelectorAll("[data-light]")) {
	if (i === root) continue;
	i.addEventListener("input", () => { light[i.dataset.light] = Number(/** @type {HTMLInputElement} */ (i).value); draw(); });
}
document.getElementById("show-worst")?.addEventListener("click", (e) => {
	const d = /** @type {HTMLElement} */ (e.currentTarget).dataset;
	light.azimuth = Number(d.azimuth);
	light.elevation = Number(d.elevation);
	light.line = Number(d.line);
	light.worst = [Number(d.x), Number(d.y)];
	const l = /** @type {HTMLInputElement|null} */ (document.querySelector("input[data-light=line]"));
	if (l) l.value = d.line;
	draw();
	root.scrollIntoView({ block: "nearest" });
});
addEventListener("resize", draw);
Promise.all([...root.querySelectorAll("figure")].map(pane)).then(() => {
	draw();
	root.dataset.ready = "yes";
});
