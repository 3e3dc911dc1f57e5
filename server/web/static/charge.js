// @ts-check
// Ticking off a charge: each piece is booked as it goes in, and can be taken back. What
// somebody else ticks is ticked here too, as soon as it is in the book.
import { post } from "./post.js";
import "./write.js";

const list = document.getElementById("pieces");
const get = (/** @type {string} */ id) => /** @type {HTMLInputElement | null} */ (document.getElementById(id));
const typed = (/** @type {string} */ id) => get(id)?.value.trim() ?? "";

if (list) {
  const { shop, heat, unit = "", seq = "0" } = list.dataset, api = `/v1/shops/${shop}`;
  const boxes = [...list.querySelectorAll("input[type=checkbox]")].map((b) => /** @type {HTMLInputElement} */ (b));
  const row = (/** @type {HTMLElement} */ b) => /** @type {HTMLElement} */ (b.closest("li"));
  /** @type {Record<string, any>} */
  const opening = { device: "charge page" };
  /** The wish of each piece, kept until it is in: sent again it is the same wish. @type {Map<HTMLInputElement, Record<string, any>>} */
  const wishes = new Map();

  const wrong = (/** @type {string} */ text, /** @type {string} */ reason = "") => {
    const told = /** @type {HTMLElement} */ (get("told"));
    told.textContent = text;
    if (reason) told.append(Object.assign(document.createElement("small"), { className: "by-machine", textContent: ` ${reason}` }));
    told.hidden = text === "";
  };

  const became = (/** @type {HTMLElement} */ at, /** @type {string} */ text) => {
    /** @type {HTMLElement} */ (at.querySelector(".became")).textContent = text;
    /** @type {HTMLElement} */ (get("tally")).textContent = `${boxes.filter((b) => b.checked).length} of ${boxes.length} in`;
  };

  /** The first piece that goes in opens a heat that is only planned. What is wrong with that, or nothing. */
  const opened = async () => {
    if (list.dataset.planned !== "yes") return null;
    const answer = await post(`${api}/heats/${heat}:open`, Object.assign(opening, typed("who") && { who: typed("who") }));
    if (!answer.ok && answer.reason !== "HEAT_STATE") return answer; // somebody else opened it
    list.dataset.planned = "no";
    return null;
  };

  /** What a tick sends. @param {HTMLInputElement} box */
  const wishOf = (box) => {
    const item = JSON.parse(box.dataset.item ?? "{}"), scale = /** @type {HTMLInputElement | null} */ (row(box).querySelector(".weighed"))?.value.trim();
    if (scale) {
      delete item.mass;
      item.weighing = { net: { text: /[a-z"']/i.test(scale) ? scale : `${scale} ${unit}` }, ...(typed("on") ? { scale: typed("on") } : {}) };
    }
    /** @type {Record<string, any>} */
    const wish = { items: [item], device: "charge page" };
    for (const [field, text] of [["who", typed("who")], ["reason", typed("reason")]]) if (text) wish[field] = text;
    const before = wishes.get(box);
    if (before && JSON.stringify({ ...before, requestId: undefined }) === JSON.stringify(wish)) wish.requestId = before.requestId;
    wishes.set(box, wish);
    return wish;
  };

  const into = async (/** @type {HTMLInputElement} */ box) => {
    wrong("");
    const answer = (await opened()) ?? (await post(`${api}/heats/${heat}:charge`, wishOf(box)));
    const why = /** @type {HTMLElement} */ (get("why")), reason = /** @type {HTMLInputElement} */ (get("reason"));
    if (!answer.ok) {
      box.checked = false;
      wrong(answer.why, answer.reason);
      if (answer.reason === "NEEDS_REASON") { why.hidden = false; reason.focus(); }
      became(row(box), "");
      return;
    }
    why.hidden = true;
    reason.value = "";
    wishes.delete(box);
    row(box).dataset.entry = String(answer.said.entry?.name ?? "").split("/").pop();
    const flags = (answer.said.entry?.flags ?? []).map((/** @type {any} */ f) => f.text).join("; ");
    became(row(box), `in, entry ${row(box).dataset.entry}${flags ? `: ${flags}` : ""}`);
    document.dispatchEvent(new Event("booked"));
  };

  const out = async (/** @type {HTMLInputElement} */ box) => {
    wrong("");
    const answer = await post(`${api}/entries/${row(box).dataset.entry}:reverse`, { reason: "ticked by mistake on the charge page", ...(typed("who") ? { who: typed("who") } : {}), device: "charge page" });
    if (!answer.ok && answer.reason !== "REVERSED_ALREADY") {
      box.checked = true;
      wrong(answer.why, answer.reason);
      return;
    }
    delete row(box).dataset.entry;
    became(row(box), "taken back");
    document.dispatchEvent(new Event("booked"));
  };

  for (const box of boxes) {
    box.checked = false;
    box.addEventListener("change", async () => {
      if (row(box).dataset.busy) { box.checked = !box.checked; return; } // the last tick is not decided yet
      row(box).dataset.busy = "yes";
      await (box.checked ? into(box) : out(box));
      delete row(box).dataset.busy;
    });
  }

  /** Holds the list against what is in the book: pieces that somebody else ticked or took back. */
  const hold = () => {
    const inside = [...document.querySelectorAll("#in li[data-entry]")].map((li) => /** @type {HTMLElement} */ (li).dataset);
    if (inside.length) list.dataset.planned = "no";
    for (const box of boxes) {
      const at = row(box);
      if (at.dataset.busy || !at.dataset.entry || inside.some((i) => i.entry === at.dataset.entry)) continue;
      delete at.dataset.entry;
      box.checked = false;
      became(at, "taken back");
    }
    const mine = new Set(boxes.map((b) => row(b).dataset.entry)), busy = boxes.some((b) => row(b).dataset.busy);
    let beside = false;
    for (const i of inside.filter((x) => Number(x.entry) > Number(seq) && !mine.has(x.entry))) {
      const free = boxes.filter((b) => !b.checked && !row(b).dataset.busy && row(b).dataset.lot === i.lot);
      const box = free.find((b) => row(b).dataset.mg === i.mg) ?? free[0];
      if (!box) { beside ||= !busy; continue; }
      box.checked = true;
      row(box).dataset.entry = i.entry;
      became(row(box), `in, entry ${i.entry}${i.who ? `, by ${i.who}` : ""}`);
    }
    /** @type {HTMLElement} */ (get("beside")).hidden = !beside;
  };
  document.addEventListener("renewed", hold);
  became(row(boxes[0]), "");
}
