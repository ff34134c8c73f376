// What a page does while the server is away: it says so and how old is what it shows,
// and tells another set's sheet from the right one by the number in the sheet's code.

import {kept, ofTab} from "./keep.js";

const note = document.getElementById("away");
const station = location.pathname.slice(0, location.pathname.lastIndexOf("/") + 1);

// The time, in milliseconds, at which what is shown was known; 0 while the server
// is there.
export let away = 0;
export const seen = res => since(Number(res.headers.get("X-Stored") || 0));
export const gone = () => { if (!away) since(Number(kept.getItem("known") || Date.now())); };
export const back = () => since(0);

export function clock(time) {
  const form = {hour: "2-digit", minute: "2-digit", hourCycle: "h23"};
  if (new Date(time).toDateString() !== new Date().toDateString()) Object.assign(form, {day: "2-digit", month: "2-digit"});
  const zone = note.dataset.zone;
  try {
    return new Intl.DateTimeFormat(document.documentElement.lang, {...form, timeZone: zone}).format(time) + (zone === "UTC" ? " UTC" : "");
  } catch {
    return new Intl.DateTimeFormat(document.documentElement.lang, form).format(time);
  }
}

function since(time) {
  const before = away;
  away = time;
  if (!note || before === away) return;
  note.textContent = away ? note.dataset.words.replace("{0}", clock(away)) : "";
  if (away) learn();
}

// blind says that what was pressed answers nothing that can be judged now.
export function blind() { if (note) note.textContent = note.dataset.blind; }

// remember keeps an answer as what is known last of an address.
export function remember(address, data) {
  const keep = new URL(address, location).href;
  navigator.serviceWorker?.controller?.postMessage({keep, data});
}

let sets; // the turn each set is on, as a sheet's code writes it, by set
async function learn() {
  try {
    const res = await fetch(station + "known");
    if (!res.ok) return;
    sets = (await res.json()).sets;
    for (const f of learnt) f();
  } catch { /* nothing is known, so nothing is judged */ }
}
const learnt = [];
export const onLearnt = f => learnt.push(f);

const base32 = "0123456789ABCDEFGHJKMNPQRSTVWXYZ", label37 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-";

// The turn that a sheet's code names, undefined for what is no whole code. The check
// is that of the events package: the sum of value times 2^i in GF(32) is zero.
function turn(text) {
  const code = text.toUpperCase().replace(/[\s-]/g, "").replace(/O/g, "0").replace(/[IL]/g, "1");
  if (code.length !== 54 && code.length !== 60) return;
  let sum = 0;
  for (const c of code) {
    const v = base32.indexOf(c);
    if (v < 0) return;
    sum = sum << 1 & 31 ^ (sum & 16 ? 5 : 0) ^ v;
  }
  return sum === 0 && code[0] === (note.dataset.practice ? "P" : "1") ? code.slice(1, 26) : undefined;
}

// The set that a label names, or whose identifier this is.
function set(text) {
  const t = text.trim().toUpperCase();
  if (sets?.[text.trim()]) return text.trim();
  const at = t.lastIndexOf("X9"), kind = t.slice(at).match(note.dataset.practice ? /^X9P[STO](.+).$/ : /^X9[STO](.+).$/);
  let sum = 0;
  for (const c of t.slice(Math.max(at, 0))) sum = (2 * sum + label37.indexOf(c)) % 37;
  if (at >= 0 && kind && sum === 1) return kind[1];
  return t.match(/^\(8004\)(.+)$/)?.[1];
}

// look goes through what was scanned, from what lies on the bench, and returns how far
// it can be judged: which of the page's verdicts, and of which sets.
export function look(lies, texts) {
  let {set: here, sheet} = lies, verdict;
  let own = sheet ? turn(sheet) : undefined;
  const owner = t => Object.keys(sets || {}).find(s => sets[s] === t);
  const judged = () => {
    if (!own) return here ? {name: "set", set: here} : {name: "unknown"};
    const other = owner(own);
    if (!other) return {name: "unknown"};
    if (!here) return {name: "of", other};
    return other === here ? {name: "fits", set: here} : {name: "stop", set: here, other};
  };
  for (const text of texts) {
    const t = turn(text), s = t ? undefined : set(text);
    if (t) {
      // A sheet of another set stays the one that counts, whichever was read first.
      if (!own || owner(own) === here) own = t;
      verdict = judged();
    } else if (s) {
      here ||= s;
      verdict = s === here ? judged() : {name: "third", set: here, other: s};
    } else if (verdict?.name !== "stop") verdict = {name: "unknown"};
  }
  return verdict;
}

