// @ts-check
// The weigh-in page: reads what is typed, warns, keeps it in the outbox, and shows
// what became of it.
import { keep, drop, list, replace, requestID, send, takeBack, unsent } from "./outbox.js";
import { watch } from "./weigh-devices.js";
import { doubtful, net } from "./weigh-doubt.js";
import { alloy, chosen, facts, form, get, heat, lot, pieces, scale, show, tare, tareWeight, unit, weight, who } from "./weigh-fields.js";

/** @typedef {import("./outbox.js").Item} Item */
const doubt = get("doubt"), line = get("line"), round = get("list");

for (const t of facts.tares) tare.add(new Option(`${t.name} (${show(t.mg)})`, t.id));

/** @type {Item[]} */
let items = [];
let sure = "";

/** What is chosen, in a line above the keys, so that the choices can be folded away. */
function summary() {
  const id = lot.value.trim();
  get("of-lot").hidden = id === "";
  for (const part of ["from", "forms", "state"]) get(part).hidden = id !== "";
  if (id) {
    const was = facts.dirty.find((d) => d.id === id);
    get("of-lot").textContent = was ? `This is the clean weight of lot ${id}: ${was.alloy} ${was.words}, ${show(was.mg)} when it was dirty.` : `This is the clean weight of lot ${id}. This page does not know it: the book will say whether it waits to be cleaned.`;
    get("of-lot").append(" ", button("It is another piece", async () => { lot.value = ""; told(); weight.focus(); }, get("of-lot")));
    get("chosen").textContent = `clean weight · lot ${id}`;
    return;
  }
  const what = form.querySelector("input[name=form]:checked + span")?.textContent ?? "";
  const of = heat.value ? `heat ${heat.value}, ${facts.heats.find((h) => h.id === heat.value)?.alloy ?? "newer than this page"}` : `heat not known, ${alloy.value === facts.unknown ? "alloy not known" : alloy.value}`;
  get("chosen").textContent = `${what}, ${chosen("dirty") === "yes" ? "dirty" : "clean"} · ${of}`;
}

function told() {
  summary();
  get("alloy-of").hidden = heat.value !== "";
  get("tare-typed").hidden = tare.value !== "typed";
  const mg = net();
  get("net").textContent = tare.value !== "" && !Number.isNaN(mg) ? `${show(mg)} without the pan` : "";
  doubt.hidden = true;
  sure = "";
  get("go").textContent = "Put in the book";
}
form.addEventListener("input", told);
form.addEventListener("change", () => { told(); remember(); });

get("keys").addEventListener("click", (e) => {
  const key = /** @type {HTMLElement} */ (e.target).closest("button");
  if (!key) return;
  weight.value = key.value === "back" ? weight.value.slice(0, -1) : weight.value + key.textContent;
  told();
});

form.addEventListener("submit", async (e) => {
  e.preventDefault();
  const typed = weight.value.trim();
  if (typed === "") { weight.focus(); return; }
  const why = doubtful(items);
  if (why && sure !== why) {
    doubt.textContent = why;
    doubt.hidden = false;
    sure = why;
    get("go").textContent = "It is right: put it in the book";
    return;
  }
  await add(typed);
});

