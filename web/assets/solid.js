// The surface as a solid that turns: one grid mesh, one light, WebGL2 without a library.
import { colour } from "./viewer.js";

const vertex = `#version 300 es
in vec3 place; in vec3 normal; in vec3 tint;
uniform mat4 view; uniform float lift;
out vec3 n; out vec3 c;
void main() {
	n = normalize(vec3(normal.xy * lift, 1.0));
	c = tint;
	gl_Position = view * vec4(place.xy, place.z * lift, 1.0);
}`;
const fragment = `#version 300 es
precision highp float;
in vec3 n; in vec3 c; uniform vec3 light; out vec4 o;
void main() {
	vec3 m = normalize(n);
	float d = 0.35 + 0.65 * max(dot(m, light), 0.0);
	float s = pow(max(dot(m, normalize(light + vec3(0.0, -0.5, 1.0))), 0.0), 40.0);
	o = vec4(c * d + 0.35 * s, 1.0);
}`;

/** Prepares the view; the returned function draws it. */
export function startSolid(state) {
	const canvas = /** @type {HTMLCanvasElement} */ (document.getElementById("solid"));
	let gl = null, program, count, turn = -0.5, tilt = 0.95, zoom = 1;
	const slider = /** @type {HTMLInputElement} */ (document.getElementById("lift"));

	function mesh() {
		const { cols, rows, pitch_mm: p, x0_mm: X0, y0_mm: Y0 } = state.doc.grid, k = Math.max(1, Math.ceil(Math.max(cols, rows) / 420));
		const w = Math.floor((cols - 1) / k) + 1, h = Math.floor((rows - 1) / k) + 1, full = state.doc.full_scale_um;
		const place = new Float32Array(3 * w * h), normal = new Float32Array(3 * w * h), tint = new Float32Array(3 * w * h);
		const z = (c, r) => state.height[r * k * cols + c * k];
		const half = Math.max(cols, rows) * p / 2, mx = X0 + cols * p / 2, my = Y0 + rows * p / 2;
		for (let r = 0; r < h; r++) for (let c = 0; c < w; c++) {
			const i = 3 * (r * w + c), v = z(c, r);
			place.set([(X0 + c * k * p - mx) / half, (Y0 + r * k * p - my) / half, v / half], i);
			const l = z(Math.max(c - 1, 0), r), q = z(Math.min(c + 1, w - 1), r), d = z(c, Math.max(r - 1, 0)), u = z(c, Math.min(r + 1, h - 1));
			normal.set([(l - q) / (2 * k * p) || 0, (d - u) / (2 * k * p) || 0, 1], i);
			tint.set(colour(1000 * v, full).map((t) => t / 255), i);
		}
		const index = [];
		for (let r = 0; r + 1 < h; r++) for (let c = 0; c + 1 < w; c++) {
			const a = r * w + c, b = a + 1, d = a + w, e = d + 1;
			if (Number.isFinite(place[3 * a + 2] + place[3 * b + 2] + place[3 * d + 2] + place[3 * e + 2])) index.push(a, b, d, b, e, d);
		}
		return { place, normal, tint, index: new Uint32Array(index) };
	}

	function start() {
		gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
		if (!gl) { canvas.setAttribute("aria-label", "This browser draws no solids."); return; }
		const shader = (t, s) => { const x = gl.createShader(t); gl.shaderSource(x, s); gl.compileShader(x); return x; };
		program = gl.createProgram();
		gl.attachShader(program, shader(gl.VERTEX_SHADER, vertex));
		gl.attachShader(program, shader(gl.FRAGMENT_SHADER, fragment));
		gl.linkProgram(program);
		gl.useProgram(program);
		const m = mesh();
		for (const name of ["place", "normal", "tint"]) {
			gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
			gl.bufferData(gl.ARRAY_BUFFER, m[name], gl.STATIC_DRAW);
			const at = gl.getAttribLocation(program, name);
			gl.enableVertexAttribArray(at);
			gl.vertexAttribPointer(at, 3, gl.FLOAT, false, 0, 0);
		}
		gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
		gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, m.index, gl.STATIC_DRAW);
		count = m.index.length;
		gl.enable(gl.DEPTH_TEST);
	}

	function draw() {
		if (!gl) start();
		if (!gl) return;
		const b = canvas.getBoundingClientRect(), dpr = Math.min(2, window.devicePixelRatio || 1);
		canvas.width = Math.max(1, Math.round(b.width * dpr));
		canvas.height = Math.max(1, Math.round(b.width * 0.62 * dpr));
		gl.viewport(0, 0, canvas.width, canvas.height);
		gl.clearColor(0.5, 0.53, 0.54, 1);
		gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
		const aspect = canvas.width / canvas.height, ct = Math.cos(turn), st = Math.sin(turn), cx = Math.cos(tilt), sx = Math.sin(tilt), k = 1.05 * zoom;
		// Turn about z, tilt about x, parallel projection: depths compare by eye.
		const r = [ct, cx * st, sx * st, -st, cx * ct, sx * ct, 0, -sx, cx];
		const v = new Float32Array([k * r[0] / aspect, k * r[1], -0.3 * r[2], 0, k * r[3] / aspect, k * r[4], -0.3 * r[5], 0, k * r[6] / aspect, -k * r[7], -0.3 * r[8], 0, 0, 0, 0, 1]);
		gl.uniformMatrix4fv(gl.getUniformLocation(program, "view"), false, v);
		gl.uniform1f(gl.getUniformLocation(program, "lift"), 2 ** (Number(slider.value) / 9));
		gl.uniform3f(gl.getUniformLocation(program, "light"), 0.45, 0.35, 0.82);
		gl.drawElements(gl.TRIANGLES, count, gl.UNSIGNED_INT, 0);
		canvas.dataset.drawn = "yes";
	}

	let last = null;
	canvas.addEventListener("pointerdown", (e) => { last = [e.clientX, e.clientY]; canvas.setPointerCapture(e.pointerId); });
	canvas.addEventListener("pointermove", (e) => {
		if (!last) return;
		turn += (e.clientX - last[0]) / 160;
		tilt = Math.min(1.5, Math.max(0, tilt + (e.clientY - last[1]) / 160));
		last = [e.clientX, e.clientY];
		draw();
	});
	canvas.addEventListener("pointerup", () => { last = null; });
	canvas.addEventListener("wheel", (e) => { zoom = Math.min(4, Math.max(0.5, zoom * (e.deltaY < 0 ? 1.1 : 0.9))); draw(); e.preventDefault(); }, { passive: false });
	canvas.addEventListener("keydown", (e) => {
		const d = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[e.key];
		if (!d) return;
		turn += d[0];
		tilt = Math.min(1.5, Math.max(0, tilt + d[1]));
		draw();
		e.preventDefault();
	});
	slider.addEventListener("input", draw);
	return draw;
}
