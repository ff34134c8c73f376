// What all workplaces share: the scan field, the queue of what was entered, the
// sounds, the stream of changes.

import {kept, ofTab} from "./keep.js";
import {clock} from "./offline.js";
import {Stopped, Waits, headers, signing} from "./sign.js";

const wait = ms => new Promise(done => setTimeout(done, ms));

// Which browser tab this is. It outlives a reload: a page that goes leaves it to the
// next one in its tab. While a page is there its storage doesn't hold it, since a tab
// that is duplicated begins with a copy of that and is another one.
export const client = ofTab.getItem("client") ||
  Array.from(crypto.getRandomValues(new Uint8Array(8)), b => b.toString(16).padStart(2, "0")).join("");
ofTab.removeItem("client");
addEventListener("pagehide", () => ofTab.setItem("client", client));
addEventListener("pageshow", e => { if (e.persisted) ofTab.removeItem("client"); });

// In the order in which they were entered, by the clock, but never those of one tab
// otherwise than it entered them: a clock may have been set back.
function inOrder(...lists) {
  const timed = lists.flatMap(list => {
    let last = 0;
    return list.map(item => ({item, at: last = Math.max(last, item.at)}));
  });
  return timed.sort((a, b) => a.at - b.at).map(t => t.item);
}

// How long an answer may take before the line counts as dead, in milliseconds.
const answerWithin = 20000;

// After how long without an answer that is said, in milliseconds.
const silentAfter = 4000;

// How often a tab with waiting entries says that it is open, in milliseconds.
const aliveEvery = 2000;

// What waited for as long as a shift is sent only once a person has seen what it is and
// of when: the clock may have been set meanwhile (longestWait in workplace.go).
const longestWait = 12 * 3600 * 1000;

// What is older is taken no more (longestKept in workplace.go).
const longestKept = 31 * 24 * 3600 * 1000;
const expired = item => Date.now() - item.at >= longestKept;