// tell shows a verdict that the server left in the page for this.
export function tell(verdict, {name, set = "", other = ""}) {
  const made = document.querySelector(`template[data-away="${name}"]`).content.cloneNode(true);
  const texts = document.createTreeWalker(made, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) texts.currentNode.data = texts.currentNode.data.replaceAll("{0}", set).replaceAll("{1}", other);
  verdict.replaceChildren(made);
  return name === "stop" ? "wrong" : "ask";
}

// A new program's pages name its own scripts: with them goes its worker, which has them, though nobody opens a page. It takes
// over when the one before has nothing to do, so nothing is asked of that meanwhile: Chromium may wait half a minute else.
async function replaced() {
  const r = await navigator.serviceWorker.getRegistration();
  await r?.update().catch(() => {});
  const next = r?.installing ?? r?.waiting;
  if (!next) return false;
  await new Promise(done => {
    const look = () => { if (["activated", "redundant"].includes(next.state)) done(); };
    next.addEventListener("statechange", look);
    setTimeout(done, 10000);
    look();
  });
  return next.state === "activated";
}

// The station's pages, its open cases and what they need are fetched every few
// minutes, so that they are there when the server isn't.
const warmEvery = 5 * 60 * 1000;
async function warm() {
  const got = new Set();
  const get = async (address, must) => {
    const url = new URL(address, location);
    if (got.has(url.href) || url.origin !== location.origin) return;
    const res = await fetch(url);
    if (must && (!res.ok || res.headers.has("X-Stored"))) throw new Error("the server is away");
    got.add(url.href);
    if (!(res.headers.get("Content-Type") || "").startsWith("text/html")) return;
    return new DOMParser().parseFromString(await res.text(), "text/html");
  };
  try {
    if (await replaced()) return; // the new worker's coming has the pages fetched
    const page = await get(station, true);
    await get(station + "known", true);
    const links = [...page.querySelectorAll("main a[href]")].map(a => new URL(a.getAttribute("href"), location));
    for (const l of links.filter(l => l.pathname.startsWith(station))) {
      const {case: ref, stage} = (await get(l))?.getElementById("count")?.dataset || {};
      if (ref) await get(l.pathname + "/state?" + new URLSearchParams({case: ref, stage}));
      else if (!l.search) await get(l.pathname + "/state");
    }
    kept.setItem("known", Date.now());
    document.body.dataset.kept = got.size;
  } catch { /* the server is away: what is there stays */ }
}

// plain says, once in a tab, that the page can't be there without the server.
function plain() {
  if (ofTab.getItem("plain")) return;
  ofTab.setItem("plain", "told");
  note.textContent = note.dataset.plain;
}

async function keepPages() {
  const worker = navigator.serviceWorker;
  if (!worker) return plain();
  try {
    await worker.register(note.dataset.worker, {updateViaCache: "none"});
  } catch (err) {
    // Without the server it can't be fetched; one that is there runs on.
    if (err.name === "SecurityError") plain();
  }
  worker.addEventListener("controllerchange", warm);
  if (worker.controller && await caches.match(new URL(station, location).href)) {
    const due = Number(kept.getItem("known") || 0) + warmEvery - Date.now();
    setTimeout(() => { warm(); setInterval(warm, warmEvery); }, Math.max(due, 0));
    document.body.dataset.kept ||= "before";
    return;
  }
  if (worker.controller) warm();
  setInterval(warm, warmEvery);
}
// At a browser that comes for the first time all pages of the station are fetched for that: not before the first scans at this
// one have been answered.
if (note?.dataset.worker) setTimeout(keepPages, navigator.serviceWorker?.controller ? 0 : 5000);
if (document.querySelector("template[data-away]")) learn();
