// @ts-check
// Planning a heat: molds that wait are ticked, others are typed, and what they take
// together is said while that is done. What is planned leads to its charge.
import { read, ask, say, keeps, fields } from "./form.js";

const form = /** @type {HTMLFormElement} */ (document.getElementById("plan-heat"));
const sum = /** @type {HTMLElement} */ (document.getElementById("sum"));
const alloy = /** @type {HTMLSelectElement} */ (form.querySelector('[name="heat.alloy"]'));
const shop = form.dataset.shop, kept = keeps(form, `plan-heat ${shop}`);
const ticks = [...form.querySelectorAll(".waits input")].map((t) => /** @type {HTMLInputElement} */ (t));
const alloyOf = (/** @type {HTMLElement} */ t) => /** @type {HTMLElement} */ (t.closest(".waits")).dataset.alloy ?? "";
/** @type {Record<string, any>} */
let wish = {};

/** Grams in a unit, exact by definition. @type {Record<string, number>} */
const grams = { kg: 1000, g: 1, mg: 0.001, t: 1e6, lb: 453.59237, oz: 28.349523125 };

/** Says what is ticked, and what it takes; what is typed is added by the server. */
function tally() {
  const on = ticks.filter((t) => t.checked), unit = form.dataset.unit ?? "g";
  if (!on.length) { sum.textContent = "Tick the molds that are to be poured, or type what they take."; return; }
  const g = on.reduce((s, t) => s + Number(t.dataset.mg) / 1000, 0), per = grams[unit] ?? grams.lb;
  sum.textContent = `${on.length} ${on.length === 1 ? "mold" : "molds"} of ${[...new Set(on.map(alloyOf))].join(" and ")}, ${(g / per).toFixed(unit === "g" ? 0 : 2)} ${grams[unit] ? unit : "lb"} together.`;
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
