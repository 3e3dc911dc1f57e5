// @ts-check
// The weigh-in page: reads what is typed, warns, keeps it in the outbox, and shows
// what became of it.
import { keep, drop, list, send, undo, requestID } from "./outbox.js";
import { cannotScan, scan } from "./scan.js";
import { cannotRead, listen, usual } from "./serial.js";

/** @typedef {import("./outbox.js").Item} Item */
/** @typedef {{ shop: string, unit: string, heats: {id: string, alloy: string, leftMg: number}[],
 *   tares: {id: string, name: string, mg: number}[], usual: Record<string, {leastMg: number, mostMg: number, of: number}>,
 *   scales: {id: string, name: string, line?: string, port?: string}[], alloys: string[], unknown: string, dirty: {id: string, alloy: string, words: string, mg: number}[] }} Facts */

/** @template {HTMLElement} T @param {string} id @returns {T} */
const get = (id) => /** @type {T} */ (document.getElementById(id));

/** @type {Facts} */
const facts = JSON.parse(get("facts").textContent ?? "{}");
const form = /** @type {HTMLFormElement} */ (get("weigh"));
const weight = /** @type {HTMLInputElement} */ (get("weight"));
const unit = /** @type {HTMLSelectElement} */ (get("unit"));
const heat = /** @type {HTMLSelectElement} */ (get("heat"));
const alloy = /** @type {HTMLSelectElement} */ (get("alloy"));
const tare = /** @type {HTMLSelectElement} */ (get("tare"));
const tareWeight = /** @type {HTMLInputElement} */ (get("tare-weight"));
const lot = /** @type {HTMLInputElement} */ (get("lot"));
const doubt = get("doubt"), line = get("line"), round = get("list");
const milligrams = /** @type {Record<string, number>} */ ({ kg: 1e6, g: 1e3, lb: 453592.37, oz: 28349.523125 });

for (const t of facts.tares) tare.add(new Option(`${t.name} (${show(t.mg)})`, t.id));

/** @param {number} mg */
function show(mg) {
  const u = unit.value;
  return `${(mg / milligrams[u]).toFixed({ kg: 3, g: 0, lb: 2, oz: 1 }[u] ?? 2)} ${u}`;
}

/** What was typed as milligrams, near enough to warn by; NaN when it is no plain number. @param {string} text */
function rough(text) {
  const t = text.trim().replace(",", ".");
  return /^\d*\.?\d+$|^\d+\.$/.test(t) ? Number(t) * milligrams[unit.value] : NaN;
}

/** What is on the scale less the pan, near enough. */
function net() {
  const gross = rough(weight.value);
  if (tare.value === "") return gross;
  if (tare.value === "typed") return gross - rough(tareWeight.value);
  return gross - (facts.tares.find((t) => t.id === tare.value)?.mg ?? 0);
}

/** The form that is chosen. @param {string} field */
const chosen = (field) => String(new FormData(form).get(field) ?? "");

/** Why the weight may be wrong; "" when nothing says so. */
function doubtful() {
  const mg = net(), pieces = Number(/** @type {HTMLInputElement} */ (get("pieces")).value) || 1;
  if (Number.isNaN(mg)) return "";
  if (mg <= 0) return "The pan weighs more than what is on the scale.";
  if (lot.value.trim()) {
    const was = facts.dirty.find((d) => d.id === lot.value.trim());
    return was && mg > was.mg ? `Lot ${was.id} weighed ${show(was.mg)} without the dirt that is taken off. Is it heavier clean?` : "";
  }
  const u = facts.usual[chosen("form")];
  const each = mg / pieces;
  if (u && (each < u.leastMg || each > u.mostMg)) {
    return `${show(each)} is unlike the last ${u.of} of this kind (${show(u.leastMg * 2)} to ${show(u.mostMg / 1.5)}). Is it right?`;
  }
  const h = facts.heats.find((x) => x.id === heat.value);
  const before = items.filter((i) => i.state === "waiting" && i.body.heats?.[0]?.heat === heat.value).reduce((s, i) => s + (i.mg ?? 0), 0);
  if (h && mg > Math.max(h.leftMg - before, 0)) {
    return `By the book heat ${h.id} has only ${show(Math.max(h.leftMg - before, 0))} left in its molds. Is it of this heat?`;
  }
  return "";
}

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
  const why = doubtful();
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
  const pieces = /** @type {HTMLInputElement} */ (get("pieces")).value.trim();
  if (pieces) weighing.pieces = pieces;
  const of = lot.value.trim(), what = form.querySelector("input[name=form]:checked + span")?.textContent ?? "";
  /** @type {Record<string, any>} */
  const body = { place: chosen("place"), weighing, requestId: requestID(), who: /** @type {HTMLInputElement} */ (get("who")).value.trim(), device: "weigh-in page" };
  if (!of) Object.assign(body, { form: chosen("form"), dirty: chosen("dirty") === "yes" }, heat.value ? { heats: [{ heat: heat.value }] } : { alloy: alloy.value });
  /** @type {Item} */
  const item = { id: body.requestId, shop: facts.shop, typedAt: Date.now(), body, state: "waiting", attempts: 0, mg: net() || 0,
    text: `${withUnit} ${what}${body.dirty ? ", dirty" : ""}${heat.value ? `, heat ${heat.value}` : `, ${alloy.value}`}` };
  if (of) Object.assign(item, { path: `lots/${encodeURIComponent(of)}:clean`, text: `${withUnit} lot ${of}, clean` });
  try {
    await keep(item);
  } catch (err) {
    doubt.textContent = `This browser cannot keep the weighing (${err}). Nothing was booked.`;
    doubt.hidden = false;
    return;
  }
  weight.value = lot.value = "";
  /** @type {HTMLInputElement} */ (get("pieces")).value = "";
  told();
  weight.focus();
  await draw();
  await post();
}

