// A browser that comes to a station makes the key that it would sign with before it hands in its code: only the code says
// whether it is to be the station's.

import {makeKey} from "./sign.js";

const form = document.getElementById("to-station");
form.addEventListener("submit", async e => {
  if (form.elements.key.value || form.elements.why.value) return;
  e.preventDefault();
  try {
    form.elements.key.value = await makeKey();
  } catch (err) {
    form.elements.why.value = err.message;
  }
  form.requestSubmit(e.submitter);
});
