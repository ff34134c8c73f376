// The page of one record at a station that signs for itself: what it says anew, or takes back, is signed here. It needs the server,
// which says what there is to correct; nothing of it waits.

import {headers, signing} from "./sign.js";

const note = document.getElementById("own-key");

const send = async (form, signed) => {
  const fields = new URLSearchParams(new FormData(form));
  if (signed) fields.set("signed", JSON.stringify(signed));
  const res = await fetch(form.action, {method: "POST", headers: await headers(), body: fields, signal: AbortSignal.timeout(10000)});
  const page = res.headers.get("Content-Type")?.startsWith("text/html");
  const data = page ? {page: await res.text()} : await res.json().catch(() => ({}));
  return {res, data, ours: res.headers.has("Station-Head")};
};

// show puts the answer's page in the place of this one; what is said of the key stays where sign.js says it.
const show = text => {
  const next = new DOMParser().parseFromString(text, "text/html").querySelector("main");
  next.querySelector("#own-key")?.replaceWith(note);
  document.querySelector("main").replaceWith(next);
  (next.querySelector("[role=alert], [role=status]") || next).scrollIntoView({block: "nearest"});
};

document.addEventListener("submit", async e => {
  const form = e.target.closest("form.signed");
  if (!form) return;
  e.preventDefault();
  if (form.inert) return; // pressed twice
  form.inert = true;
  try {
    let answer = await send(form);
    if (answer.data.sign) answer = await signing("correction " + crypto.randomUUID(), Date.now(), answer, signed => send(form, signed));
    if (!answer.data.page) throw new Error(answer.res.status);
    show(answer.data.page);
  } catch (err) {
    if (!note.dataset[err.message]) note.textContent = note.dataset.unsent;
    note.hidden = false;
    note.scrollIntoView({block: "nearest"});
    form.inert = false;
  }
});
