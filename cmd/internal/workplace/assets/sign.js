// A station that signs for itself: its key is in this browser and can't be had out of it, and so is the numbering
// of what it signed. The server says what an input comes to; it is signed here and sent with the input once more.

import {canonical, base64, hex, keyID, markOf, noteHash, signNote} from "./canonical.js";
import {kept} from "./keep.js";

const note = document.getElementById("own-key");
const {station, key: inForce} = note?.dataset || {};

// How far the time of a record may be from that of its input, in milliseconds: the clocks of two machines differ, and who
// presses twice means one record, of the first time (triesAgain in bench.go).
const sameMoment = 15 * 60000;

// What a station says. The rest is said by the ledger itself, and never by it.
const kinds = ["set.packed", "list.sealed", "set.sterilized", "set.opened", "set.counted", "case.closed", "set.checked", "set.returned",
  "piece.reported", "indicator.read", "access.claimed", "event.corrected"];

// The stations that this browser is, by name: {id, name, key, number, hash, pending}. Name is the id as bytes. Number
// and hash are of the last record that the server has acknowledged; pending is what was signed since:
// {of, records, number, hash}, of being the input.
function store(mode, work) {
  return new Promise((done, no) => {
    const opening = indexedDB.open("listbound", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("stations");
    opening.onerror = () => no(opening.error);
    opening.onsuccess = () => {
      // A record is numbered once: what was promised here must be on the disk when it is sent.
      const tx = opening.result.transaction("stations", mode, {durability: "strict"});
      let got;
      work(tx.objectStore("stations"), v => { got = v; }, tx);
      tx.oncomplete = () => { opening.result.close(); done(got); };
      tx.onabort = tx.onerror = () => { opening.result.close(); no(tx.error || new Error("changed by another page")); };
    };
  });
}
const read = name => store("readonly", (s, got) => { s.get(name).onsuccess = e => got(e.target.result); });

// Where two pages have read the same row, the first one counts. The lock sees to it that there are never two.
const chain = row => canonical({number: row.number, hash: row.hash, pending: row.pending?.records.map(r => r.signed) || []});
const change = (was, row) => store("readwrite", (s, _, tx) => {
  s.get(station).onsuccess = e => {
    if (!e.target.result || e.target.result.id !== row.id || chain(e.target.result) !== chain(was)) tx.abort();
    else s.put(row, station);
  };
});

// makeKey makes the key of a station whose name is not known yet, and returns its public half in base64. A browser
// that can't throws, with "insecure" or "old" as the reason.
export async function makeKey() {
  if (!isSecureContext) throw new Error("insecure");
  let pair;
  try {
    if (!"".isWellFormed || !navigator.locks) throw new Error("old");
    pair = await crypto.subtle.generateKey("Ed25519", false, ["sign", "verify"]);
  } catch {
    throw new Error("old");
  }
  const raw = new Uint8Array(await crypto.subtle.exportKey("raw", pair.publicKey));
  await store("readwrite", s => { s.put({raw, key: pair.privateKey}, "new"); });
  return base64(raw);
}

// Stopped says in a word of the page why nothing is signed here until a person has done something.
export class Stopped extends Error {}
// Waits names the input whose record was signed and is not acknowledged: the next record follows that one.
export class Waits extends Error {
  constructor(of) { super("another record is on its way"); this.of = of; }
}

function stop(why) {
  note.textContent = note.dataset[why];
  note.hidden = false;
  document.body.dataset.signs = why;
  return new Stopped(why);
}

// open finds the key of the station that the page is of; undefined where that is not in this browser.
async function open() {
  if (!inForce || !isSecureContext) return;
  let row = await read(station);
  const made = row?.id !== inForce && await read("new");
  const name = made && await keyID(station, made.raw);
  if (name && hex(name) === inForce) {
    // A key begins a numbering of its own. Another page may have begun it already.
    await store("readwrite", s => {
      s.get(station).onsuccess = e => {
        if (e.target.result?.id !== inForce) s.put({id: inForce, name, key: made.key, number: 0, hash: "", pending: null}, station);
      };
      s.delete("new");
    });
    row = await read(station);
  }
  if (row && row.id !== inForce) {
    stop("replaced");
    return;
  }
  if (!row) return;
  note.hidden = true;
  document.body.dataset.signs = "here";
  const forgets = document.getElementById("own-forgets");
  if (forgets) forgets.hidden = await navigator.storage?.persisted?.() !== false;
  // Firefox asks the person and says nothing until they have answered, so nothing waits for it: the key is there whatever they say.
  if (forgets && !forgets.hidden) navigator.storage.persist?.().then(kept => { forgets.hidden = kept; }, () => {});
  return row;
}
const opened = open().catch(() => undefined);

// headers name the key, where this browser signs for the station.
export async function headers() {
  return await opened ? {"Station-Key": inForce} : {};
}

const headOf = res => {
  const [number, hash = ""] = (res.headers.get("Station-Head") || "").split(" ");
  return number === "" || res.headers.get("X-Stored") ? undefined : {number: Number(number), hash};
};
const same = (head, at) => head?.number === at?.number && head?.hash === at?.hash;

// settle takes in what the server has acknowledged. An input that was answered for good and recorded nothing has signed
// nothing either: the server keeps no record that it has not acknowledged with it.
async function settle(row, head, answered) {
  const p = row.pending;
  let next = row;
  if (p && same(head, p)) next = {...row, number: p.number, hash: p.hash, pending: null};
  else if (p && p.of === answered && same(head, row)) next = {...row, pending: null};
  if (next !== row) await change(row, next);
  return next;
}

const ids = events => events.map(e => e.id).join(" ");

// sign numbers and signs what an input comes to, and keeps that before anything is sent.
async function sign(row, of, at, asked) {
  let {number, hash} = row;
  const records = [];
  for (const {event, addenda = []} of asked) {
    const kind = /^listbound\.(.+)\.v1$/.exec(event.type)?.[1];
    if (event.source !== "//" + station || !kinds.includes(kind)) throw stop("odd");
    if (Math.abs(Date.parse(event.time) - at) > sameMoment) throw stop("clock");
    const {stationprev, ...bare} = event;
    const numbered = {...bare, stationseq: ++number, ...hash && {stationprev: hash}};
    const text = canonical(numbered);
    for (const a of addenda) if (!text.includes('"' + await markOf(a) + '"')) throw stop("odd");
    const signed = await signNote(numbered, station, row.name, row.key);
    hash = await noteHash(signed);
    records.push({signed, ...addenda.length && {addenda}});
  }
  const next = {...row, pending: {of, ids: ids(asked.map(x => x.event)), records, number, hash}};
  await change(row, next);
  return next;
}

// isWaiting reports whether an input is still to be sent from any page.
const isWaiting = of => kept.keys().some(key => key.startsWith("waiting:") &&
  JSON.parse(kept.getItem(key) || "[]").some(({body}) => body.client + " " + body.n === of));

// signing goes on with an input that was answered by what is to be signed, until it has its answer. send sends it once more, with
// records. One page signs at a time, until the server has acknowledged what it signed.
export async function signing(of, at, answer, send) {
  return navigator.locks.request("station " + station, async () => {
    let row = await read(station);
    for (let before; answer.data.sign;) {
      const asked = answer.data.sign;
      let head = headOf(answer.res);
      row = await settle(row, head);
      if (!same(head, row)) { // or another page has recorded meanwhile
        head = headOf(await fetch(note.dataset.known, {cache: "no-store"}));
        if (!head) throw new Error("the server is silent");
        row = await settle(row, head);
        if (!same(head, row)) throw stop("ahead");
      }
      if (row.pending && row.pending.of !== of && isWaiting(row.pending.of)) throw new Waits(row.pending.of);
      const events = ids(asked.map(x => x.event));
      if (before === events) throw stop("odd"); // it was signed, and is not taken
      before = events;
      if (row.pending?.of !== of || row.pending.ids !== events) row = await sign(row, of, at, asked);
      answer = await send(row.pending.records);
      row = await settle(row, headOf(answer.res), answer.ours && !answer.data.sign ? of : undefined);
    }
    note.hidden = true; // whatever stopped it before
    return answer;
  });
}