// Sender keeps what was entered until the server has answered it, in order and
// across reloads. What waits here is shown as waiting: it is not recorded.
export class Sender {
  constructor(base, answered, lost) {
    this.base = base;
    this.answered = answered;
    this.lost = lost; // called when the line is found dead
    this.key = "waiting:" + client + ":" + base;
    this.items = JSON.parse(kept.getItem(this.key) || "[]");
    this.busy = false;
    this.failed = false;
    this.left = 0; // entries of tabs that are gone
    this.oldKey = "old:" + base.slice(0, base.lastIndexOf("/") + 1);
    this.askOld();
    addEventListener("storage", e => { if (e.key === this.oldKey) this.showOld(); });
    addEventListener("online", () => this.wake?.());
    this.alive();
    this.adopt();
    setInterval(() => { this.alive(); this.adopt(); }, aliveEvery);
    this.show();
    this.pump();
  }
  // A tab with entries that wait says that it is there.
  alive() {
    if (this.items.length) kept.setItem("alive:" + client, Date.now());
    else kept.removeItem("alive:" + client);
  }
  // What tabs left behind that were closed while the line was down goes out from the
  // next page at this station: all of it in its order. Should both send it, it counts
  // once.
  adopt() {
    const station = this.base.slice(0, this.base.lastIndexOf("/") + 1), found = [];
    for (const key of kept.keys()) {
      const [, owner, base] = /^waiting:([^:]+):(.*)$/.exec(key) || [];
      if (!base || !base.startsWith(station) || owner === client && base === this.base) continue;
      if (owner !== client && Date.now() - Number(kept.getItem("alive:" + owner)) < 3 * aliveEvery) continue;
      found.push({key, owner, items: JSON.parse(kept.getItem(key)).map(item => ({base, ...item, left: true}))});
    }
    if (!found.length) return;
    // Behind what is on its way just now.
    const first = this.sending ? this.items.splice(0, 1) : [];
    this.items = [...first, ...inOrder(this.items, ...found.map(f => f.items))];
    this.left += found.flatMap(f => f.items).length;
    this.save();
    for (const {key, owner} of found) {
      kept.removeItem(key);
      if (owner !== client) kept.removeItem("alive:" + owner);
    }
    this.pump();
  }
  // The entries that wait for a person to say whether they are still meant. They are the
  // station's: any page of it shows them.
  old() { return JSON.parse(kept.getItem(this.oldKey) || "[]"); }
  putOld(items) {
    if (items.length) kept.setItem(this.oldKey, JSON.stringify(items));
    else kept.removeItem(this.oldKey);
    this.showOld();
  }
  showOld() {
    tellEntries("old", this.old().filter(item => !expired(item)));
    tellEntries("expired", this.old().filter(expired));
  }
  // What waited and was not taken, until somebody has seen it: at whichever page of the station.
  get untakenKey() { return "untaken:" + this.oldKey.slice(4); }
  untaken() { return JSON.parse(kept.getItem(this.untakenKey) || "[]"); }
  putUntaken(items) {
    if (items.length) kept.setItem(this.untakenKey, JSON.stringify(items));
    else kept.removeItem(this.untakenKey);
    tellEntries("untaken", items);
    if (items.length) beep("wrong");
  }
  askOld() {
    const box = document.getElementById("old");
    box?.querySelector("[data-act=take]").addEventListener("click", () => {
      // By numbers of this page: others have been answered since theirs were given.
      // From nobody who works here now: what lies here is not theirs.
      const items = this.old().filter(item => !expired(item)).map(item =>
        ({...item, left: true, body: {...item.body, client: "old" + client, n: number(), sure: true}}));
      this.items.push(...items);
      this.save();
      this.putOld(this.old().filter(expired));
      this.pump();
    });
    box?.querySelector("[data-act=drop]").addEventListener("click", () => this.putOld(this.old().filter(expired)));
    // What can't be sent any more is for people to enter by hand: it stays until one says that it is done.
    const over = document.getElementById("expired");
    over?.querySelector("[data-act=print]").addEventListener("click", () => {
      document.body.dataset.print = "expired";
      print();
      delete document.body.dataset.print;
    });
    over?.querySelector("[data-act=copy]").addEventListener("click", e => {
      const text = Object.assign(document.createElement("textarea"),
        {value: [...over.querySelectorAll("li")].map(li => li.textContent).join("\n")});
      over.append(text); // navigator.clipboard is there on encrypted pages only
      text.select();
      const copied = document.execCommand("copy");
      text.remove();
      if (copied) e.target.textContent = e.target.dataset.done;
      else beep("wrong");
    });
    over?.querySelector("[data-act=aside]").addEventListener("click", () => this.putOld(this.old().filter(item => !expired(item))));
    document.querySelector("#untaken [data-act=seen]")?.addEventListener("click", () => this.putUntaken([]));
    this.showOld();
    tellEntries("untaken", this.untaken());
  }
  put(verb, body) {
    const n = number();
    this.items.push({verb, at: Date.now(), body: {client, n, at: Date.now(), ...body}});
    this.save();
    this.pump();
    return n;
  }
  save() {
    // What waits is never there without the mark that its tab is.
    if (this.items.length) {
      this.alive();
      kept.setItem(this.key, JSON.stringify(this.items));
    } else {
      kept.removeItem(this.key);
      this.alive();
    }
    this.show();
  }
  // Longer from try to try, up to half a minute, and never all stations at once.
  pause() {
    this.tries = Math.min((this.tries || 0) + 1, 6);
    return 500 * 2 ** (this.tries - 1) * (1 + Math.random());
  }
  show() {
    const p = document.getElementById("waiting");
    const words = this.unsigned ? p?.dataset.unsigned : this.incident ? p?.dataset.failing : p?.dataset.words;
    let text = this.left ? p?.dataset.left.replace("{0}", this.left) : "";
    if (this.failed && this.items.length) {
      text = words.replace("{0}", this.items.length).replace("{1}", this.incident) + " " + text;
    }
    if (p && p.textContent !== text) p.textContent = text;
  }
  async pump() {
    if (this.busy) return;
    this.busy = true;
    while (this.items.length) {
      const item = this.items[0];
      // What waited is observed when it was entered, not when the line came back.
      const ago = Date.now() - item.at;
      if (expired(item) || (ago >= longestWait || ago < -2000) && !item.body.sure) { // or the clock was set back
        this.putOld([...this.old(), {base: this.base, ...item}]);
        this.items.shift();
        if (item.left) this.left--; // it is not sent from here
        this.save();
        continue;
      }
      if (ago > 2000) item.body.ago = ago;
      let data, ok;
      this.incident = "";
      this.sending = true;
      // A line on which nothing comes back is told before it is given up.
      const slow = setTimeout(() => { this.failed = true; this.show(); this.lost?.(); }, silentAfter);
      try {
        const send = async signed => {
          const res = await fetch((item.base || this.base) + "/" + item.verb, {
            method: "POST", headers: {"Content-Type": "application/json", ...await headers()},
            body: JSON.stringify({...item.body, signed}), signal: AbortSignal.timeout(answerWithin),
          });
          const data = await res.json().catch(() => null) || {};
          // Only our own answer to this entry, or our own refusal, ends it: a failing
          // server, or whoever answers in its place, has not judged what was entered.
          const ours = res.ok ? data.n === item.body.n : data.why === "refused" || data.why === "too-large";
          return {res, data, ours};
        };
        let answer = await send();
        if (answer.ours && answer.data.sign) answer = await signing(item.body.client + " " + item.body.n, item.at, answer, send);
        let ours;
        ({data, ours, res: {ok}} = answer);
        if (!ours) {
          this.incident = data.incident || String(answer.res.status);
          throw new Error(answer.res.status);
        }
      } catch (err) {
        clearTimeout(slow);
        this.sending = false;
        // What was signed before this is sent before it, where it is here.
        const first = err instanceof Waits ? this.items.findIndex(({body}) => body.client + " " + body.n === err.of) : -1;
        if (first > 0) {
          this.items.unshift(...this.items.splice(first, 1));
          this.save();
          continue;
        }
        this.failed = true;
        this.unsigned = err instanceof Stopped;
        this.show();
        if (!this.unsigned) this.lost?.();
        await Promise.race([wait(this.pause()), new Promise(done => { this.wake = done; })]);
        continue;
      }
      clearTimeout(slow);
      this.sending = this.failed = this.unsigned = false;
      this.tries = 0;
      this.items.shift();
      this.save();
      if ((!ok || data.stale || data.no) && item.body.ago) this.putUntaken([...this.untaken(), {base: this.base, ...item}]);
      if (!item.left) this.answered(data, ok, item);
      else if (item.base === this.base) this.answered({...data, go: undefined}, ok, item);
      else if (!ok || data.stale || data.status === "broken") late(item.base, data);
    }
    this.busy = false;
  }
}

