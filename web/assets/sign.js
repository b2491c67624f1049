// Pads to sign on: strokes go into a hidden field in hundredths of the pad's width.

export function startPads() {
	for (const canvas of document.querySelectorAll("canvas.pad")) pad(/** @type {HTMLCanvasElement} */ (canvas));
}

function pad(canvas) {
	const box = canvas.parentElement, field = box.querySelector("input[name=strokes]"), clear = box.querySelector("button");
	const g = canvas.getContext("2d");
	let strokes = [], line = null;
	canvas.hidden = clear.hidden = false;
	const at = (e) => {
		const b = canvas.getBoundingClientRect();
		return [Math.round(1000 * (e.clientX - b.left) / b.width) / 10, Math.round(1000 * (e.clientY - b.top) / b.width) / 10];
	};
	const draw = () => {
		g.clearRect(0, 0, canvas.width, canvas.height);
		g.lineWidth = 4;
		g.lineCap = g.lineJoin = "round";
		g.strokeStyle = getComputedStyle(canvas).color;
		for (const s of strokes) {
			g.beginPath();
			s.forEach((p, i) => (i ? g.lineTo(p[0] * canvas.width / 100, p[1] * canvas.width / 100) : g.moveTo(p[0] * canvas.width / 100, p[1] * canvas.width / 100)));
			g.stroke();
		}
		field.value = strokes.length ? JSON.stringify(strokes) : "";
	};
	canvas.addEventListener("pointerdown", (e) => {
		line = [at(e)];
		strokes.push(line);
		canvas.setPointerCapture(e.pointerId);
		e.preventDefault();
	});
	canvas.addEventListener("pointermove", (e) => {
		if (!line) return;
		const p = at(e), q = line[line.length - 1];
		if (Math.hypot(p[0] - q[0], p[1] - q[1]) < 0.4) return;
		line.push(p);
		draw();
	});
	for (const k of ["pointerup", "pointercancel"]) canvas.addEventListener(k, () => { line = null; draw(); });
	clear.addEventListener("click", () => { strokes = []; draw(); });
}