/** @param {string} typed */
async function add(typed) {
  const withUnit = /[a-z"']/i.test(typed) ? typed : `${typed} ${unit.value}`;
  /** @type {Record<string, any>} */
  const weighing = { scale: chosen("scale") };
  if (tare.value === "") weighing.net = { text: withUnit };
  else weighing.gross = { text: withUnit };
  if (tare.value === "typed") weighing.tare = { text: /[a-z]/i.test(tareWeight.value) ? tareWeight.value : `${tareWeight.value} ${unit.value}` };
  else if (tare.value) weighing.savedTare = tare.value;
  if (pieces.value.trim()) weighing.pieces = pieces.value.trim();
  const of = lot.value.trim(), what = form.querySelector("input[name=form]:checked + span")?.textContent ?? "";
  /** @type {Record<string, any>} */
  const body = { place: chosen("place"), weighing, requestId: requestID(), who: who.value.trim(), device: "weigh-in page" };
  if (!of) Object.assign(body, { form: chosen("form"), dirty: chosen("dirty") === "yes" }, heat.value ? { heats: [{ heat: heat.value }] } : { alloy: alloy.value });
  /** @type {Item} */
  const item = { id: body.requestId, shop: facts.shop, typedAt: Date.now(), body, state: "waiting", attempts: 0, mg: net() || 0,
    text: `${withUnit} ${what}${body.dirty ? ", dirty" : ""}${heat.value ? `, heat ${heat.value}` : `, ${alloy.value}`}` };
  if (of) Object.assign(item, { path: `lots/${encodeURIComponent(of)}:clean`, text: `${withUnit} lot ${of}, clean` });
  if (mended) {
    item.typedAt = mended.item.typedAt; // it was weighed then
    if (mended.item.body.happenedTime) body.happenedTime = mended.item.body.happenedTime;
  }
  try {
    await (mended ? replace(item, mended.item.id) : keep(item));
  } catch (err) {
    doubt.textContent = `This browser cannot keep the weighing (${err}). Nothing was booked.`;
    doubt.hidden = false;
    return;
  }
  unmend();
  weight.value = lot.value = pieces.value = "";
  told();
  fold();
  weight.focus();
  await draw();
  await post();
}

/** What was refused and is typed again, with what the form held before that.
 * @type {{ item: Item, before: [HTMLInputElement, string, boolean][] } | undefined} */
let mended;

/** Puts a refused weighing back in the fields. It stays in the outbox until another takes its place. @param {Item} item */
function mend(item) {
  unmend();
  const fields = /** @type {HTMLInputElement[]} */ ([...form.querySelectorAll("input, select")]);
  mended = { item, before: fields.map((f) => [f, f.value, f.checked]) };
  const { body } = item, w = body.weighing ?? {};
  const typed = String(w.net?.text ?? w.gross?.text ?? ""), [, number, of] = /^(.*\d\.?) *(kg|g|lb|oz)$/.exec(typed) ?? [];
  weight.value = number ?? typed;
  unit.value = of ?? unit.value;
  pick(tare, w.tare ? "typed" : w.savedTare ?? "");
  tareWeight.value = w.tare?.text ?? "";
  pieces.value = w.pieces ?? "";
  pick(scale, w.scale ?? "");
  pick(/** @type {HTMLSelectElement} */ (get("place")), body.place ?? "");
  who.value = body.who ?? "";
  lot.value = decodeURIComponent(/^lots\/(.*):clean$/.exec(item.path ?? "")?.[1] ?? "");
  if (!lot.value) {
    pick(heat, body.heats?.[0]?.heat ?? "");
    pick(alloy, body.alloy ?? facts.unknown);
    check("form", body.form);
    check("dirty", body.dirty ? "yes" : "");
  }
  const says = get("mends");
  says.replaceChildren(`What you put in the book now takes the place of: ${item.text}. `, button("Leave that as it is", async () => { unmend(); told(); }, says));
  says.hidden = false;
  told();
  weight.focus();
}

/** Gives the form back what it held before something was mended, so that the next piece is of the heat that it was of. */
function unmend() {
  for (const [field, value, checked] of mended?.before ?? []) {
    field.value = value;
    field.checked = checked;
  }
  mended = undefined;
  get("mends").hidden = true;
}

/** Chooses, also what this page does not list. @param {HTMLSelectElement} field @param {string} value */
function pick(field, value) {
  if (![...field.options].some((o) => o.value === value)) field.add(new Option(`${value} · newer than this page`, value));
  field.value = value;
}

/** @param {string} field @param {string} value */
function check(field, value) {
  const one = /** @type {HTMLInputElement | null} */ (form.querySelector(`input[name=${field}][value="${CSS.escape(value)}"]`));
  if (one) one.checked = true;
}

/** On a phone the choices that were made are folded away: the keys come first. */
function fold() {
  if (matchMedia("(max-width: 45rem)").matches) /** @type {HTMLDetailsElement} */ (get("choices")).open = false;
}

/** Sends what waits and says how it stands. */
async function post() {
  const before = items.filter((i) => i.state === "booked").length;
  await send(facts.shop, () => { void draw(); });
  await draw();
  if (items.filter((i) => i.state === "booked").length !== before) await renew();
}

/** Asks again what the book says, once it says more. */
async function renew() {
  const answer = await fetch(location.pathname).catch(() => null);
  if (!answer?.ok || answer.redirected) return;
  const text = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("facts")?.textContent;
  if (text) Object.assign(facts, JSON.parse(text));
}

async function draw() {
  items = await list(facts.shop);
  const waiting = items.filter((i) => i.state === "waiting").length, refused = items.filter((i) => i.state === "refused").length;
  const back = items.filter((i) => i.state === "booked" && unsent(i)).length;
  line.hidden = waiting === 0 && refused === 0 && back === 0;
  line.className = refused ? "notice bad" : "notice";
  line.textContent = refused ? `${refused} not accepted: look below and mend ${refused === 1 ? "it" : "them"}.`
    : `${[waiting && `${waiting} kept here, not yet in the book.`, back && `${back} in the book, to be taken back.`].filter(Boolean).join(" ")} ${navigator.onLine ? "Sending…" : "No network: they are sent when it is back."}`;
  get("count").textContent = items.length ? `${items.filter((i) => i.state === "booked").length} in the book` : "";
  round.replaceChildren(...items.toReversed().slice(0, 60).map(entry));
}

/** @param {Item} item */
function entry(item) {
  const li = document.createElement("li");
  li.className = item.state;
  const words = { waiting: item.undo ? "it may be in the book already: it is taken back when the network is there again" : "kept here, not sent yet", refused: "not accepted",
    booked: `in the book as ${item.lot}${item.undo ? "; it is taken back when the network is there again" : item.error ? "; it cannot be taken back" : ""}`,
    undone: item.error ? "taken back; it was never in the book" : "taken back" };
  const text = document.createElement("b");
  text.textContent = item.text;
  const how = document.createElement("small");
  how.textContent = [words[item.state], item.error ?? item.note].filter(Boolean).join(": ");
  li.append(text, how);
  if (item.state === "booked" && item.lot) {
    const label = document.createElement("a");
    label.href = `/shops/${facts.shop}/paper/lots/${encodeURIComponent(item.lot)}?on=100x50mm`;
    label.target = "_blank"; // the round stays where it is
    label.rel = "noopener";
    label.textContent = "Its label";
    label.setAttribute("aria-label", `Label of ${item.lot}, to print`);
    li.append(label);
  }
  if ((item.state === "booked" || item.state === "waiting") && !item.undo) {
    li.append(button(item.state === "waiting" && item.attempts === 0 ? "Throw away" : "Take back", async () => { await takeBack(item.id); await draw(); await post(); }, how));
  }
  if (item.state === "refused") {
    if (item.reason === "NEEDS_REASON") {
      const why = document.createElement("input");
      why.placeholder = "why it is so all the same";
      why.setAttribute("aria-label", "Reason");
      li.append(why, button("Send with this reason", async () => { await again(item, { reason: why.value.trim() }); }, how));
    }
    li.append(button("Type it again", async () => { mend(item); await draw(); }, how));
    li.append(button("Throw away", async () => { await drop(item.id); await draw(); }, how));
  }
  return li;
}

/** @param {Item} item @param {Record<string, any>} change */
async function again(item, change) {
  Object.assign(item.body, change, { requestId: requestID() }); // refused: nothing was booked under the old id
  item.state = "waiting";
  item.attempts = 0;
  item.error = undefined;
  await keep(item);
  await post();
}

/** @param {string} word @param {() => Promise<void>} act @param {HTMLElement} says */
function button(word, act, says) {
  const b = document.createElement("button");
  b.type = "button";
  b.textContent = word;
  b.addEventListener("click", async () => {
    b.disabled = true;
    try { await act(); } catch (err) { says.textContent = `${err instanceof Error ? err.message : err}`; b.disabled = false; }
  });
  return b;
}

/** What was chosen last is chosen again, so that ten pieces in a row are ten weights. */
const remembered = ["heat", "alloy", "place", "scale", "tare", "unit"];
function remember() {
  if (mended) return; // that is of a piece weighed earlier
  /** @type {Record<string, string>} */
  const kept = { form: chosen("form"), dirty: chosen("dirty"), who: who.value };
  for (const id of remembered) kept[id] = /** @type {HTMLSelectElement} */ (get(id)).value;
  try { localStorage.setItem(`weigh-in ${facts.shop}`, JSON.stringify(kept)); } catch { /* private windows keep nothing; the choice is made anew */ }
}
function recall() {
  /** @type {Record<string, string>} */
  let kept = {};
  try { kept = JSON.parse(localStorage.getItem(`weigh-in ${facts.shop}`) ?? "{}"); } catch { return; }
  for (const id of remembered) {
    const field = /** @type {HTMLSelectElement} */ (get(id));
    if (kept[id] !== undefined && [...field.options].some((o) => o.value === kept[id])) field.value = kept[id];
  }
  who.value = kept.who ?? "";
  for (const field of ["form", "dirty"]) check(field, kept[field] ?? "-");
}

addEventListener("online", () => { void post(); });
addEventListener("offline", () => { void draw(); });
setInterval(() => { if (items.some(unsent)) void post(); }, 5000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) void post(); });

