// The texts of the scripts in the reader's language: the page carries them, the English text is the key.
const texts = JSON.parse(document.getElementById("texts")?.textContent || "{}");

/** t says a text in the reader's language; {1}, {2}, … stand for the values that follow. */
export function t(english, ...values) {
	return (texts[english] ?? english).replace(/\{(\d)\}/g, (_, i) => values[i - 1] ?? "");
}
