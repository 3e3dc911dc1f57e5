// @ts-check
// The fields of the weigh-in page, and what the server said when it gave the page.
import { shown } from "./weight.js";

/** @typedef {{ shop: string, unit: string, heats: {id: string, alloy: string, leftMg: number}[],
 *   tares: {id: string, name: string, mg: number}[], usual: Record<string, {leastMg: number, mostMg: number, of: number}>,
 *   scales: {id: string, name: string, line?: string, port?: string}[], alloys: string[], unknown: string, sequence: number, dirty: {id: string, alloy: string, words: string, mg: number}[] }} Facts */

/** @template {HTMLElement} T @param {string} id @returns {T} */
export const get = (id) => /** @type {T} */ (document.getElementById(id));

/** @type {Facts} */
export const facts = JSON.parse(get("facts").textContent ?? "{}");
export const form = /** @type {HTMLFormElement} */ (get("weigh"));
export const weight = /** @type {HTMLInputElement} */ (get("weight"));
export const unit = /** @type {HTMLSelectElement} */ (get("unit"));
export const heat = /** @type {HTMLSelectElement} */ (get("heat"));
export const alloy = /** @type {HTMLSelectElement} */ (get("alloy"));
export const tare = /** @type {HTMLSelectElement} */ (get("tare"));
export const tareWeight = /** @type {HTMLInputElement} */ (get("tare-weight"));
export const lot = /** @type {HTMLInputElement} */ (get("lot"));
export const pieces = /** @type {HTMLInputElement} */ (get("pieces"));
export const who = /** @type {HTMLInputElement} */ (get("who"));
export const scale = /** @type {HTMLSelectElement} */ (get("scale"));

/** @param {number} mg */
export const show = (mg) => shown(mg, unit.value);

/** What is chosen of a field, also of one that is picked. @param {string} field */
export const chosen = (field) => String(new FormData(form).get(field) ?? "");
