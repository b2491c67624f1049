// Pads to sign on, for pages that need nothing else, and texts to copy.
import { startPads } from "./sign.js";
import { t } from "./words.js";

startPads();
for (const b of document.querySelectorAll("button[data-copy]")) {
	const from = /** @type {HTMLTextAreaElement} */ (document.getElementById(/** @type {HTMLElement} */ (b).dataset.copy));
	/** @type {HTMLElement} */ (b).hidden = false;
	b.addEventListener("click", async () => {
		try {
			await navigator.clipboard.writeText(from.value);
		} catch {
			from.select();
			return;
		}
		b.textContent = t("Copied");
	});
}
