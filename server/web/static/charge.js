// @ts-check
// Ticking off a charge: each piece is booked as it goes in, and can be taken back.
import { post } from "./post.js";

const list = /** @type {HTMLElement} */ (document.getElementById("pieces"));
const told = /** @type {HTMLElement} */ (document.getElementById("told"));
const who = /** @type {HTMLInputElement} */ (document.getElementById("who"));
const shop = list.dataset.shop, heat = list.dataset.heat;

/** @param {string} text */
function wrong(text) {
  told.textContent = text;
  told.hidden = text === "";
}

/** @type {Record<string, any>} */
const opening = { device: "charge page" };

/**
 * The first piece that goes in opens a heat that is only planned. What is wrong with
 * that, or nothing.
 */
async function opened() {
  if (list.dataset.planned !== "yes") return null;
  opening.who ??= who.value.trim();
  const answer = await post(`/v1/shops/${shop}/heats/${heat}:open`, opening);
  if (!answer.ok) return answer;
  list.dataset.planned = "no";
  return null;
}

/** @param {HTMLInputElement} box @param {Record<string, any>} wish */
async function into(box, wish) {
  const row = /** @type {HTMLElement} */ (box.closest("li"));
  box.disabled = true;
  wrong("");
  const answer = (await opened()) ?? (await post(`/v1/shops/${shop}/heats/${heat}:charge`, wish));
  box.disabled = false;
  if (!answer.ok) {
    box.checked = false;
    wrong(answer.why);
    return;
  }
  row.dataset.entry = String(answer.said.entry?.name ?? "").split("/").pop();
  const flags = (answer.said.entry?.flags ?? []).map((/** @type {any} */ f) => f.text).join("; ");
  state(row, `in, entry ${row.dataset.entry}${flags ? `: ${flags}` : ""}`);
}

/** @param {HTMLInputElement} box @param {Record<string, any>} wish */
async function out(box, wish) {
  const row = /** @type {HTMLElement} */ (box.closest("li"));
  box.disabled = true;
  const answer = await post(`/v1/shops/${shop}/entries/${row.dataset.entry}:reverse`, { reason: "ticked by mistake on the charge page", who: who.value.trim(), device: "charge page" });
  box.disabled = false;
  if (!answer.ok) {
    box.checked = true;
    wrong(answer.why);
    return;
  }
  delete row.dataset.entry;
  delete wish.requestId; // the next tick is a wish of its own
  state(row, "taken back");
}

/** @param {HTMLElement} row @param {string} text */
function state(row, text) {
  /** @type {HTMLElement} */ (row.querySelector(".became")).textContent = text;
  count();
}

function count() {
  const all = list.querySelectorAll("input[type=checkbox]").length, done = list.querySelectorAll("input[type=checkbox]:checked").length;
  /** @type {HTMLElement} */ (document.getElementById("tally")).textContent = `${done} of ${all} in`;
}

for (const b of list.querySelectorAll("input[type=checkbox]")) {
  const box = /** @type {HTMLInputElement} */ (b);
  box.checked = false;
  /** @type {Record<string, any>} */
  const wish = { items: [JSON.parse(box.dataset.item ?? "{}")], device: "charge page" };
  box.addEventListener("change", () => {
    if (box.checked) wish.who ??= who.value.trim();
    void (box.checked ? into(box, wish) : out(box, wish));
  });
}
count();
