// @ts-check
// Weights as people type them, near enough to warn by and to say a sum while somebody
// types. The book reads the text itself, exactly.

/** Milligrams in a unit, exact by definition. */
export const milligrams = /** @type {Record<string, number>} */ ({ kg: 1e6, g: 1e3, mg: 1, t: 1e9, lb: 453592.37, oz: 28349.523125 });

/** The units as people type them. */
const names = /** @type {Record<string, string>} */ ({ kg: "kg", kgs: "kg", g: "g", lb: "lb", lbs: "lb", "#": "lb", oz: "oz", ozs: "oz" });

/** What was typed as milligrams; NaN when it is not understood here. @param {string} text @param {string} unit of a number without one */
export function rough(text, unit) {
  const said = text.trim().toLowerCase().replaceAll(",", ".");
  const parts = [...said.matchAll(/(\d*\.?\d+|\d+\.)\s*([a-z#]*)\s*/g)];
  if (!parts.length || parts.map((p) => p[0]).join("") !== said) return NaN;
  return parts.reduce((sum, [, n, of], i) => sum + Number(n) * (milligrams[of ? names[of] : i === 0 ? unit : ""] ?? NaN), 0);
}

/** A weight for reading. @param {number} mg @param {string} unit */
export const shown = (mg, unit) => `${(mg / milligrams[unit]).toFixed({ kg: 3, g: 0, lb: 2, oz: 1 }[unit] ?? 2)} ${unit}`;
