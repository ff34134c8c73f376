import {ofTab} from "./keep.js";
import {away, back, blind, gone, remember, seen} from "./offline.js";
import {Sender, actions, beep, changes, client, say, scanField} from "./station.js";

const base = location.pathname;
const root = document.getElementById("count");
const {case: ref, stage} = root.dataset;
const rows = [...document.querySelectorAll("tr[data-line]")].map(tr => ({
  tr, set: tr.dataset.set, line: Number(tr.dataset.line), expected: Number(tr.dataset.expected), rev: Number(tr.dataset.rev),
  settled: tr.dataset.settled === "true",
  counted: tr.dataset.counted === undefined ? null : Number(tr.dataset.counted), parts: {}, waits: 0,
  hidden: tr.dataset.hidden === "true",
}));
// What is expected is hidden, where policy says so, until somebody has given a number.
const expected = r => r.hidden && r.counted === null ? "–" : String(r.expected);
const added = stage === "added", before = Boolean(root.dataset.before); // nobody has begun this count
let place = "", byPlace = false, at = -1, chosen = false, complete = false, sender;
let asks = 0; // the question in sight, if it is one that a badge answers
let answers = 0; // an answer is newer than a look that began before it
const shown = {}; // revision of each set's count as it is shown

const $ = id => document.getElementById(id);
const put = (id, text) => { const el = $(id); if (el && el.textContent !== String(text)) el.textContent = text; };

function draw(r) {
  const cell = r.tr.querySelector(".cell");
  let text = r.counted === null ? "" : String(r.counted);
  if (r.counted !== null && !added) text += r.counted === r.expected ? " ✓" : r.settled ? " ≠" : " …";
  if (r.waits) text += sender?.failed ? " … " + root.dataset.waits : " …";
  if (cell.textContent !== text) cell.textContent = text;
  cell.setAttribute("aria-label", root.dataset.line + " " + r.line + ", " + r.tr.dataset.what + ": " + (text || "–"));
  const how = r.counted === r.expected ? "same" : "differs";
  r.tr.className = [r.waits ? "waits" : "", r.settled && !added ? how : "", rows[at] === r ? "now" : ""].join(" ");
}

function go(i, byHand) {
  const old = rows[at];
  at = i;
  chosen = Boolean(byHand);
  if (old) { draw(old); old.tr.removeAttribute("aria-current"); }
  const r = rows[at];
  const done = !r;
  $("now").classList.toggle("done", done);
  put("now-set", r ? r.set : "");
  put("now-line", r ? root.dataset.line + " " + r.line : "");
  put("now-what", r ? [r.tr.dataset.what, r.tr.querySelector(".flag").textContent].filter(Boolean).join(" – ") : "");
  put("now-expected", r && !added ? expected(r) : "–");
  $("as-expected").hidden = Boolean(r?.hidden);
  put("now-counted", r && r.counted !== null ? r.counted : "–");
  if (r) {
    draw(r);
    r.tr.setAttribute("aria-current", "true");
    const head = document.querySelector(".stick").getBoundingClientRect().bottom;
    const box = r.tr.getBoundingClientRect();
    const foot = $("tools").getBoundingClientRect().top;
    const above = Math.min(120, Math.max(0, (foot - head - box.height) / 2));
    if (box.top < head + above / 2 || box.bottom > foot - above / 2) scrollBy({top: box.top - head - above});
  }
}

function next(from) {
  for (let k = 1; k <= rows.length; k++) {
    const i = (from + k) % rows.length;
    if (!rows[i].settled) return i;
  }
  return -1;
}

// What was counted of a line. The server has the last word; until it has
// spoken the line says that it waits.
function count(i, n) {
  const r = rows[i];
  let whole = n;
  const line = {set: r.set, line: r.line, counted: n, seen: r.rev};
  if (byPlace) {
    line.place = place;
    r.parts = {...r.parts, [place]: n};
    whole = Object.values(r.parts).reduce((a, b) => a + b, 0);
  }
  r.counted = whole;
  r.settled = !byPlace || whole >= r.expected || place === "off-field";
  r.waits++;
  draw(r);
  go(added ? -1 : next(i));
  sender.put("enter", {case: ref, stage, lines: [line]});
}

// Whether a question is in sight whose answers are buttons: nothing else answers it.
const asked = () => !before && document.querySelector("#verdict .choices button");

