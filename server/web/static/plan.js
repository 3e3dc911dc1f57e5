// @ts-check
// Planning a heat: molds that wait are ticked, others are typed, and what they take
// together is said while that is done. What is planned leads to its charge.
import { read, ask, say, keeps, fields } from "./form.js";
import { rough, shown } from "./weight.js";

const form = /** @type {HTMLFormElement} */ (document.getElementById("plan-heat"));
const sum = /** @type {HTMLElement} */ (document.getElementById("sum"));
const alloy = /** @type {HTMLSelectElement} */ (form.querySelector('[name="heat.alloy"]'));
const shop = form.dataset.shop, kept = keeps(form, `plan-heat ${shop}`);
const ticks = [...form.querySelectorAll(".waits input")].map((t) => /** @type {HTMLInputElement} */ (t));
const alloyOf = (/** @type {HTMLElement} */ t) => /** @type {HTMLElement} */ (t.closest(".waits")).dataset.alloy ?? "";
/** @type {Record<string, any>} */
let wish = {};

/** Says what is to be poured, of what is ticked and what is typed: castings, their gating, and both. */
function tally() {
  const unit = form.dataset.unit ?? "g", typed = (/** @type {string} */ of) => [...form.querySelectorAll(`[name^="molds."][name$=".${of}.text"]`)].map((f) => /** @type {HTMLInputElement} */ (f).value).filter((t) => t.trim());
  const on = ticks.filter((t) => t.checked), castings = typed("metal"), gatings = typed("gating");
  if (!on.length && !castings.length && !gatings.length) { sum.textContent = "Tick the molds that are to be poured, or type what they take."; return; }
  const total = (/** @type {string[]} */ texts, /** @type {(t: HTMLInputElement) => string | undefined} */ of) => texts.reduce((s, t) => s + rough(t, unit), 0) + on.reduce((s, t) => s + Number(of(t)), 0);
  const casting = total(castings, (t) => t.dataset.mg), gating = total(gatings, (t) => t.dataset.gating), n = on.length + castings.length;
  if (Number.isNaN(casting + gating)) { sum.textContent = "What is typed is not understood while it is typed; the book says so when it is sent."; return; }
  const alloys = on.length ? [...new Set(on.map(alloyOf))].join(" and ") : alloy.value;
  sum.textContent = `${n} ${n === 1 ? "mold" : "molds"}${alloys && ` of ${alloys}`}: castings ${shown(casting, unit)} + gating ${shown(gating, unit)} = ${shown(casting + gating, unit)} to be poured.`;
}

form.addEventListener("input", (e) => {
  wish = {};
  const t = e.target;
  if (t instanceof HTMLInputElement && t.checked && ticks.includes(t) && alloy.value === "" && [...alloy.options].some((o) => o.value === alloyOf(t))) alloy.value = alloyOf(t);
  tally();
});
tally();

form.addEventListener("submit", async (e) => {
  e.preventDefault();
  const { make, take, ...content } = read(form), of = [...new Set(ticks.filter((t) => t.checked).map(alloyOf))];
  if (of.length > 1) { say(form, `A heat is of one alloy: ${of.join(" and ")} are ticked.`, true); return; }
  const typed = content.molds ?? [];
  content.molds = [...typed, ...flat(make).map((m) => JSON.parse(m))];
  const taken = flat(take);
  if (taken.length) content.takeMolds = taken;
  if (!content.molds.length && !taken.length) {
    say(form, "Nothing is to be poured yet: tick a mold, or type a weight.", true);
    fields(form).find((f) => f.name === "molds.0.metal.text")?.focus();
    return;
  }
  wish = { ...content, device: "plan page", requestId: wish.requestId };
  const answer = await ask(form, `/v1/shops/${shop}/heats`, wish);
  if (!answer.ok) return;
  kept.clear();
  location.assign(`/shops/${shop}/heats/${encodeURIComponent(String(answer.said.name).split("/").pop() ?? "")}/charge`);
});

/** The texts that stand anywhere in something read. @param {any} v @returns {string[]} */
function flat(v) {
  if (v === undefined) return [];
  return typeof v === "string" ? [v] : Object.values(v).flatMap(flat);
}