// number is the next one of this tab's entries.
function number() {
  const n = Math.max(Number(ofTab.getItem("n") || 0) + 1, Date.now());
  ofTab.setItem("n", n);
  return n;
}

// named is what was scanned, as people call it: what a label names, the beginning of a
// sheet's code.
function named(text, words) {
  const label = /^X9[A-Z](.+).$/.exec(text);
  return label ? label[1] : text.length > 50 ? words.sheet + " " + text.slice(0, 8) + "…" : text;
}

// tellEntries lists entries in a box: when each was made, where, and what it says.
function tellEntries(id, items) {
  const box = document.getElementById(id);
  if (!box) return;
  const words = document.getElementById("untaken").dataset;
  box.hidden = !items.length;
  box.querySelector("ul").replaceChildren(...items.map(item => {
    const place = document.querySelector(`.ways a[href="${CSS.escape(item.base || location.pathname)}"]`)?.textContent.trim();
    const {lines, text, action, fields} = item.body;
    const said = Object.values(fields || {}).filter(Boolean).map(f => named(f, words)).join(", ");
    const what = lines?.map(l => words.line.replace("{0}", l.set).replace("{1}", l.line).replace("{2}", l.counted)).join("; ") ||
      named(text || "", words) || (action ? said || words.button : words.enter);
    return Object.assign(document.createElement("li"), {textContent: [clock(item.at), place, what].filter(Boolean).join(" · ")});
  }));
}

// late shows what came of something that was entered at another place of this station
// and judged only now: a STOP, or that it was not taken. It is answered there.
function late(base, {verdict, error, sound = "wrong"}) {
  const box = document.getElementById("late");
  if (!box) return;
  if (verdict) box.innerHTML = verdict;
  else box.replaceChildren(Object.assign(document.createElement("p"), {className: "problem", textContent: error}));
  box.querySelector(".choices")?.remove();
  const place = document.querySelector(`.ways a[href="${CSS.escape(base)}"]`)?.textContent.trim() || base;
  const way = Object.assign(document.createElement("a"), {
    href: base, className: "button", textContent: box.dataset.words.replace("{0}", place),
  });
  box.append(way);
  box.hidden = false;
  beep(sound);
}