/** Sends what waits and says how it stands. */
async function post() {
  await send(facts.shop, () => { void draw(); });
  await draw();
}

async function draw() {
  items = await list(facts.shop);
  const waiting = items.filter((i) => i.state === "waiting").length, refused = items.filter((i) => i.state === "refused").length;
  line.hidden = waiting === 0 && refused === 0;
  line.className = refused ? "notice bad" : "notice";
  line.textContent = refused ? `${refused} not accepted: look below and mend ${refused === 1 ? "it" : "them"}.`
    : `${waiting} kept here, not yet in the book. ${navigator.onLine ? "Sending…" : "No network: they are sent when it is back."}`;
  get("count").textContent = items.length ? `${items.filter((i) => i.state === "booked").length} in the book` : "";
  round.replaceChildren(...items.toReversed().slice(0, 60).map(entry));
}

/** @param {Item} item */
function entry(item) {
  const li = document.createElement("li");
  li.className = item.state;
  const words = { waiting: "kept here, not sent yet", refused: "not accepted", booked: `in the book as ${item.lot}`, undone: "taken back" };
  const text = document.createElement("b");
  text.textContent = item.text;
  const how = document.createElement("small");
  how.textContent = [words[item.state], item.state === "refused" || item.state === "waiting" ? item.error : item.note].filter(Boolean).join(": ");
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
  if (item.state === "booked") li.append(button("Take back", async () => { await undo(item); await draw(); }, how));
  if (item.state === "refused") {
    if (item.reason === "NEEDS_REASON") {
      const why = document.createElement("input");
      why.placeholder = "why it is so all the same";
      why.setAttribute("aria-label", "Reason");
      li.append(why, button("Send with this reason", async () => { await again(item, { reason: why.value.trim() }); }, how));
    }
    li.append(button("Type it again", async () => { weight.value = String(item.body.weighing?.net?.text ?? item.body.weighing?.gross?.text ?? "").replace(/ (kg|g|lb|oz)$/, ""); await drop(item.id); await draw(); weight.focus(); }, how));
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
  /** @type {Record<string, string>} */
  const kept = { form: chosen("form"), dirty: chosen("dirty"), who: /** @type {HTMLInputElement} */ (get("who")).value };
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
  /** @type {HTMLInputElement} */ (get("who")).value = kept.who ?? "";
  for (const field of ["form", "dirty"]) {
    const pick = /** @type {HTMLInputElement | null} */ (form.querySelector(`input[name=${field}][value="${CSS.escape(kept[field] ?? "-")}"]`));
    if (pick) pick.checked = true;
  }
}

addEventListener("online", () => { void post(); });
addEventListener("offline", () => { void draw(); });
setInterval(() => { if (items.some((i) => i.state === "waiting")) void post(); }, 5000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) void post(); });

