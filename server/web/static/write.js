// @ts-check
// Forms that write one thing each, wherever they stand on a page that is renewed under
// them. What is typed is kept until it is in the book, and a wish whose answer was lost
// is sent again as the same wish, also after the page was closed.
import { read, ask, say, keeps, fields, ticks } from "./form.js";
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
    taken.set(form, form.id ? keeps(form, `${form.id} ${location.pathname} ${form.dataset.path}`) : { clear() {} });
    if (form.dataset.changed === "yes") for (let at = form.closest("details"); at; at = at.parentElement?.closest("details") ?? null) at.open = true;
    choose(form);
    for (const b of form.querySelectorAll("button")) b.disabled = false;
  }
}
take();
document.addEventListener("renewed", take);
document.addEventListener("change", (e) => {
  if (e.target instanceof HTMLInputElement && e.target.form && e.target.dataset.chooses !== undefined) choose(e.target.form);
});

/** Asks only what goes with what was chosen. @param {HTMLFormElement} form */
function choose(form) {
  for (const part of form.querySelectorAll("fieldset[data-when]")) {
    if (!(part instanceof HTMLFieldSetElement)) continue;
    const on = (part.dataset.when ?? "").split(" ").some((w) => form.querySelector(`[data-chooses][value="${w}"]:checked`));
    part.hidden = part.disabled = !on;
  }
}

/** Empties a form, but for what is the same for the next piece. @param {HTMLFormElement} form */
function empty(form) {
  const same = fields(form).filter((f) => f.dataset.stays !== undefined).map((f) => ({ f, now: ticks(f) ? f.checked : f.value }));
  form.reset();
  for (const { f, now } of same) {
    if (ticks(f)) f.checked = Boolean(now);
    else f.value = String(now);
  }
  choose(form);
}

document.addEventListener("submit", async (e) => {
  const form = e.target, pressed = e.submitter;
  if (!(form instanceof HTMLFormElement) || !form.matches("form.writes")) return;
  e.preventDefault();
  const content = await whole(form, read(form));
  if (!content) return;
  if (pressed instanceof HTMLButtonElement && pressed.name) content[pressed.name] = pressed.value;
  if (who?.value.trim()) content.who = who.value.trim();
  content.device = document.title.split(" · ")[0].slice(0, 60) + " page";
  const sent = draft(`sent ${location.pathname} ${form.dataset.path}`), body = JSON.stringify(content), before = sent.read();
  const again = before.body === body, etag = again ? before.etag : form.dataset.etag; // the same wish is of what was read then
  /** @type {Record<string, any>} */
  const wish = { ...content, ...(etag ? { etag } : {}), ...(again ? { requestId: before.requestId } : {}) };
  const going = ask(form, String(form.dataset.path), wish);
  sent.write({ body, etag: etag ?? "", requestId: wish.requestId });
  const answer = await going;
  if (answer.ok) sent.clear();
  else {
    if (answer.reason === "CHANGED_MEANWHILE") {
      sent.clear();
      await changed(form, answer.why);
    }
    return;
  }
  taken.get(form)?.clear();
  empty(form);
  form.dataset.done = "yes"; // who still stands in it waits for nothing
  done(form, answer.said);
  document.dispatchEvent(new Event("booked"));
});

/** Says what was booked, with what came of it. @param {HTMLFormElement} form @param {any} said */
function done(form, said) {
  const told = form.querySelector(".told"), entry = said.entry ?? {};
  say(form, entry.name ? `In the book as entry ${last(entry.name)}.` : "In the book.");
  for (const flag of entry.flags ?? []) told?.append(` ${flag.text}.`);
  const lot = (said.parts?.[0] ?? said.recovered ?? said.lot)?.name; // what is new, not what it came out of
  if (!lot || location.pathname.endsWith(`/lots/${encodeURIComponent(last(lot))}`)) return;
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