// Sounds: one high tone, two middle ones, three low ones; a single low one where
// an input was not taken and nothing is wrong.
const patterns = {
  good: [[880, .12]], ask: [[590, .09], [590, .09]], wrong: [[196, .22], [196, .22], [196, .22]], low: [[294, .15]],
};
let audio;
export function beep(kind) {
  document.body.dataset.sound = kind || "";
  if (!patterns[kind] || kept.getItem("silent")) return;
  try {
    audio ||= new AudioContext();
    let at = audio.currentTime;
    for (const [hz, s] of patterns[kind]) {
      const tone = audio.createOscillator(), gain = audio.createGain();
      tone.type = kind === "wrong" ? "square" : "sine";
      tone.frequency.value = hz;
      gain.gain.value = .2;
      tone.connect(gain).connect(audio.destination);
      tone.start(at);
      tone.stop(at + s);
      at += s + .07;
    }
  } catch { /* a station without a loudspeaker still has words and shape */ }
}

// The scan field has the focus unless a person is in another field, and what is
// typed anywhere else goes to it.
// F8 says that another person goes on.
export function scanField({entered, key, nextPerson}) {
  const field = document.getElementById("code");
  if (!field) return;
  const free = el => !el || !el.closest("input:not(#code), select, textarea, dialog");
  // A scanner types into whatever has the focus: in a choice its letters would choose.
  const chooses = (el, e) => el?.tagName === "SELECT" && e.key.length === 1 && e.key !== " ";
  let held = false; // Enter is held down
  let enter = 0; // when Enter was pressed, by its own time: a busy page hears of it late
  let scanned = -Infinity; // when something was entered
  let pressed = -Infinity; // when a button was, by a key
  document.addEventListener("keydown", e => {
    // A key that is held down says one thing once.
    held = e.repeat && e.key === "Enter";
    if (e.key === "Enter") enter = e.timeStamp;
    if (e.repeat && (e.key === "Enter" || e.key.length === 1)) return e.preventDefault();
    if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
    if (e.key === "F8" && nextPerson) {
      e.preventDefault();
      if (!e.repeat) nextPerson();
      return;
    }
    const el = document.activeElement;
    if (!free(el) && !chooses(el, e)) {
      if (e.key === "Escape") field.focus();
      return;
    }
    if (el === field) {
      if (key && key(e, field)) e.preventDefault();
      return;
    }
    const control = el && el.closest("button, a, summary, [tabindex='0']:not(#verdict)");
    if (control && (e.key === "Enter" || e.key === " ")) {
      pressed = e.timeStamp;
      return;
    }
    if (e.key.length === 1 || e.key === "Enter" || e.key === "Backspace") {
      field.focus();
      if (key && key(e, field)) e.preventDefault();
      else if (e.key === "Enter") { e.preventDefault(); field.form.requestSubmit(); }
    }
  });
  field.form.addEventListener("submit", e => {
    e.preventDefault();
    if (held) return;
    const text = field.value;
    field.value = "";
    // A scanner that ends with two Enters (CR and LF) says one thing.
    const at = enter || performance.now();
    enter = 0;
    if (text.trim() === "" && at - scanned < 120) return;
    if (text.trim() !== "") scanned = at;
    // Of a hand that trembles: the button may be gone by now, and this field has the focus.
    if (text.trim() === "" && at - pressed < tapsApart) return beep("low");
    entered(text);
  });
  field.form.dataset.ready = "true";
  // Scans that came before this script. Enter or a short number answers a question, and
  // the page had not asked one yet.
  setTimeout(() => {
    for (const text of globalThis.early?.splice(0) || []) /^[\d.,\s]{0,4}$/.test(text) ? beep("low") : entered(text);
  });
  document.addEventListener("keyup", () => { held = false; });
  document.addEventListener("click", e => {
    const photo = e.target.closest("a.photo");
    if (photo) { // large where it stands: another tab would take the scans
      e.preventDefault();
      photo.setAttribute("aria-expanded", String(photo.classList.toggle("large")));
      field.focus({preventScroll: true});
    }
    const b = e.target.closest("button");
    if (b && b.type !== "submit" && e.detail > 0) field.focus({preventScroll: true});
    if (b?.dataset.scan) entered(b.dataset.scan); // for practice: as a scanner would
  });
  addEventListener("pageshow", () => field.focus({preventScroll: true}));
  const keyboard = document.getElementById("keyboard");
  keyboard?.addEventListener("click", () => {
    const on = keyboard.getAttribute("aria-pressed") !== "true";
    keyboard.setAttribute("aria-pressed", on);
    field.inputMode = on ? "text" : "none";
    field.blur();
    field.focus();
  });
  const sound = document.getElementById("sound");
  const shown = () => sound?.setAttribute("aria-pressed", !kept.getItem("silent"));
  sound?.addEventListener("click", () => {
    if (kept.getItem("silent")) kept.removeItem("silent");
    else kept.setItem("silent", "1");
    shown();
  });
  shown();
  field.focus({preventScroll: true});
}

