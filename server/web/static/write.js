// @ts-check
// Forms that write one thing each, wherever they stand on a page that is renewed under
// them. What is typed is kept until it is in the book, and a wish whose answer was lost
// is sent again as the same wish, also after the page was closed.
import { read, ask, say, keeps, fields } from "./form.js";
import { draft } from "./post.js";

/** @type {WeakMap<HTMLFormElement, { clear: () => void }>} */
const taken = new WeakMap();
const who = /** @type {HTMLInputElement | null} */ (document.getElementById("who"));
const me = draft("who");

if (who && !who.readOnly) {
  who.value ||= me.read().who ?? "";
  who.addEventListener("input", () => me.write({ who: who.value }));
}

/** Every form that writes is taken in hand, also those that come later. */
function take() {
  for (const form of document.querySelectorAll("form.writes")) {
    if (!(form instanceof HTMLFormElement) || taken.has(form)) continue;
    taken.set(form, form.id ? keeps(form, `${form.id} ${form.dataset.path}`) : { clear() {} });
    if (form.dataset.changed === "yes") for (let at = form.closest("details"); at; at = at.parentElement?.closest("details") ?? null) at.open = true;
    for (const b of form.querySelectorAll("button")) b.disabled = false;
  }
}
take();
document.addEventListener("renewed", take);

document.addEventListener("submit", async (e) => {
  const form = e.target, pressed = e.submitter;
  if (!(form instanceof HTMLFormElement) || !form.matches("form.writes")) return;
  e.preventDefault();
  const content = await whole(form, read(form));
  if (!content) return;
  if (pressed instanceof HTMLButtonElement && pressed.name) content[pressed.name] = pressed.value;
  if (form.dataset.etag) content.etag = form.dataset.etag;
  if (who?.value.trim()) content.who = who.value.trim();
  content.device = document.title.split(" · ")[0].slice(0, 60) + " page";
  const sent = draft(`sent ${form.dataset.path}`), body = JSON.stringify(content), before = sent.read();
  /** @type {Record<string, any>} */
  const wish = { ...content, ...(before.body === body ? { requestId: before.requestId } : {}) };
  const going = ask(form, String(form.dataset.path), wish);
  sent.write({ body, requestId: wish.requestId });
  const answer = await going;
  if (answer.ok) sent.clear();
  else {
    if (answer.reason === "CHANGED_MEANWHILE") await changed(form, answer.why);
    return;
  }
  taken.get(form)?.clear();
  form.reset();
  done(form, answer.said);
  document.dispatchEvent(new Event("booked"));
});

/** Says what was booked, with what came of it. @param {HTMLFormElement} form @param {any} said */
function done(form, said) {
  const told = form.querySelector(".told"), entry = said.entry ?? {};
  say(form, `In the book as entry ${last(entry.name)}.`);
  for (const flag of entry.flags ?? []) told?.append(` ${flag.text}.`);
  const lot = said.lot?.name;
  if (!lot) return;
  const [, shop, , id] = lot.split("/"), to = `/shops/${shop}/lots/${encodeURIComponent(id)}`;
  told?.append(" It is lot ", Object.assign(document.createElement("a"), { href: to, textContent: id }), ": ",
    Object.assign(document.createElement("a"), { href: to.replace("/lots/", "/paper/lots/") + "?on=100x50mm", textContent: "its label" }), ".");
}

/** @param {string | undefined} name */
const last = (name) => String(name ?? "").split("/").pop() ?? "";

/**
 * Somebody else changed the heat since this form came: what is typed stays, the page is
 * shown as it is now, and sending again is by what is read now.
 * @param {HTMLFormElement} form @param {string} why
 */
async function changed(form, why) {
  const about = String(form.dataset.path).replace(/:\w+$/, ""), answer = await fetch(about).catch(() => null);
  if (!answer?.ok) return;
  const now = await answer.json();
  form.dataset.etag = now.etag;
  say(form, `${why}. Nothing was written. The page shows now what it is; what you typed is kept: look, and press again if it still holds.`, true, "CHANGED_MEANWHILE");
  document.dispatchEvent(new Event("booked"));
}

/**
 * What a form says, with what has to be reckoned first: the metal of a mold from the
 * weight of its wax or from its volume. Nothing when that cannot be had.
 * @param {HTMLFormElement} form
 * @param {Record<string, any>} content
 */
async function whole(form, content) {
  const mold = content.mold;
  if (!form.dataset.estimate || mold?.metal || !(mold?.wax || mold?.volume)) return content;
  const of = mold.wax ? `wax.text=${encodeURIComponent(mold.wax.text)}` : `volume.text=${encodeURIComponent(mold.volume.text)}`;
  const answer = await fetch(`${form.dataset.estimate}&${of}`).catch(() => null), said = answer ? await answer.json().catch(() => ({})) : {};
  if (!answer?.ok) {
    say(form, said.message ?? "The network or the server is not there. Nothing is lost: try again.", true);
    fields(form).find((f) => f.name === (mold.wax ? "mold.wax.text" : "mold.volume.text"))?.focus();
    return null;
  }
  mold.metal = { mg: said.metal.mg };
  mold.how = said.how;
  return content;
}
