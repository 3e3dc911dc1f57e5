// @ts-check
// Orders: a new one, that it is given, what came of it at its real weights, and that
// the rest does not come.
import { read, ask, say, mark, keeps, fields, takesBack, inForm } from "./form.js";

/** @param {string} id */
const found = (id) => /** @type {HTMLFormElement | null} */ (document.getElementById(id));
const starts = found("new-order"), place = found("place"), receive = found("receive"), gives = found("give-up");

if (starts) {
  const shop = String(starts.dataset.shop), advised = location.search !== "";
  const kept = advised ? null : keeps(starts, `order/${shop}`); // what was advised is in the address
  const later = /** @type {HTMLButtonElement} */ (document.getElementById("later"));
  /** @type {Record<string, any>} */
  let wish = {};
  /** @type {Record<string, any>} */
  let placing = {};
  starts.addEventListener("input", () => { wish = placing = {}; });
  /** @param {boolean} given */
  const send = async (given) => {
    if (!starts.reportValidity()) return;
    wish = { ...read(starts), device: "orders page", requestId: wish.requestId };
    const answer = await ask(starts, `/v1/shops/${shop}/purchaseOrders`, wish);
    if (!answer.ok) { if (answer.reason) wish = {}; return; }
    const name = String(answer.said.purchaseOrder?.name ?? answer.said.name);
    if (given) {
      placing = { device: "orders page", requestId: placing.requestId };
      const placed = await ask(starts, `/v1/${name}:place`, placing);
      if (!placed.ok) return;
    }
    kept?.clear();
    location.assign(`/shops/${shop}/orders/${encodeURIComponent(name.split("/").pop() ?? "")}`);
  };
  starts.addEventListener("submit", (e) => { e.preventDefault(); void send(true); });
  later.addEventListener("click", () => { void send(false); });
}

for (const form of [place, gives]) {
  if (!form) continue;
  /** @type {Record<string, any>} */
  let wish = {};
  form.addEventListener("input", () => { wish = {}; });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    wish = { ...read(form), etag: form.dataset.etag, device: "order page", requestId: wish.requestId };
    const answer = await ask(form, String(form.dataset.path), wish);
    if (answer.ok) location.reload();
    else if (answer.reason) wish = {};
  });
}

/** The weights that stand in a field, one for each lot. @param {string} typed */
const weights = (typed) => typed.split("+").map((w) => w.trim()).filter(Boolean);

/**
 * What came of a line; nothing when nothing was typed. A certificate is of all of it.
 * @param {HTMLElement} row @param {string} unit @param {string} put @param {string} on @param {any} certificate
 */
function came(row, unit, put, on, certificate) {
  const at = (/** @type {string} */ c) => /** @type {HTMLInputElement | null} */ (row.querySelector(`.${c}`));
  const all = weights(at("weights")?.value ?? ""), pieces = at("pieces")?.value.trim() ?? "", last = at("last")?.checked ?? false;
  const metal = row.dataset.supply !== "yes";
  /** @type {Record<string, any>[]} */
  const lines = (all.length ? all : pieces ? [""] : []).map((w) => {
    /** @type {Record<string, any>} */
    const weighing = {};
    if (w) weighing.net = { text: /[a-z"']/i.test(w) ? w : `${w} ${unit}` };
    if (w && on) weighing.scale = on;
    if (all.length > 1) weighing.pieces = "1";
    else if (pieces) weighing.pieces = pieces;
    return { line: Number(row.dataset.line), weighing, ...(metal ? { place: put, label: at("label")?.value.trim(), certificate } : {}) };
  });
  if (last && lines.length) lines[lines.length - 1].last = true;
  return lines;
}

if (receive) {
  const kept = keeps(receive, String(receive.dataset.path)), unit = String(receive.dataset.unit);
  const rows = [...receive.querySelectorAll(".line")].map((r) => /** @type {HTMLElement} */ (r));
  /** @type {Record<string, any>} */
  let wish = {};
  const tally = () => {
    for (const row of rows) {
      const all = weights(/** @type {HTMLInputElement | null} */ (row.querySelector(".weights"))?.value ?? "").map((w) => Number(w.replace(",", ".")));
      const plain = all.length > 1 && all.every((n) => n > 0);
      /** @type {HTMLElement} */ (row.querySelector(".sum-of")).textContent = plain ? `${all.length} pieces, ${all.reduce((s, n) => s + n, 0).toFixed(2)} ${unit} together` : "";
    }
  };
  receive.addEventListener("input", () => { wish = {}; tally(); });
  tally();
  receive.addEventListener("submit", async (e) => {
    e.preventDefault();
    const value = (/** @type {string} */ name) => fields(receive).find((f) => f.name === name)?.value.trim() ?? "";
    const says = read(receive).certificates ?? {};
    const each = rows.map((r) => came(r, unit, value("place"), value("scale"), says[`of${r.dataset.line}`])), lines = each.flat();
    const of = each.flatMap((all, i) => all.map(() => rows[i].dataset.line)); // each weight's line of the order
    if (!lines.length) { say(receive, "Nothing is typed yet: put on the scale what came.", true); return; }
    if (!wish.requestId) { // two people at one delivery would book it twice
      const now = await fetch(String(receive.dataset.order)).then((r) => (r.ok ? r.json() : null)).catch(() => null);
      if (now && now.etag !== receive.dataset.etag) {
        receive.dataset.etag = now.etag;
        say(receive, "Somebody else booked something of this order since you opened it. What you typed is kept: look at the order anew, or press again if yours is another delivery.", true);
        return;
      }
    }
    wish = { lines, who: value("who"), reason: value("reason"), device: "order page", requestId: wish.requestId };
    const answer = await ask(receive, String(receive.dataset.path), wish);
    if (!answer.ok) {
      if (answer.reason) wish = {};
      const [, at, what, inside] = answer.field?.match(/^lines\[(\d+)\]\.(?:weighing\.)?(\w+)(.*)/) ?? [];
      const line = of[Number(at)];
      if (what === "certificate") mark(receive, inForm(receive, `certificates.of${line}${inside.replace(/\[(\d+)\]/g, ".$1")}`));
      else if (at) mark(receive, what === "place" || what === "scale" ? what : `lines.${line}.${what === "net" ? "weights" : what}`);
      return;
    }
    kept.clear();
    location.reload();
  });
}

takesBack("order page");
