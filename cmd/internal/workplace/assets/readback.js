// Pictures of filled-in count sheets: chosen, photographed, or taken by the device's camera. Each goes to the server as it is;
// what was read is told page by page.

import {beep} from "./station.js";
import {headers} from "./sign.js";

const box = document.getElementById("pictures"), reads = document.getElementById("reads");
const words = (text, ...args) => args.reduce((s, a, i) => s.replace(`{${i}}`, a), text);

function tell(text, mark) {
  const li = document.createElement("li");
  li.textContent = text;
  li.dataset.read = mark;
  reads.prepend(li);
  while (reads.children.length > 40) reads.lastChild.remove();
  return li;
}

// One file after the other, in the order in which they were chosen: the server reads one at a time.
let last = Promise.resolve();
const send = (file, name) => last = last.then(() => read(file, name));

async function read(file, name) {
  const busy = tell(words(box.dataset.reading, name), "busy");
  box.ariaBusy = "true";
  let bad = false;
  try {
    const res = await fetch(location.pathname + "/pictures", {
      method: "POST", headers: {"Content-Type": file.type || "application/octet-stream", ...await headers()}, body: file,
    });
    if (!res.ok) {
      const a = await res.json().catch(() => ({}));
      throw new Error(a.error || box.dataset.away);
    }
    for await (const line of lines(res.body)) {
      const a = JSON.parse(line);
      bad ||= !a.ok;
      busy.before(tell(a.words, a.ok ? "good" : "look"));
    }
  } catch (e) {
    bad = true;
    tell(e instanceof TypeError ? box.dataset.away : e.message, "look");
  }
  busy.remove();
  box.ariaBusy = "false";
  beep(bad ? "wrong" : "good");
  document.body.dataset.pictures = Number(document.body.dataset.pictures || 0) + 1;
}

async function* lines(body) {
  const from = body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const {done, value} = await from.read();
    rest += value || "";
    const all = rest.split("\n");
    rest = all.pop();
    for (const line of all) if (line) yield line;
    if (done) break;
  }
  if (rest) yield rest;
}

for (const id of ["photo", "files"]) {
  const input = document.getElementById(id);
  input.addEventListener("change", () => {
    for (const f of input.files) send(f, f.name);
    input.value = ""; // the same page again is another picture
    document.getElementById("code").focus({preventScroll: true});
  });
  // A label is no button: Enter and space on its input open the choice, as everywhere.
}

// The camera is there on encrypted pages and on this machine itself only; the first button works everywhere.
const open = document.getElementById("camera"), finder = document.getElementById("viewfinder"), video = finder.querySelector("video");
let stream, shots = 0;
open.hidden = !navigator.mediaDevices?.getUserMedia;

function close() {
  for (const track of stream?.getTracks() || []) track.stop();
  stream = undefined;
  finder.hidden = true;
  open.hidden = false;
}

open.addEventListener("click", async () => {
  try {
    // A page of A4 needs about 1,000 pixels across (3.3 a millimetre is enough, and more is better).
    stream = await navigator.mediaDevices.getUserMedia({audio: false,
      video: {facingMode: "environment", width: {ideal: 3840}, height: {ideal: 2160}}});
    video.srcObject = stream;
    finder.hidden = false;
    open.hidden = true;
    await video.play();
    finder.querySelector("[data-act=shoot]").focus({preventScroll: true});
  } catch {
    close();
    tell(box.dataset.none, "look");
    beep("wrong");
  }
});
finder.querySelector("[data-act=stop]").addEventListener("click", close);
finder.querySelector("[data-act=shoot]").addEventListener("click", () => {
  if (!video.videoWidth) return;
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d").drawImage(video, 0, 0);
  const name = ++shots + ".jpg";
  canvas.toBlob(blob => { if (blob) send(blob, name); }, "image/jpeg", 0.92);
});
addEventListener("pagehide", close);
