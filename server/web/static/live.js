// @ts-check
// Reads the page again when the book grows, unless somebody is in the middle of
// something on it: then it says that there is news, and waits.
const source = document.body.dataset.live;
const main = /** @type {HTMLElement} */ (document.getElementById("main"));
let due = 0;

async function renew() {
  const answer = await fetch(location.href, { headers: { Accept: "text/html" } }).catch(() => null);
  if (!answer?.ok) return;
  const next = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("main");
  if (!next) return;
  const opened = new Set([...main.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  const focus = document.activeElement?.getAttribute("href");
  main.replaceChildren(...next.childNodes);
  for (const s of main.querySelectorAll("details > summary")) {
    if (opened.has(s.textContent)) /** @type {HTMLDetailsElement} */ (s.parentElement).open = true;
  }
  if (focus) /** @type {HTMLElement | null} */ (main.querySelector(`a[href="${CSS.escape(focus)}"]`))?.focus();
}

/** Whether somebody is typing or has ticked something that a new page would lose. */
function busy() {
  const at = document.activeElement;
  return at instanceof HTMLInputElement || at instanceof HTMLTextAreaElement || at instanceof HTMLSelectElement ||
    [...main.querySelectorAll("form")].some((f) => f.dataset.changed === "yes");
}
main.addEventListener("input", (e) => {
  const form = /** @type {HTMLElement} */ (e.target).closest("form");
  if (form) form.dataset.changed = "yes";
});

if (source) {
  const events = new EventSource(source);
  events.addEventListener("entry", () => {
    clearTimeout(due);
    due = window.setTimeout(() => { if (!busy()) void renew(); }, 300);
  });
}
