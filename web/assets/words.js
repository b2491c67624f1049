// The texts of the scripts in the reader's language: the page carries them, the English text is the key.
const texts = JSON.parse(document.getElementById("texts")?.textContent || "{}");

/** inches writes millimetres in inches too, for a house that wants both. */
export function inches(mm) {
	return "inches" in document.documentElement.dataset ? ` (${(mm / 25.4).toFixed(2)} in)` : "";
}

/** figure writes a number as the reader does. */
export function figure(v, digits = 0) {
	return v.toLocaleString(document.documentElement.lang, { minimumFractionDigits: digits, maximumFractionDigits: digits, useGrouping: false });
}

/** t says a text in the reader's language; {1}, {2}, … stand for the values that follow. */
export function t(english, ...values) {
	return (texts[english] ?? english).replace(/\{(\d)\}/g, (_, i) => values[i - 1] ?? "");
}
