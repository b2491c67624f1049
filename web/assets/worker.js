// Keeps the work pages that were opened at hand when the workshop is out of reach. Everything else goes to the network as if this
// were not here; the workshop's word always comes first.
const shell = ["/assets/app.css", "/assets/app.js", "/assets/viewer.js", "/assets/draw.js", "/assets/solid.js", "/assets/words.js", "/assets/work.js", "/assets/mark.svg", "/offline"];
const store = "fairmetal-1", mostPages = 8;
const isWork = (path) => /^\/jobs\/[0-9a-f]+\/work$/.test(path);
const isResult = (path) => /^\/captures\/[0-9a-f]+\/(surface\.json|marks\.json|height\.f32)$/.test(path);

self.addEventListener("install", (e) => e.waitUntil(caches.open(store).then((c) => c.addAll(shell)).then(() => self.skipWaiting())));
self.addEventListener("activate", (e) => e.waitUntil(self.clients.claim()));

/** Keep an answer of the workshop, if it is one: a page that leads to a sign-in is none. */
async function keep(key, answer) {
	const c = await caches.open(store);
	if (!answer.ok || answer.redirected) { await c.delete(key); return; }
	await c.put(key, answer);
	// The oldest give way: pages, and the three results that each of them needs.
	for (const [kind, most] of [[isWork, mostPages], [isResult, 3 * mostPages]]) {
		const had = (await c.keys()).filter((r) => kind(new URL(r.url).pathname));
		for (const old of had.slice(0, Math.max(0, had.length - most))) await c.delete(old);
	}
}

self.addEventListener("fetch", (e) => {
	const url = new URL(e.request.url);
	if (e.request.method !== "GET" || url.origin !== location.origin) return;
	const page = e.request.mode === "navigate";
	if (!page && !url.pathname.startsWith("/assets/") && !isResult(url.pathname)) return;
	e.respondWith((async () => {
		const key = isWork(url.pathname) ? url.pathname : url.pathname + url.search;
		const c = await caches.open(store);
		if (isResult(url.pathname)) {
			// A result never changes under its address.
			const had = await c.match(key);
			if (had) return had;
		}
		try {
			const answer = await fetch(e.request);
			if (isWork(url.pathname) || shell.includes(url.pathname)) e.waitUntil(keep(key, answer.clone()));
			return answer;
		} catch (fault) {
			const had = await c.match(key) || (page && await c.match("/offline"));
			if (had) return had;
			throw fault;
		}
	})());
});

// A work page that was open before this script was there tells what it needs.
self.addEventListener("message", (e) => {
	e.waitUntil(Promise.all(e.data.keep.map(async (path) => {
		const answer = await fetch(path);
		await keep(isWork(new URL(path, location.href).pathname) ? new URL(path, location.href).pathname : path, answer);
	})).then(() => e.ports[0]?.postMessage("kept"), () => {}));
});
