import {away, back, blind, gone, look as lookAt, onLearnt, remember, seen, tell} from "./offline.js";
import {ofTab} from "./keep.js";
import {Sender, actions, beep, changes, client, say, scanField} from "./station.js";

const base = location.pathname;
const bench = document.getElementById("bench");
let answers = 0; // an answer is newer than a look that began before it

// The verdict is shown at once; the rest of the page, which may be a long list,
// when that has been painted.
let next;
function show(a) {
  lies = a.lies || {};
  // That an input was not taken stays in sight until something changes.
  if (a.stale || a.rev !== untaken) say(a.verdict);
  untaken = a.stale ? a.rev : a.rev === untaken ? untaken : undefined;
  bench.dataset.rev = a.rev; // what is answered is the verdict
  if (!next) setTimeout(() => { const newest = next; next = undefined; rest(newest); bench.ariaBusy = "false"; }, 20);
  next = a;
  bench.ariaBusy = "true";
}

let untaken; // revision at which an input was not taken
// At the sterilizer what a person has entered into a form and not sent yet stays when the
// page is shown anew, as after a badge; so does what was sent and not taken. Not so where
// the form is about another load now: its fields, or the form itself, name it. Other places' forms are about the set that lies
// there, and are for that set alone.
let sent; // the form that is on its way, and the number of its input
const filled = f => [...f.elements].filter(el => el.id).map(el => ({
  id: el.id, value: el.value,
  was: el.tagName === "SELECT" ? ([...el.options].find(o => o.defaultSelected) || el.options[0])?.value : el.defaultValue,
}));
function entered() {
  if (!base.endsWith("/sterilizer")) return [];
  return [...bench.querySelectorAll("form[data-do]")].map(f => ({name: f.dataset.do, load: f.dataset.load, fields: filled(f)}));
}
function reenter(forms) {
  for (const {name, load, fields} of forms) {
    const f = bench.querySelector(`form[data-do="${name}"]`), now = f && filled(f);
    if (!f || f.dataset.load !== load || fields.some(x => now.find(y => y.id === x.id)?.was !== x.was)) continue;
    for (const x of fields) document.getElementById(x.id).value = x.value;
  }
}

let shown; // the bench as the server sent it last
function rest(a) {
  if (a.bench !== undefined && shown !== a.bench) {
    shown = a.bench;
    const had = document.activeElement?.closest("#bench [data-do]");
    const mark = had && JSON.stringify(had.dataset);
    const taken = sent && a.n >= sent.n && !a.stale && !a.no;
    const kept = entered().filter(x => !taken || x.name !== sent.name);
    if (taken) sent = undefined;
    bench.innerHTML = a.bench;
    reenter(kept);
    // Who works with the keyboard stays where they were.
    if (mark) {
      const again = [...bench.querySelectorAll("[data-do]")].find(el => JSON.stringify(el.dataset) === mark);
      if (again && again.tagName === "BUTTON") again.focus({preventScroll: true});
      else document.getElementById("code").focus({preventScroll: true});
    }
    bench.querySelector("tr.now")?.scrollIntoView({block: "nearest"});
  }
}

let lies = {set: bench.dataset.set, sheet: bench.dataset.sheet}; // on the bench, as the server knows it

// While the server is away, what waits here is judged as far as the page can. How many
// entries were judged so is kept, so that one more makes its sound once. That a scan was
// not kept stays in sight until another one is.
let judged = 0, notKept;
const scansWaiting = () => sender.items.filter(x => x.verb === "scan" && (x.base || base) === base);
function judge() {
  if (!away || !document.querySelector("template[data-away]")) return;
  const waits = scansWaiting();
  const found = notKept || lookAt(lies, waits.map(x => x.body.text));
  if (!found) return;
  const sound = tell(document.getElementById("verdict"), found);
  if (judged !== waits.length) beep(sound);
  judged = waits.length;
  document.body.dataset.away = found.name;
}
onLearnt(judge);

const sender = new Sender(base, (a, ok) => {
  if (!ok) {
    say(null);
    const p = document.querySelector("#verdict .tells");
    if (p) p.textContent = a.error;
    beep("wrong");
    return;
  }
  answers++;
  back();
  const off = a.off && bench.querySelector(`form [name="${CSS.escape(a.off)}"]`); // what was scanned into the wrong field
  if (off) off.value = "";
  judged = 0;
  notKept = undefined;
  delete document.body.dataset.away;
  show(a);
  remember(base + "/state", a);
  document.body.dataset.answered = a.n;
  beep(a.sound);
  if (!a.go) return;
  // By Enter: whoever pressed it may press it again, and there it would count a line.
  if (new URL(a.go, location).pathname.endsWith("/count")) ofTab.setItem("led", "1");
  location.href = a.go;
}, () => { gone(); judge(); });

// While the server is away nothing is shown that Enter, a number or a button could
// answer. A scan says what it says, and waits.
function notNow() {
  beep("low");
  blind();
}
function act(action, fields, form) {
  if (away) return notNow();
  const n = sender.put("do", {action, fields, rev: Number(bench.dataset.rev)});
  if (form) sent = {n, name: form.dataset.do};
}
scanField({
  entered: text => {
    if (away && /^[\d.,\s]{0,4}$/.test(text)) return notNow();
    if (away) {
      // A set is not taken onto another one, so it isn't kept either.
      const waits = scansWaiting();
      const found = lookAt(lies, [...waits.map(x => x.body.text), text]);
      if (found?.name === "third" && document.querySelector("template[data-away]")) {
        beep(tell(document.getElementById("verdict"), found));
        document.body.dataset.away = found.name;
        notKept = found;
        return;
      }
    }
    notKept = undefined;
    sender.put("scan", {text, rev: Number(bench.dataset.rev)});
    judge();
  },
  nextPerson: () => act("next-person", {}),
});
actions(bench, act);
actions(document.getElementById("verdict"), act);
// What the address names lies here now; loading the page again doesn't lay it here again.
if (/[?&](set|case)=/.test(location.search)) history.replaceState(null, "", location.pathname);
bench.querySelector("tr.now")?.scrollIntoView({block: "nearest"});

// A server that was slow once counts as away until it is asked again.
let again;
const askAgain = () => { clearTimeout(again); again = setTimeout(look, 3000); };

async function look() {
  const before = answers;
  try {
    const res = await fetch(base + "/state");
    if (!res.ok) return;
    const a = await res.json();
    if (before === answers) seen(res);
    const busy = document.activeElement?.closest("#bench input, #bench select");
    if (away) {
      if (!answers) show(a); // the page that was kept may be older
      judge();
      askAgain();
    } else if (sender.items.length || before !== answers || busy) {
      // A field in which somebody writes isn't taken from them, but what must not be done is said at once. Under the old
      // revision nothing that was not in sight is answered.
      if (busy && !sender.items.length && before === answers) say(a.verdict);
      setTimeout(look, busy ? 1000 : 100);
    }
    else show(a); // also where only what it comes to has changed
  } catch { gone(); judge(); askAgain(); }
}

changes(base + "/changes?" + new URLSearchParams({client}), look);