if ("serviceWorker" in navigator) {
  void navigator.serviceWorker.register("/worker.js").catch(() => { /* told below */ });
} else {
  const hint = document.createElement("p");
  hint.className = "fine";
  hint.textContent = "This address is not secure for the browser, so the page cannot be opened without the network. What is typed while it is open is kept all the same.";
  round.before(hint);
}
/** The camera reads which lot it is. */
const scans = /** @type {HTMLButtonElement} */ (get("scan")), blind = cannotScan();
scans.hidden = blind !== "";
get("camera-says").textContent = blind ? `${blind} Type what stands below the code, or use a scanner that types.` : "";
scans.addEventListener("click", async () => {
  const off = new AbortController();
  get("camera").hidden = false;
  scans.disabled = true;
  get("stop-scan").addEventListener("click", () => off.abort(), { once: true });
  try {
    const code = await scan(/** @type {HTMLVideoElement} */ (get("view")), off.signal);
    if (code) { lot.value = code; told(); weight.focus(); }
  } catch (err) {
    get("of-lot").textContent = `The camera cannot be used (${err instanceof Error ? err.message : err}). Type what stands below the label's code.`;
    get("of-lot").hidden = false;
  }
  get("camera").hidden = true;
  scans.disabled = false;
});

/** The scale on the serial port types its weight. */
const reads = /** @type {HTMLButtonElement} */ (get("read-scale")), deaf = cannotRead(), pattern = /** @type {HTMLInputElement} */ (get("line-pattern")), baud = /** @type {HTMLInputElement} */ (get("baud"));
reads.hidden = deaf !== "";
get("serial").hidden = deaf !== "";
get("serial-says").textContent = deaf;
pattern.value = usual;
baud.value = "9600";
try {
  const how = JSON.parse(localStorage.getItem("serial") ?? "{}");
  pattern.value = how.pattern ?? usual;
  baud.value = how.baud ?? "9600";
} catch { /* a browser that keeps nothing asks again */ }
for (const f of [pattern, baud]) {
  f.addEventListener("change", () => { try { localStorage.setItem("serial", JSON.stringify({ pattern: pattern.value, baud: baud.value })); } catch { /* as above */ } });
}
const scale = /** @type {HTMLSelectElement} */ (get("scale"));

/** What the book knows of the scale that is chosen. */
const ofScale = () => facts.scales.find((s) => s.id === scale.value);

/** Puts what a scale says in the field. @param {string} read @param {string} of */
function put(read, of) {
  if (of && of in milligrams) unit.value = of;
  weight.value = of && !(of in milligrams) ? `${read} ${of}` : read;
  told();
}

/** The scale that is chosen may be read by another machine, which tells the server. A
 * weight is put in the field once, until the scale shows another.
 * @type {EventSource | undefined} */
let shown, tells = "";
function watch() {
  if (tells === scale.value) return;
  tells = scale.value;
  shown?.close();
  get("shown").textContent = "";
  if (!ofScale()?.line) return; // a scale that nobody set up to be read
  let before = "";
  shown = new EventSource(`/shops/${facts.shop}/scales/${encodeURIComponent(scale.value)}/readings`);
  shown.addEventListener("reading", (e) => {
    const said = JSON.parse(e.data), [read, of] = said.weight.split(" ");
    get("shown").textContent = `${ofScale()?.name}: ${said.weight}${said.device ? `, read on ${said.device}` : ""}`;
    if (said.weight !== before && said.mg > 0) put(read, of ?? "");
    before = said.weight;
  });
}
scale.addEventListener("change", watch);

reads.addEventListener("click", async () => {
  reads.disabled = true;
  const says = get("serial-says");
  says.textContent = "The scale is listened to. A weight that stands still is put in the field.";
  try {
    const own = ofScale();
    await listen({ pattern: own?.line || pattern.value, port: own?.line ? own.port ?? "" : baud.value }, (read, of) => {
      put(read, of);
      says.textContent = `The scale says ${read} ${of}.`;
    });
    says.textContent = "The scale is gone. Type what it says, or press again.";
  } catch (err) {
    says.textContent = `The scale cannot be read: ${err instanceof Error ? err.message : err}`;
    /** @type {HTMLDetailsElement} */ (form.querySelector(".more")).open = true;
  }
  reads.disabled = false;
});

/** A link may say of which heat it is, and that goes before what was chosen last; it is asked once, so that a choice made since is not undone. */
function asked() {
  const id = new URLSearchParams(location.hash.slice(1)).get("heat");
  if (!id) return;
  history.replaceState(null, "", location.pathname);
  // A page kept for when the network is gone may be older than the heat: the book knows it all the same.
  if (![...heat.options].some((o) => o.value === id)) heat.add(new Option(`${id} · newer than this page`, id));
  heat.value = id;
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
if (matchMedia("(max-width: 45rem)").matches && heat.value) /** @type {HTMLDetailsElement} */ (get("choices")).open = false;
// What was booked in an earlier round is in the book; only the last day's is listed.
const yesterday = Date.now() - 24 * 3600 * 1000;
for (const item of await list(facts.shop)) {
  if ((item.state === "booked" || item.state === "undone") && item.typedAt < yesterday) await drop(item.id);
}
await draw();
await post();
