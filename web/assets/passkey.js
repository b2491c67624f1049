// Signing in with a passkey, and adding one. The form of the passphrase works without.

/** What the workshop refused, in its own words. */
class Refusal extends Error {}

/** Send to the workshop what a device answered, or ask for a challenge. */
async function send(path, credential) {
	const r = await fetch(path, { method: "POST", headers: { Accept: "text/plain, application/json" }, body: credential ? JSON.stringify(credential) : "" });
	if (!r.ok) throw new Refusal(await r.text());
	return r;
}

/** Do the work of a button and tell what went wrong. */
async function run(box, work) {
	const told = box.querySelector("[role=alert]"), button = box.querySelector("button");
	told.textContent = "";
	button.disabled = true;
	try {
		await work();
	} catch (e) {
		told.textContent = e instanceof Refusal ? e.message : box.dataset.failed;
	}
	button.disabled = false;
}

async function enter(box) {
	const options = await (await send("/sign-in/passkey/begin")).json();
	const got = await navigator.credentials.get({ publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options.publicKey) });
	location.assign(await (await send("/sign-in/passkey?next=" + encodeURIComponent(box.dataset.next), got)).text());
}

async function add(form) {
	const options = await (await send("/me/passkeys/begin")).json();
	const made = await navigator.credentials.create({ publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(options.publicKey) });
	await send("/me/passkeys?name=" + encodeURIComponent(form.elements.namedItem("name").value), made);
	location.reload();
}

if (window.isSecureContext && window.PublicKeyCredential?.parseRequestOptionsFromJSON) {
	const box = document.getElementById("passkey-use"), form = document.getElementById("passkey-new");
	if (box) {
		box.hidden = false;
		box.querySelector("button").addEventListener("click", () => run(box, () => enter(box)));
	}
	if (form) {
		form.hidden = false;
		document.getElementById("passkey-cannot").hidden = true;
		form.addEventListener("submit", (e) => {
			e.preventDefault();
			run(form, () => add(form));
		});
	}
}
