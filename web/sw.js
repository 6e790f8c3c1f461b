// Keeps one whole version of the app on the phone, so that it opens with no network at all.
//
// A version is all of its files or nothing: each is checked against its hash when it is fetched, and as long as one
// is missing the version before stays in charge. A new version waits until the app says {type: "take-over"}.
//
// The build fills in the next two lines. Paths are relative to this file; "./" is the page.

const VERSION = "@version@";
const FILES = new Map("@files@");

const CACHE = `trug-${VERSION}`;
const ROOT = new URL("./", self.location).href;
// The relay's own places, never answered from here.
const RELAY = /^(v1|healthz|metrics)(\/|$)/;
// A name with a hash in it never changes what it stands for.
const FOR_EVER = /\.[0-9a-f]{16}\.[a-z0-9]+$/;

self.addEventListener("install", (event) => event.waitUntil(fill()));

self.addEventListener("activate", (event) => event.waitUntil(settle()));

self.addEventListener("message", (event) => {
  if (event.data?.type === "take-over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const path = within(request.url);
  if (request.method !== "GET" || path === undefined || RELAY.test(path)) return;
  if (FILES.has(key(path))) {
    event.respondWith(kept(key(path)).then((answer) => answer ?? fetch(request)));
    if (request.mode === "navigate") event.waitUntil(refresh());
  } else if (request.mode === "navigate") {
    // The page names its parts from the root, and a query or fragment is its own business.
    event.respondWith(path.includes("/") ? Response.redirect(ROOT) : page(request));
    event.waitUntil(refresh());
  }
});

// A path below the root without its query; undefined where it is somebody else's.
function within(address) {
  const { origin, pathname } = new URL(address);
  const place = origin + pathname;
  return place.startsWith(ROOT) ? place.slice(ROOT.length) : undefined;
}

function key(path) {
  return path === "" || path === "index.html" ? "./" : path;
}

async function kept(path) {
  const cache = await caches.open(CACHE);
  return cache.match(new URL(path, ROOT).href, { ignoreVary: true });
}

async function page(request) {
  return (await kept("./")) ?? fetch(request);
}

// All files of this version. An install that was cut off goes on where it stopped.
async function fill() {
  const cache = await caches.open(CACHE);
  await Promise.all(Array.from(FILES, ([path, integrity]) => keep(cache, path, integrity)));
}

async function keep(cache, path, integrity) {
  const address = new URL(path, ROOT).href;
  if (await cache.match(address, { ignoreVary: true })) return;
  const before = FOR_EVER.test(path) && (await caches.match(address, { ignoreVary: true }));
  await cache.put(address, before || (await get(address, integrity, FOR_EVER.test(path))));
}

// What the page has just loaded is not loaded again, if its hash is right; everything else comes from the server.
async function get(address, integrity, forEver) {
  const ways = forEver ? ["default", "reload"] : ["reload"];
  let trouble;
  for (const cache of ways) {
    try {
      const answer = await fetch(address, { cache, integrity, credentials: "same-origin" });
      if (answer.ok && !answer.redirected) return answer;
      trouble = new Error(`${address}: ${answer.status}`);
    } catch (error) {
      trouble = error;
    }
  }
  throw trouble;
}

// The page's headers say whom the app may talk to, and the server may have changed its mind; so the page is asked for
// again, quietly, whenever it was opened. A page of another version does not pass its hash and changes nothing.
async function refresh() {
  try {
    const answer = await fetch(ROOT, { cache: "no-cache", integrity: FILES.get("./"), credentials: "same-origin" });
    if (answer.ok && !answer.redirected) await (await caches.open(CACHE)).put(ROOT, answer);
  } catch {
    // No network, or a newer version: the worker of that one will see to it.
  }
}

// The versions before are done with; pages that were opened before there was a worker are looked after from now on.
async function settle() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("trug-") && name !== CACHE).map((name) => caches.delete(name)));
  await self.clients.claim();
}