// A finger taps twice where once was meant. The second tap is at the place of the first, where another
// button may stand by then: it says nothing. Digits are typed by tapping, some of them twice.
const tapsApart = 700; // milliseconds
const sameFinger = 40; // CSS pixels
let tapped = {at: -Infinity};
document.addEventListener("click", e => {
  if (!e.detail) return; // a key, or a script
  const last = tapped;
  tapped = {at: e.timeStamp, x: e.clientX, y: e.clientY};
  if (e.timeStamp - last.at >= tapsApart || Math.hypot(e.clientX - last.x, e.clientY - last.y) > sameFinger) return;
  const b = e.target.closest("button, a, summary, select, input[type=checkbox], input[type=radio]");
  if (!b || /^\d$/.test(b.dataset.digit)) return;
  e.preventDefault();
  e.stopImmediatePropagation();
  beep("low");
}, true);

// Buttons with data-do, and forms with it, say their action and fields.
export function actions(root, put) {
  root.addEventListener("click", e => {
    const b = e.target.closest("button[data-do]");
    if (!b) return;
    const {do: action, key, ...fields} = b.dataset;
    put(action, fields);
  });
  // A button that shows a key is pressed by it. The same key is the answer to the next question, too: of a hand that
  // trembles the second one says nothing.
  let last = {at: -Infinity};
  document.addEventListener("keydown", e => {
    if (e.repeat || e.ctrlKey || e.altKey || e.metaKey || !/^F\d+$/.test(e.key)) return;
    const b = root.querySelector(`button[data-key="${e.key}"]`);
    if (!b || b.disabled) return;
    e.preventDefault();
    const twice = e.key === last.key && e.timeStamp - last.at < tapsApart;
    last = {key: e.key, at: e.timeStamp};
    if (twice) return beep("low");
    b.click();
  });
  root.addEventListener("submit", e => {
    const f = e.target.closest("form[data-do]");
    if (!f) return;
    e.preventDefault();
    put(f.dataset.do, Object.fromEntries(new FormData(f)), f);
    document.getElementById("code")?.focus({preventScroll: true});
  });
}

// A stream that says when to look again. A browser has few lines to one server
// (six in HTTP/1.1) for all its pages together, so a page that nobody sees, or
// that the browser keeps for going back, gives its line up and looks again when
// it is seen.
export function changes(address, look) {
  let stream;
  const open = () => {
    if (stream || document.visibilityState === "hidden") return;
    stream = new EventSource(address);
    // The first comes when the stream is open: what happened before it was missed.
    stream.addEventListener("change", look);
    // A line that ends is looked at. One that is answered otherwise is not tried again
    // by the browser.
    stream.addEventListener("error", () => {
      look();
      if (stream?.readyState !== EventSource.CLOSED) return;
      stream = undefined;
      setTimeout(open, 3000);
    });
  };
  const close = () => { stream?.close(); stream = undefined; };
  addEventListener("pagehide", close);
  addEventListener("pageshow", e => { if (e.persisted) open(); });
  document.addEventListener("visibilitychange", () => document.visibilityState === "hidden" ? close() : open());
  open();
}

export function say(html) {
  const v = document.getElementById("verdict");
  if (html && v.innerHTML !== html) {
    v.innerHTML = html;
    v.scrollTop = 0; // what is said anew begins with its first word
  }
}

// A row of places that is pushed sideways shows the one that is open.
for (const here of document.querySelectorAll(".ways [aria-current], .stages [aria-current]")) {
  const row = here.parentElement, at = here.getBoundingClientRect(), box = row.getBoundingClientRect();
  row.scrollLeft += at.left + at.width / 2 - box.left - box.width / 2;
}