function asExpected() {
  if (asked()) return beep("low");
  if (early) {
    tooEarly();
    return beep("low");
  }
  const r = rows[at];
  if (!r || added) return confirm();
  if (r.hidden) return beep("low"); // a number is typed, not agreed to
  const here = byPlace ? Object.entries(r.parts).reduce((sum, [p, n]) => p === place ? sum : sum - n, r.expected) : r.expected;
  count(at, Math.max(0, here));
}

// Enter says yes to what is asked. While something waits, nothing is shown that it
// could answer.
function confirm() {
  if (!sender.items.length && !away) return sender.put("scan", {case: ref, stage, text: "", seen: shown});
  beep("low");
  if (away) blind();
}

function entered(text) {
  const t = text.trim();
  if (!ref) return sender.put("scan", {text});
  if (before) return t === "" ? undefined : sender.put("scan", {case: ref, stage, text, rev: asks});
  if (t === "") return asExpected();
  if (asked() && /^\d{1,3}$/.test(t)) return beep("low");
  const r = rows[at];
  // Three digits and more are hardly a number of instruments: a scanner typed them.
  if (/^\d{1,4}$/.test(t) && r && (!complete || chosen) && (t.length <= 2 || Number(t) <= 2 * r.expected + 20)) {
    return count(at, Number(t));
  }
  sender.put("scan", {case: ref, stage, text, seen: shown, hand: r?.set, under: Boolean(asked())});
}

// What waits here was counted, whatever the server knew before.
function pending() {
  for (const r of rows) r.waits = 0;
  const waits = sender.items.filter(x => x.verb === "enter" && x.body.case === ref && x.body.stage === stage);
  for (const l of waits.flatMap(x => x.body.lines)) {
    const r = rows.find(r => r.set === l.set && r.line === l.line);
    if (!r) continue;
    r.waits++;
    if (l.place) r.parts = {...r.parts, [l.place]: l.counted};
    r.counted = l.place ? Object.values(r.parts).reduce((a, b) => a + b, 0) : l.counted;
    r.settled = !l.place || r.counted >= r.expected || l.place === "off-field";
  }
  rows.forEach(draw);
  if (!added && !chosen && (at < 0 || rows[at]?.settled)) go(next(at < 0 ? rows.length - 1 : at));
}

// Lines that came or went meanwhile are on the page as the server makes it now. It
// is fetched once, and not while somebody is writing.
function changed(lines) {
  if (leaves) return false;
  const shown = rows.map(r => r.set + "~" + r.line).join();
  const now = lines.join();
  const writes = $("code").value.trim() || document.activeElement?.closest("#single, .removed");
  if (shown === now || away || writes || sender.items.length || ofTab.getItem("drawn") === now + "|" + shown) return false;
  ofTab.setItem("drawn", now + "|" + shown);
  return true;
}

// The form for a single instrument, for the set of the line that is counted.
function openSingle() {
  const form = $("single"), set = rows[at]?.set;
  form.hidden = false;
  if (set) $("sset").value = set;
  $("swhat").focus();
  form.scrollIntoView({block: "center"});
}

// A count that was signed, or begun, at another screen is another page. It is fetched once, and not while somebody writes.
function turned(st) {
  const now = st.pause !== undefined, key = "turned " + ref + " " + stage;
  if (now === before) {
    sessionStorage.removeItem(key);
    return false;
  }
  const writes = $("code").value.trim() || document.activeElement?.closest("#single, .removed");
  if (leaves || away || writes || sender.items.length || sessionStorage.getItem(key) === String(now)) return false;
  sessionStorage.setItem(key, now);
  return true;
}

// Who came here by Enter from the place before may press it once more, or did so while this page was on its way: until
// somebody says that it is counted, a question is in sight here, and Enter counts no line. It is answered on the page, with
// the server away too.
let led = ofTab.getItem("led") && $("led") ? $("verdict").innerHTML : "";
ofTab.removeItem("led");
if (led) $("verdict").replaceChildren($("led").content.cloneNode(true));
function begins() {
  say(led);
  led = "";
}

