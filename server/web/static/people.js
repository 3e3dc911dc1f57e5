// @ts-check
// People: who may sign in and what they may do. A link, a code or a token is shown once,
// with its QR code, and is gone when the page is left.
import { acts, adds, ask, changes, read, say } from "./form.js";

const page = /** @type {HTMLElement} */ (document.getElementById("main"));

/** @param {string} tag @param {string} text @param {string} [style] */
function piece(tag, text, style) {
  const e = document.createElement(tag);
  e.textContent = text;
  if (style) e.className = style;
  return e;
}

/** A button in a box that is shown once. @param {string} words @param {(b: HTMLButtonElement) => void} does */
function button(words, does) {
  const b = document.createElement("button");
  b.type = "button";
  b.textContent = words;
  b.addEventListener("click", () => does(b));
  return b;
}

/** Draws a text as a QR code. @param {string} shop @param {string} text */
async function drawn(shop, text) {
  const answer = await fetch(`/shops/${encodeURIComponent(shop)}/code.svg`, { method: "POST", body: text }).catch(() => null);
  if (!answer?.ok) return null; // the text itself is there
  const svg = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", "The same as a QR code");
  svg.setAttribute("class", "code");
  return document.importNode(svg, true);
}

/**
 * Shows what an answer has that nobody can ask for again.
 * @param {HTMLFormElement} form
 * @param {string} who it is for
 * @param {any} said
 */
async function show(form, who, said) {
  const text = String(said.secret ?? said.uri), until = said.codeExpireTime ?? said.expireTime;
  const when = new Date(until).toLocaleString(undefined, { timeZone: form.dataset.zone || "UTC", dateStyle: "medium", timeStyle: "short" });
  const box = document.createElement("div");
  box.className = "notice shown-once";
  box.tabIndex = -1;
  const goes = said.secret ? `This is what the program sends to sign in, until ${when}. It is shown now and never again.`
    : said.codeExpireTime ? `Open this on the phone, or scan it; it works once, until ${when}. It is shown now and never again.`
      : `Give this link to ${who} and nobody else. It works once, until ${when}, and is shown now and never again.`;
  box.append(piece("p", goes));
  if (said.codeExpireTime) box.append(piece("p", String(said.code), "sum"));
  const once = piece(said.secret ? "p" : "a", text, "print once-text");
  if (once instanceof HTMLAnchorElement) once.href = text;
  box.append(once);
  const svg = said.secret ? null : await drawn(String(form.dataset.shop), text);
  if (svg) box.append(svg);
  const press = piece("p", "", "tools");
  if (navigator.clipboard) press.append(button("Copy it", (b) => { void navigator.clipboard.writeText(text).then(() => { b.textContent = "Copied"; }, () => { b.textContent = "Not copied: mark it and copy it"; }); }));
  press.append(button("It is passed on", () => location.reload()));
  box.append(press);
  form.querySelector(".shown-once")?.remove();
  form.append(box);
  say(form, "");
  box.focus();
}

/** A form whose answer is shown once. @param {HTMLFormElement} form */
function once(form) {
  /** @type {Record<string, any>} */
  let wish = {};
  form.addEventListener("input", () => { wish = {}; });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    wish = { ...read(form), device: "people page", requestId: wish.requestId };
    const answer = await ask(form, String(form.dataset.path), wish);
    if (answer.ok || answer.reason) wish = {};
    if (answer.ok) await show(form, String(form.dataset.who), answer.said);
  });
}

for (const form of page.querySelectorAll("form.changes")) changes(/** @type {HTMLFormElement} */ (form), () => location.reload());
for (const form of page.querySelectorAll("form.once")) once(/** @type {HTMLFormElement} */ (form));
for (const form of page.querySelectorAll("form.acts")) acts(/** @type {HTMLFormElement} */ (form));

const fresh = /** @type {HTMLFormElement} */ (document.getElementById("new-person"));
adds(fresh, async (id) => {
  const who = /** @type {HTMLInputElement} */ (fresh.querySelector('[name="person.displayName"]')).value;
  const answer = await ask(fresh, `${fresh.dataset.path}/${encodeURIComponent(id)}:invite`, { device: "people page" });
  if (answer.ok) await show(fresh, who, answer.said);
});

// Whoever was open stays open when the page is read again.
const at = document.getElementById(decodeURIComponent(location.hash.slice(1)));
if (at instanceof HTMLDetailsElement) at.open = true;
for (const d of page.querySelectorAll("details.person")) d.addEventListener("toggle", () => {
  if (/** @type {HTMLDetailsElement} */ (d).open) history.replaceState(null, "", `#${d.id}`);
});