/** Has the worker keep this page, and says so once it has. */
async function offline() {
  const { active } = await navigator.serviceWorker.ready, line = new MessageChannel();
  line.port1.onmessage = (e) => {
    get("offline").textContent = e.data ? "This page is kept on this device: it opens and weighs in without the network too." : "This page could not be kept on this device: leave it open while the network is gone.";
  };
  active?.postMessage({ keep: location.pathname }, [line.port2]);
}
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.addEventListener("controllerchange", () => void offline()); // a newer worker starts with nothing kept
  navigator.serviceWorker.register("/worker.js").then(offline, (err) => {
    get("offline").textContent = `This page cannot be opened without the network (${err instanceof Error ? err.message : err}). What is typed while it is open is kept all the same.`;
  });
} else {
  get("offline").textContent = "This address is not secure for the browser, so the page cannot be opened without the network. What is typed while it is open is kept all the same.";
}

/** A link may say of which heat it is, and that goes before what was chosen last; it is asked once, so that a choice made since is not undone. */
function asked() {
  const id = new URLSearchParams(location.hash.slice(1)).get("heat");
  if (!id) return;
  history.replaceState(null, "", location.pathname);
  // A page kept for when the network is gone may be older than the heat: the book knows it all the same.
  pick(heat, id);
  lot.value = "";
  told();
  remember();
}
addEventListener("hashchange", asked);

recall();
{ // a heat's page leads here with the heat that its returns are of
  const of = new URLSearchParams(location.hash.slice(1)).get("heat"), field = /** @type {HTMLSelectElement} */ (get("heat"));
  if (of && [...field.options].some((o) => o.value === of)) field.value = of;
}
watch();
told();
asked();
fold();
// What was booked in an earlier round is in the book; only the last day's is listed.
const yesterday = Date.now() - 24 * 3600 * 1000;
for (const item of await list(facts.shop)) {
  if ((item.state === "booked" || item.state === "undone") && item.typedAt < yesterday && !unsent(item)) await drop(item.id);
}
await draw();
await post();
