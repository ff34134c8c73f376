import {Sender, actions, beep, changes, client, say, scanField} from "./station.js";

const base = location.pathname;
const bench = document.getElementById("bench");
let answers = 0; // an answer is newer than a look that began before it

// The verdict is shown at once; the rest of the page, which may be a long list,
// when that has been painted.
let next;
function show(a) {
  say(a.verdict);
  if (!next) setTimeout(() => { const newest = next; next = undefined; rest(newest); }, 20);
  next = a;
}

let shown; // the bench as the server sent it last
function rest(a) {
  if (a.bench !== undefined && shown !== a.bench) {
    shown = a.bench;
    const had = document.activeElement?.closest("#bench [data-do]");
    const mark = had && JSON.stringify(had.dataset);
    bench.innerHTML = a.bench;
    // Who works with the keyboard stays where they were.
    if (mark) {
      const again = [...bench.querySelectorAll("[data-do]")].find(el => JSON.stringify(el.dataset) === mark);
      if (again && again.tagName === "BUTTON") again.focus({preventScroll: true});
      else document.getElementById("code").focus({preventScroll: true});
    }
    bench.querySelector("tr.now")?.scrollIntoView({block: "nearest"});
  }
  bench.dataset.rev = a.rev;
}

const sender = new Sender(base, (a, ok) => {
  if (!ok) {
    say(null);
    const p = document.querySelector("#verdict .tells");
    if (p) p.textContent = a.error;
    beep("wrong");
    return;
  }
  answers++;
  show(a);
  document.body.dataset.answered = a.n;
  beep(a.sound);
  if (a.go) location.href = a.go;
});

const act = (action, fields) => sender.put("do", {action, fields, rev: Number(bench.dataset.rev)});
scanField({
  entered: text => sender.put("scan", {text, rev: Number(bench.dataset.rev)}),
  nextPerson: () => act("next-person", {}),
});
actions(bench, act);
actions(document.getElementById("verdict"), act);
bench.querySelector("tr.now")?.scrollIntoView({block: "nearest"});

async function look() {
  const before = answers;
  try {
    const res = await fetch(base + "/state");
    if (!res.ok) return;
    const a = await res.json();
    const busy = document.activeElement?.closest("#bench input, #bench select");
    if (sender.items.length || before !== answers || busy) setTimeout(look, busy ? 1000 : 100);
    else show(a); // also where only what it comes to has changed
  } catch { /* the stream says so again when the line is back */ }
}

changes(base + "/changes?" + new URLSearchParams({client}), look);
