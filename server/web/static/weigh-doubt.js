// @ts-check
// Why a weight on the weigh-in page may be wrong. It warns and forbids nothing: the
// book reads the text itself.
import { chosen, facts, heat, lot, pieces, show, tare, tareWeight, unit, weight } from "./weigh-fields.js";
import { rough } from "./weight.js";

/** @typedef {import("./outbox.js").Item} Item */

/** What is on the scale less the pan, near enough. */
export function net() {
  const gross = rough(weight.value, unit.value);
  if (tare.value === "") return gross;
  if (tare.value === "typed") return gross - rough(tareWeight.value, unit.value);
  return gross - (facts.tares.find((t) => t.id === tare.value)?.mg ?? 0);
}

/** What this phone took out of a heat's molds that the facts do not know of yet. @param {Item[]} items */
const since = (items) => items.filter((i) => i.body.heats?.[0]?.heat === heat.value && !i.undo && (i.state === "waiting" || i.state === "booked" && Number(i.entry) > facts.sequence)).reduce((s, i) => s + (i.mg ?? 0), 0);

/** Why the weight may be wrong; "" when nothing says so. @param {Item[]} items what this phone weighed */
export function doubtful(items) {
  const mg = net();
  if (Number.isNaN(mg)) return "";
  if (mg <= 0) return "The pan weighs more than what is on the scale.";
  if (lot.value.trim()) {
    const was = facts.dirty.find((d) => d.id === lot.value.trim());
    return was && mg > was.mg ? `Lot ${was.id} weighed ${show(was.mg)} without the dirt that is taken off. Is it heavier clean?` : "";
  }
  const u = facts.usual[chosen("form")];
  const each = mg / (Number(pieces.value) || 1);
  if (u && (each < u.leastMg || each > u.mostMg)) {
    return `${show(each)} is unlike the last ${u.of} of this kind (${show(u.leastMg * 2)} to ${show(u.mostMg / 1.5)}). Is it right?`;
  }
  const h = facts.heats.find((x) => x.id === heat.value);
  const left = h ? Math.max(h.leftMg - since(items), 0) : Infinity;
  return h && mg > left ? `By the book heat ${h.id} has only ${show(left)} left in its molds. Is it of this heat?` : "";
}
