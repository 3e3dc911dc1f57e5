// @ts-check
// Brings the page up to date when the book grows, without taking anything from under
// somebody's hands. What differs is changed where it stands: the focus, what is opened
// and what is typed stay, and a form that somebody is using is left as it is.
const { live: source, part = "main", from = location.href } = document.body.dataset;
const main = /** @type {HTMLElement} */ (document.getElementById("main"));
let due = 0;

/** Renewals are numbered as they are asked for. What comes in later than a younger one is out of date. */
let asked = 0, oldest = 0;

/** What cannot be had just now is asked for again, less and less often. */
const soon = 2000, late = 60_000;
let wait = soon, again = 0;

async function renew() {
  const mine = ++asked;
  const answer = await fetch(from, { headers: { Accept: "text/html" } }).catch(() => null);
  const text = await answer?.text().catch(() => null);
  window.clearTimeout(again);
  if (!answer || text == null || answer.status >= 500 || answer.status === 429) {
    again = window.setTimeout(() => void renew(), wait);
    wait = Math.min(2 * wait, late);
    return;
  }
  wait = soon;
  if (!answer.ok || answer.redirected) return;
  const whole = new DOMParser().parseFromString(text, "text/html");
  const next = whole.getElementById(part), now = document.getElementById(part);
  if (!next || !now || mine < oldest) return;
  oldest = mine;
  children(now, next);
  const said = document.getElementById("unverified"), says = whole.getElementById("unverified");
  if (says) said?.replaceWith(says);
  else said?.remove();
  document.dispatchEvent(new Event("renewed"));
}

/** Whether somebody is typing in a form, or has typed in it what is not sent yet. @param {Node} form */
function used(form) {
  if (!(form instanceof HTMLFormElement)) return false;
  const at = document.activeElement;
  return form.dataset.changed === "yes" || (form.contains(at) && (at instanceof HTMLInputElement || at instanceof HTMLTextAreaElement || at instanceof HTMLSelectElement));
}

/** What tells a part of the page from its neighbours. @param {Node} n */
const key = (n) => (n instanceof Element ? n.id || n.getAttribute("data-key") || "" : "");

/** Makes what stands in one element what stands in another. @param {Node} live @param {Node} next */
function children(live, next) {
  const known = new Map([...live.childNodes].filter(key).map((c) => [key(c), c])), stays = new Set();
  let at = live.firstChild;
  for (const want of [...next.childNodes]) {
    let have = known.get(key(want)) ?? null;
    if (!key(want)) for (have = at; have && (key(have) || have.nodeName !== want.nodeName); have = have.nextSibling);
    stays.add(have ?? want);
    if (!have) live.insertBefore(want, at);
    else {
      if (at && have.compareDocumentPosition(at) & Node.DOCUMENT_POSITION_FOLLOWING) live.insertBefore(have, at);
      else at = have.nextSibling;
      same(have, want);
    }
  }
  for (const gone of [...live.childNodes]) if (!stays.has(gone)) drop(/** @type {ChildNode} */ (gone));
}

/** @param {Node} have @param {Node} want */
function same(have, want) {
  if (!(have instanceof Element) || !(want instanceof Element)) {
    if (have.nodeValue !== want.nodeValue) have.nodeValue = want.nodeValue;
    return;
  }
  if (used(have) || have.matches(".told, .reason, [data-still]")) return; // a script or a person has it in hand
  for (const { name, value } of want.attributes) if (!ours.has(name) && have.getAttribute(name) !== value) have.setAttribute(name, value);
  for (const { name } of [...have.attributes]) if (!ours.has(name) && !want.hasAttribute(name)) have.removeAttribute(name);
  children(have, want);
}

/** What only this browser knows of an element. */
const ours = new Set(["open", "disabled", "data-changed", "data-done", "aria-invalid"]);

/** Takes away what is no longer on the page, unless somebody is typing in it. @param {ChildNode} gone */
function drop(gone) {
  const held = gone instanceof Element ? [gone, ...gone.querySelectorAll("form")].filter((f) => used(f) && f.getAttribute("data-done") !== "yes") : [];
  if (!held.length) { gone.remove(); return; }
  for (const form of held) {
    const told = /** @type {HTMLElement | null} */ (form.querySelector(".told"));
    if (!told) continue;
    told.textContent = "Somebody else was here meanwhile, and this is not asked for any more. What you typed stays until you leave.";
    told.hidden = false;
  }
}

main.addEventListener("input", (e) => {
  const form = /** @type {HTMLElement} */ (e.target).closest("form");
  if (form) Object.assign(form.dataset, { changed: "yes", done: "no" });
});
document.addEventListener("booked", () => {
  oldest = asked + 1; // what was asked for before does not know of it, and would take it back on the page
  void renew();
});

/** Listens for new entries. A line that breaks is mended by the browser; one that was refused, by a proxy or a server that starts, is not. */
function listen(/** @type {string} */ to) {
  const events = new EventSource(to);
  events.addEventListener("entry", (e) => {
    to = to.replace(/after=\d+/, "after=" + e.lastEventId);
    due ||= window.setTimeout(() => { due = 0; void renew(); }, 300); // also while entries come without a pause
  });
  events.addEventListener("error", () => {
    if (events.readyState === EventSource.CLOSED) window.setTimeout(() => { listen(to); void renew(); }, late);
  });
}
if (source) listen(source);