// Who came here by a set's label says that it is counted; Enter pressed while this page was on its way is none on its first line.
// It counts nothing until there was a pause in which that line can have been looked at.
let early;
function tooEarly() {
  clearTimeout(early);
  document.body.dataset.early = "1";
  early = setTimeout(() => { early = undefined; delete document.body.dataset.early; }, 1000);
}
if (ofTab.getItem("scanned") && rows.every(r => r.counted === null) || ofTab.getItem("touched")) tooEarly();
ofTab.removeItem("scanned");
// So it is with a case that is touched twice: the second touch lands here, on whatever stands there by now.
ofTab.removeItem("touched");
if (!ref) document.querySelector("ul.tiles")?.addEventListener("click", e => e.target.closest("a") && ofTab.setItem("touched", "1"));

let leaves = false; // for another page; loading this one anew would call that off

function apply(st) {
  byPlace = st.byPlace;
  place = st.place;
  complete = st.complete;
  for (const s of st.sets) shown[s.set] = s.rev;
  if (changed(st.sets.flatMap(s => s.lines.map(l => s.set + "~" + l.line)))) return location.reload();
  const by = new Map(st.sets.flatMap(s => s.lines.map(l => [s.set + "~" + l.line, l])));
  const waiting = new Set(sender.items.filter(x => x.verb === "enter").flatMap(x => x.body.lines.map(l => l.set + "~" + l.line)));
  for (const r of rows) {
    const key = r.set + "~" + r.line, l = by.get(key);
    if (!l || waiting.has(key)) continue;
    r.waits = 0;
    r.expected = l.expected;
    r.rev = l.rev;
    r.settled = l.settled;
    r.hidden = Boolean(l.hidden);
    r.counted = l.counted ?? null;
    r.parts = l.parts ?? {};
    const flag = r.tr.querySelector(".flag"), note = l.note ?? "";
    if (flag.textContent !== note) flag.textContent = note;
    const exp = r.tr.children[2];
    if (exp.textContent !== expected(r)) exp.textContent = expected(r);
    draw(r);
  }
  for (const s of st.sets) {
    const el = document.querySelector(`section[data-set="${CSS.escape(s.set)}"] .setsum`);
    if (el && el.textContent !== s.sum) el.textContent = s.sum;
  }
  put("sum", st.sum);
  put("resume", st.resume);
  for (const who of ["counter", "witness"]) put(who, st[who] || "–");
  const unsay = JSON.stringify(st.unsay || []);
  if ($("unsay") && $("unsay").dataset.codes !== unsay) {
    $("unsay").dataset.codes = unsay;
    $("unsay").replaceChildren(...(st.unsay || []).map(({code, words}) => {
      const b = Object.assign(document.createElement("button"), {type: "button", textContent: words});
      Object.assign(b.dataset, {do: "unsay", value: code});
      return b;
    }));
  }
  for (const g of st.goods || []) {
    const li = document.querySelector(`#goods li[data-item="${CSS.escape(g.item)}"]`);
    if (!li) continue;
    const there = li.querySelector("b");
    if (there.textContent !== String(g.there)) there.textContent = g.there;
    for (const b of li.querySelectorAll(".less")) b.hidden = (g.added || 0) < -Number(b.dataset.value.split(" ")[1]);
  }
  $("open").hidden = !st.open.length;
  if (st.warn) {
    const warn = st.warn.join("\n");
    if ($("warn").dataset.lines !== warn) {
      $("warn").dataset.lines = warn;
      $("warn").replaceChildren(...st.warn.map(textContent =>
        Object.assign(document.createElement("p"), {textContent, className: "openlines warn"})));
    }
  }
  const list = $("open-list"), lines = st.open.join("\n");
  if (list.dataset.lines !== lines) {
    list.dataset.lines = lines;
    list.replaceChildren(...st.open.map(text => Object.assign(document.createElement("li"), {textContent: text})));
  }
  for (const b of document.querySelectorAll("[data-do='place']")) b.setAttribute("aria-pressed", byPlace && b.dataset.place === place);
  document.querySelector("[data-do='by-place']").setAttribute("aria-pressed", byPlace);
  if (!chosen && (at < 0 || rows[at]?.settled)) go(added ? -1 : next(at < 0 ? rows.length - 1 : at));
  else go(at, chosen);
}

function leave(address) {
  const to = new URL(address, location);
  leaves = true;
  const here = to.pathname + to.search === location.pathname + location.search;
  ref ? location.replace(to) : location.assign(to);
  if (here && to.hash) location.reload(); // else the browser would only look for a place on this page
}

