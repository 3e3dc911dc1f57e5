// Answers for the weigh-in page while the network is gone. `version` and `kept` are
// written above by the server: they change with the files, and then everything is
// fetched anew. Only pages and their files are kept here; weighings wait in the
// outbox, and calls of the API always go to the network.
const store = `pages ${version}`;

self.addEventListener("install", (e) => {
  e.waitUntil(caches.open(store).then((c) => c.addAll(kept)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (e) => {
  e.waitUntil(caches.keys().then((names) => Promise.all(names.filter((n) => n !== store).map((n) => caches.delete(n)))).then(() => self.clients.claim()));
});

self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== location.origin || url.pathname.startsWith("/v1/") || url.pathname.endsWith("/live")) return;
  if (url.pathname.startsWith("/static/")) {
    e.respondWith(caches.open(store).then((c) => c.match(e.request, { ignoreSearch: true })).then((hit) => hit ?? fetch(e.request)));
    return;
  }
  if (e.request.mode !== "navigate") return;
  e.respondWith(page(e.request, url));
});

// The first visit was not through this worker: the page asks for itself to be kept, and
// is told when it is.
self.addEventListener("message", (e) => {
  const path = String(e.data?.keep ?? "");
  if (!path.endsWith("/weigh-in")) return;
  e.waitUntil(held(path).catch(() => false).then((is) => e.ports[0]?.postMessage(is)));
});

/** Whether the page is kept, fetching it when it is not. */
async function held(path) {
  const c = await caches.open(store);
  if (await c.match(path)) return true;
  const answer = await fetch(path);
  if (!answer.ok || answer.redirected) return false; // signed out
  await c.put(path, answer);
  return true;
}

/** The page from the network, and a copy of the weigh-in page kept for when it is gone. */
async function page(request, url) {
  const c = await caches.open(store);
  const weighs = url.pathname.endsWith("/weigh-in");
  try {
    const answer = await fetch(request);
    if (weighs && answer.ok) await c.put(url.pathname, answer.clone());
    return answer;
  } catch (err) {
    if (weighs) {
      const hit = await c.match(url.pathname);
      if (hit) return hit;
    }
    return new Response("<!DOCTYPE html><html lang=en><meta charset=utf-8><meta name=viewport content=\"width=device-width\"><title>No network</title><link rel=stylesheet href=/static/style.css><main><h1>The book cannot be reached</h1><p>Weighing in works without the network, once its page was opened here before.</p><p><a href=/>Try again</a></p></main></html>",
      { status: 503, headers: { "Content-Type": "text/html; charset=utf-8" } });
  }
}
