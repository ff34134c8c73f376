// A scan may come before the page's script is there. Left alone it would submit the
// form, load the page anew and lose what comes meanwhile. This script stands before the
// field, so that the field is never there without it; scanField takes what it kept.
globalThis.early = [];
document.addEventListener("submit", e => {
  if (e.target.id !== "scan" || e.target.dataset.ready) return;
  e.preventDefault();
  const field = document.getElementById("code");
  globalThis.early.push(field.value);
  field.value = "";
});