sender = new Sender(base, (a, ok) => {
  if (!ok) {
    const p = document.querySelector("#verdict .tells");
    if (p) p.textContent = a.error;
    beep("wrong");
    return;
  }
  document.body.dataset.answered = a.n;
  if (a.verdict) say(a.verdict);
  asks = a.asks || 0;
  beep(a.sound);
  led = "";
  // A set's label, or its sheet, says that this set is counted; a case's doesn't.
  if (a.go && !ref) ofTab.setItem(["set", "sheet code"].includes(a.kind) ? "scanned" : "led", "1");
  // The page of a count that is signed is not gone back to.
  if (a.go) return leave(a.go);
  answers++;
  back();
  if (a.state && !before) {
    apply(a.state);
    remember(base + "/state?" + new URLSearchParams({case: ref, stage}), a.state);
  }
  if (a.line) go(rows.findIndex(r => r.set === a.line.set && r.line === a.line.line), true);
}, () => { gone(); if (ref && !before) pending(); });

function key(e, field) {
  if (!ref || before || field.value.trim() !== "") return false;
  if (e.key !== "Shift") field.value = "";
  switch (e.key) {
  case " ": asExpected(); return true;
  case "ArrowDown": if (rows.length) go((at + 1) % rows.length, true); return true;
  case "ArrowUp": if (rows.length) go((at <= 0 ? rows.length : at) - 1, true); return true;
  case "Backspace": if (rows.length) go((at <= 0 ? rows.length : at) - 1, true); return true;
  case "+": {
    const all = [...document.querySelectorAll("[data-do='place']")].map(b => b.dataset.place);
    if (byPlace) act("place", {place: all[(all.indexOf(place) + 1) % all.length]});
    return byPlace;
  }
  }
  return false;
}

const act = (action, fields) => led && action === "count-on" ? begins() : sender.put("do", {case: ref, stage, action, fields, seen: shown});
scanField({entered, key, nextPerson: ref && !before ? () => act("badges-clear", {}) : undefined});

actions($("verdict"), act);
if (ref && !before) {
  actions(root, act);
  $("as-expected").addEventListener("click", asExpected);
  $("single-open").addEventListener("click", e => { e.stopPropagation(); openSingle(); });
  if (location.hash === "#single") {
    history.replaceState(null, "", location.pathname + location.search);
    addEventListener("pageshow", openSingle, {once: true}); // when the scan field has taken the focus
  }
  $("back").addEventListener("click", () => { if (rows.length) go((at <= 0 ? rows.length : at) - 1, true); });
  $("tools").addEventListener("click", e => {
    const d = e.target.closest("[data-digit]")?.dataset.digit;
    const field = $("code");
    if (d === "enter") field.form.requestSubmit();
    else if (d) field.value += d;
  });
  // A touch on a line chooses it; it never counts it.
  for (const r of rows) {
    r.tr.addEventListener("click", () => go(rows.indexOf(r), true));
    draw(r);
  }
  // A server that was slow once counts as away until it is asked again.
  let again;
  const askAgain = () => { clearTimeout(again); again = setTimeout(look, 3000); };
  const look = async () => {
    const before = answers;
    try {
      const res = await fetch(base + "/state?" + new URLSearchParams({case: ref, stage}));
      if (!res.ok) return;
      const st = await res.json();
      if (before === answers) seen(res);
      if (away) {
        if (!answers) apply(st); // the page that was kept may be older
        pending();
        askAgain();
      } else if (sender.items.length || before !== answers) setTimeout(look, 100);
      else if (turned(st)) location.reload();
      else apply(st);
    } catch { gone(); pending(); askAgain(); }
  };
  go(added ? -1 : next(rows.length - 1));
  look();
  changes(base + "/changes?" + new URLSearchParams({case: ref, client}), look);
}

// What is said before a count begins follows what is signed at other screens.
if (ref && before) {
  let said = root.dataset.before;
  changes(base + "/changes?" + new URLSearchParams({case: ref, client}), async () => {
    try {
      const res = await fetch(base + "/state?" + new URLSearchParams({case: ref, stage}));
      if (!res.ok || leaves || sender.items.length) return;
      const st = await res.json();
      if (turned(st)) return location.reload();
      if (said !== st.pause) say(st.pause);
      said = st.pause;
    } catch { gone(); }
  });
}
