// The board follows the ledger: after each change the rows are asked for again,
// and only those that differ are replaced, in their places. What a person is
// reading stays where it is; where the focus was, it is again.

const rows = document.getElementById("rows");
const live = document.getElementById("live");

function children(root) {
  const out = new Map();
  for (const el of root.children) if (el.dataset.key) out.set(el.dataset.key, el);
  return out;
}

// anchor is the first row in sight and where it stands, so that rows put in above do not push it away.
function anchor() {
  for (const el of rows.children) {
    const top = el.getBoundingClientRect().top;
    if (el.dataset.key && top >= 0) return { key: el.dataset.key, top };
  }
  return null;
}

function replace(html) {
  const doc = new DOMParser().parseFromString(html, "text/html");
  const seen = anchor();
  const atTop = window.scrollY < 10;
  const focus = document.activeElement;
  const held = focus && rows.contains(focus) ? { key: focus.closest("[data-key]")?.dataset.key, href: focus.getAttribute("href") } : null;
  const old = children(rows);
  let place = rows.firstElementChild;
  for (const el of [...doc.body.children]) {
    const was = el.dataset.key ? old.get(el.dataset.key) : null;
    let use = document.importNode(el, true);
    // What was unfolded stays so, and is no difference.
    const folds = was ? [...was.querySelectorAll("details")] : [];
    use.querySelectorAll("details").forEach((d, n) => { d.open = folds[n]?.open ?? false; });
    if (was && was.outerHTML === use.outerHTML) use = was;
    if (was) old.delete(el.dataset.key);
    if (use === place) { place = place.nextElementSibling; continue; }
    if (was && was !== use) {
      if (place === was) place = was.nextElementSibling;
      was.remove();
    }
    rows.insertBefore(use, place);
  }
  while (place) {
    const next = place.nextElementSibling;
    place.remove();
    place = next;
  }
  if (held && !rows.contains(document.activeElement)) {
    const row = children(rows).get(held.key);
    const same = row && [...row.querySelectorAll("a")].find((a) => a.getAttribute("href") === held.href);
    (same || row?.querySelector("a"))?.focus({ preventScroll: true });
  }
  if (seen && !atTop) {
    const el = children(rows).get(seen.key);
    if (el) window.scrollBy(0, el.getBoundingClientRect().top - seen.top);
  }
}

let asking = false;
let again = false;

async function refresh() {
  if (asking) { again = true; return; }
  asking = true;
  do {
    again = false;
    const begun = performance.now();
    const at = new URL(location.href);
    at.searchParams.set("part", "rows");
    try {
      const answer = await fetch(at);
      // Whoever was sent away must not go on showing what was there then.
      if (answer.status === 401 || answer.status === 403) { location.reload(); return; }
      if (answer.ok) replace(await answer.text());
    } catch {
      // The stream's own error says that the server is out of reach.
    }
    // While scans come in one upon the other, a board leaves the server four times as long alone as its answer took, a twentieth
    // of a second at least and a fifth at most: many boards or a busy server are asked less often, and nobody waits for long.
    if (again) {
      const rest = Math.min(Math.max(4 * (performance.now() - begun), 50), 200);
      await new Promise((go) => setTimeout(go, rest));
    }
  } while (again);
  asking = false;
}

// A page as of an earlier moment stands still.
const then = document.querySelector(".then");

if (rows) {
  const wide = window.matchMedia("(min-width: 60rem)");
  const filters = document.getElementById("filters");
  if (filters && wide.matches) filters.open = true;
  if (!then) follow();
}

function follow() {
  // Minutes go by though nothing is recorded.
  if (rows.dataset.every) setInterval(refresh, 1000 * rows.dataset.every);
  const stream = new EventSource("/changes");
  let begun = false;
  stream.addEventListener("change", () => {
    live.textContent = live.dataset.yes;
    // The first event is the stream's greeting; after a lost line it is the sign to look again.
    if (begun) refresh();
    begun = true;
  });
  stream.onerror = () => { live.textContent = live.dataset.no; };
}

// The slider goes through the moments at which something was recorded.
const slider = document.getElementById("slider");
if (slider) {
  const moments = slider.dataset.moments.split(" ");
  const field = document.getElementById("as-of");
  const say = () => {
    const t = moments[slider.value].slice(0, 19).replace("T", " ");
    slider.setAttribute("aria-valuetext", t);
    return t;
  };
  slider.closest("p").hidden = moments.length < 2;
  say();
  slider.addEventListener("input", () => { field.value = next(moments[slider.value]); say(); });
  slider.addEventListener("change", () => field.form.requestSubmit());
}

// next is the first whole second at which a moment's record is known.
function next(moment) {
  const t = new Date(moment);
  if (t.getMilliseconds() || /\.\d*[1-9]/.test(moment)) t.setSeconds(t.getSeconds() + 1, 0);
  return t.toISOString().slice(0, 19).replace("T", " ");
}
