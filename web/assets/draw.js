// Drawing on the map: around a part of the panel, around marks, along an edge, or the place of a cut. A finger in a glove, a pen or a mouse
// does it in one stroke; the forms take figures as well.
import { t } from "./words.js";

const apart = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);

/** How far a point lies from a stretch of line. */
function toStretch(p, a, b) {
	const len = apart(a, b), s = len ? Math.max(0, Math.min(1, ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / (len * len))) : 0;
	return apart(p, [a[0] + s * (b[0] - a[0]), a[1] + s * (b[1] - a[1])]);
}

const toLine = (p, line) => Math.min(...line.slice(1).map((b, i) => toStretch(p, line[i], b)));

/** A stroke with fewer points, none of the others farther away than so many mm. */
function simple(line, mm) {
	if (line.length < 3) return line;
	const a = line[0], b = line[line.length - 1];
	let far = 0, at = 0;
	for (let i = 1; i < line.length - 1; i++) {
		const d = toStretch(line[i], a, b);
		if (d > far) { far = d; at = i; }
	}
	return far <= mm ? [a, b] : [...simple(line.slice(0, at + 1), mm).slice(0, -1), ...simple(line.slice(at), mm)];
}

/** Area of a loop, square mm. */
const areaOf = (loop) => Math.abs(loop.reduce((sum, a, i) => { const b = loop[(i + 1) % loop.length]; return sum + a[0] * b[1] - b[0] * a[1]; }, 0)) / 2;

function inside(loop, [x, y]) {
	let is = false;
	for (let i = 0, j = loop.length - 1; i < loop.length; j = i++) {
		const a = loop[i], b = loop[j];
		if (a[1] > y !== b[1] > y && x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0]) is = !is;
	}
	return is;
}

// Least sizes that are meant, mm and square mm: below them it was a tap.
const leastLine = 5, leastLoop = 100, mostPoints = 60;

/** Wires the buttons of the forms to the map; see and show are the map's. */
export function startDrawing(state, see, show) {
	const say = document.getElementById("map-say"), tools = document.getElementById("map-tools"), take = document.getElementById("map-take");
	const eye = document.getElementById("eye-form"), behind = document.getElementById("behind-form");
	const boxes = () => [...(eye?.querySelectorAll("[name=mark]") ?? [])];
	const ticked = () => state.marks.filter((m) => boxes().some((b) => b.checked && b.value === m.id));
	const tick = (m) => { for (const b of boxes()) if (b.value === m.id) b.checked = true; };
	const nearest = (line) => state.marks.reduce((best, m) => (!best || toLine([m.x_mm, m.y_mm], line) < toLine([best.x_mm, best.y_mm], line) ? m : best), null);

	const kinds = {
		area: {
			ask: t("Draw around the part with a finger or the mouse."), small: t("That was too small: draw around the whole part."), loop: true,
			take(loop) {
				behind.elements.outline.value = loop.map((p) => p.map((v) => v.toFixed(0)).join(",")).join(" ");
				behind.elements.shape.value = "drawn on the map";
				behind.elements.shape.dispatchEvent(new Event("change", { bubbles: true }));
			},
		},
		marks: {
			ask: t("Draw around the marks that you mean."), small: t("That was too small: draw around the whole mark."), loop: true,
			take(loop) { for (const m of state.marks) if (inside(loop, [m.x_mm, m.y_mm])) tick(m); },
		},
		edge: {
			ask: t("Draw along the edge."), small: t("That was too short: draw along the edge."),
			take(line) {
				if (!ticked().length && state.marks.length) tick(nearest(line));
				const mm = Math.min(...ticked().flatMap((m) => m.outline_mm.map((p) => toLine(p, line))));
				if (Number.isFinite(mm)) eye.elements.mm.value = mm.toFixed(0);
			},
		},
		place: {
			ask: t("Tap the place in the mark where it is cut."), point: true,
			take([p]) {
				const m = nearest([p, p]);
				if (!ticked().length && m) tick(m);
				["x", "y"].forEach((n, i) => { eye.elements[n].value = p[i].toFixed(1); });
			},
		},
	};
	const begin = (button) => {
		const kind = kinds[button.dataset.draw], canvas = see.canvas;
		const tell = (text, good) => { say.textContent = text; take.hidden = !good; };
		const tool = {
			line: /** @type {number[][]} */ ([]), loop: kind.loop,
			down(p) { tool.line = [p]; tool.held = true; },
			move(p) {
				if (!tool.held || kind.point || apart(p, tool.line[tool.line.length - 1]) < see.grain()) return;
				tool.line.push(p);
			},
			up() {
				if (!tool.held) return;
				tool.held = false;
				let mm = see.grain();
				for (tool.line = simple(tool.line, mm); tool.line.length > mostPoints; mm *= 2) tool.line = simple(tool.line, mm);
				tool.good = kind.point || (kind.loop ? tool.line.length > 2 && areaOf(tool.line) >= leastLoop : tool.line.slice(1).reduce((sum, p, i) => sum + apart(p, tool.line[i]), 0) >= leastLine);
				tell(tool.good ? t("Take it, or draw it again.") : kind.small, tool.good);
			},
		};
		const end = () => {
			state.tool = null;
			say.textContent = "";
			tools.hidden = true;
			see.draw();
			button.scrollIntoView({ block: "center" });
			button.focus();
		};
		state.tool = tool;
		tools.hidden = false;
		take.onclick = () => { kind.take(tool.line); end(); };
		document.getElementById("map-stop").onclick = end;
		show();
		tell(kind.ask, false);
		canvas.scrollIntoView({ block: "center" });
		canvas.focus({ preventScroll: true });
	};
	for (const b of document.querySelectorAll("[data-draw]")) {
		/** @type {HTMLElement} */ (b).hidden = false;
		b.addEventListener("click", () => begin(b));
	}
	eye?.addEventListener("focusin", (e) => { if (/** @type {any} */ (e.target).name === "mark") see.pick(/** @type {any} */ (e.target).value); });
	eye?.addEventListener("change", (e) => { if (/** @type {any} */ (e.target).name === "mark") see.pick(/** @type {any} */ (e.target).value); });
}
