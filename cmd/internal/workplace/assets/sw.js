// Keeps the pages of the stations for when the server is away. It asks the server
// first; what it kept it answers only when the server is silent, with the time at which
// that was true in X-Stored. It answers nothing but GET, so that nothing is recorded
// by it. The server writes the version and the files below, each with what must be in it.
const version = "VERSION";
const files = new Map(["FILES"]);
const scope = new URL(registration.scope).pathname;
const ours = "station " + scope + " "; // practice has a worker of its own, with another scope
const patience = 4000; // milliseconds after which the server counts as away
const outdated = 3 * 24 * 3600 * 1000; // milliseconds after which a page is not kept any longer

const mine = ours + version;

// A file's name says what is in it, by a sum before its last part: /assets/SUM/shell.css. Another version's differ in that.
const plain = path => path.replace(/[^/]+\/(?=[^/]+$)/, "");
const byPlain = new Map([...files.keys()].map(f => [plain(f), f]));
// ownOf is this version's file for what any version calls so; undefined for what is no file.
const ownOf = path => byPlain.get(plain(path)) ?? byPlain.get(path);

// A version is kept with all its files or not at all: then the one before runs on.
self.addEventListener("install", e => e.waitUntil((async () => {
  const got = [];
  try {
    // Each is read before the next is asked for: answers that are not to be stored hold up others until they are read.
    // A program that was replaced just now answers its own files under these names: then it is not this version.
    for (const [f, integrity] of files) {
      const res = await fetch(f, {cache: "reload", integrity});
      if (!sound(res)) throw new Error(f + ": " + res.status);
      got.push([f, new Response(await res.blob(), {status: res.status, headers: res.headers})]);
    }
    await caches.open(mine);
    for (const [f, res] of got) await keep(new URL(f, location).href, res);
  } catch (err) {
    await caches.delete(mine);
    throw err;
  }
  await self.skipWaiting();
})()));

self.addEventListener("activate", e => e.waitUntil((async () => {
  for (const name of await caches.keys()) if (name.startsWith(ours) && name !== mine) await caches.delete(name);
  await self.clients.claim();
})()));

self.addEventListener("fetch", e => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== location.origin || url.pathname.endsWith("/changes")) return;
  if (!url.pathname.startsWith(scope) && !ownOf(url.pathname)) return;
  e.respondWith(answer(e.request));
  if (e.request.mode === "navigate") e.waitUntil(leaveWhereGone());
});

// A page tells what it was answered last of an address.
self.addEventListener("message", e => {
  const {keep: address, data} = e.data;
  const res = new Response(JSON.stringify(data), {headers: {"Content-Type": "application/json"}});
  e.waitUntil(keep(address, res));
});

const sound = res => res.ok && !res.redirected;

// What is being kept just now; nothing more is where this worker leaves.
const keeping = new Set();
let left = false;

function keep(address, res) {
  const kept = put(address, res).finally(() => keeping.delete(kept));
  keeping.add(kept);
  return kept;
}

// A cache that another version has deleted is not made again.
async function put(address, res) {
  const headers = new Headers(res.headers), body = await res.blob();
  if (left || !await caches.has(mine)) return;
  headers.set("X-Stored", String(Date.now()));
  await (await caches.open(mine)).put(address, new Response(body, {status: res.status, headers}));
}

const known = address => caches.match(address, {cacheName: mine, ignoreVary: true});

async function answer(request) {
  // A file of this version is the same for good. A page that came here before its own worker names another version's: they
  // are kept with it, and when they can't be had, this version's do, as a page without its script takes no scan.
  const own = ownOf(new URL(request.url).pathname);
  const at = own && await known(request.url);
  if (at) return at;
  const late = new Promise((_, no) => setTimeout(() => no(new Error("the server is silent")), patience));
  let res;
  try {
    res = await Promise.race([fetch(request), late]);
  } catch (err) {
    const old = await known(own ? new URL(own, location).href : request.url);
    if (!old) throw err;
    if (!own) return old;
    const headers = new Headers(old.headers);
    headers.set("Cache-Control", "no-store"); // else the browser has it stand for the other version's, whose name it bears
    return new Response(old.body, {status: old.status, headers});
  }
  // What a server answers under a name of another version's is not what the name says, and not for keeping.
  const lasts = !own || (res.headers.get("Cache-Control") ?? "").includes("immutable");
  // A full disk keeps nothing, and takes no answer away.
  if (sound(res) && res.type === "basic" && lasts) await keep(request.url, res.clone()).catch(() => {});
  return res;
}

// A program that has no worker any longer would never be rid of this one: browsers
// keep a worker whose file is not found. What is too old to be of use goes, too.
async function leaveWhereGone() {
  const res = await fetch(location.href, {cache: "no-store"}).catch(() => undefined);
  if (res?.status === 404 || res?.status === 410) {
    left = true;
    await Promise.allSettled([...keeping]);
    for (const name of await caches.keys()) if (name.startsWith(ours)) await caches.delete(name);
    await registration.unregister();
    return;
  }
  if (!await caches.has(mine)) return;
  const c = await caches.open(mine);
  for (const request of await c.keys()) {
    const old = await c.match(request, {ignoreVary: true});
    const stale = Date.now() - Number(old?.headers.get("X-Stored")) > outdated;
    if (!ownOf(new URL(request.url).pathname) && stale) await c.delete(request);
  }
}
