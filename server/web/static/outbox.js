// @ts-check
// The outbox: weighings that were typed here and are not yet surely in the book.
// They live in the browser's database, so closing the page or the phone loses
// nothing, and each has the request id it was given when it was typed, so sending it
// twice books it once. A weighing leaves the outbox only when the server has said
// that it is in the book, or when a person throws it away.

/**
 * @typedef {{ id: string, shop: string, path?: string, mg?: number, typedAt: number, text: string, body: Record<string, any>,
 *   state: "waiting" | "refused" | "booked" | "undone", attempts: number, error?: string, reason?: string,
 *   lot?: string, entry?: string, note?: string }} Item
 */

const name = "remelt", table = "outbox";

/** @returns {Promise<IDBDatabase>} */
function open() {
  return new Promise((done, failed) => {
    const ask = indexedDB.open(name, 1);
    ask.onupgradeneeded = () => { ask.result.createObjectStore(table, { keyPath: "id" }); };
    ask.onsuccess = () => done(ask.result);
    ask.onerror = () => failed(ask.error);
  });
}

/**
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(s: IDBObjectStore) => IDBRequest<T>} what
 * @returns {Promise<T>}
 */
async function within(mode, what) {
  const db = await open();
  try {
    return await new Promise((done, failed) => {
      const tx = db.transaction(table, mode, { durability: "strict" });
      const ask = what(tx.objectStore(table));
      tx.oncomplete = () => done(ask.result);
      tx.onerror = tx.onabort = () => failed(tx.error);
    });
  } finally {
    db.close();
  }
}

/** @param {Item} item */
export const keep = (item) => within("readwrite", (s) => s.put(item));

/** @param {string} id */
export const drop = (id) => within("readwrite", (s) => s.delete(id));

/** Everything of a shop, oldest first. @param {string} shop @returns {Promise<Item[]>} */
export async function list(shop) {
  const all = /** @type {Item[]} */ (await within("readonly", (s) => s.getAll()));
  return all.filter((i) => i.shop === shop).sort((a, b) => a.typedAt - b.typedAt);
}

/** A fresh request id: a UUID of version 4. Outside a secure context the browser has no ready one. */
export function requestID() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const h = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
  return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
}

/** How far this phone's clock is behind the server's, in milliseconds, when it is known. */
let behind = 0;

/**
 * Sends what waits, oldest first, in one tab at a time. It stops at the first that
 * does not get through, and says whether all did.
 * @param {string} shop
 * @param {(item: Item) => void} changed
 * @returns {Promise<boolean>}
 */
export async function send(shop, changed) {
  const work = async () => {
    for (const item of await list(shop)) {
      if (item.state !== "waiting") continue;
      if (!(await one(item))) { changed(item); return false; }
      changed(item);
    }
    return true;
  };
  if (!navigator.locks) return work(); // a page without a secure context has no locks; the request id still keeps it to once
  return navigator.locks.request("remelt-outbox", { ifAvailable: true }, (lock) => (lock ? work() : true));
}

/** @param {Item} item @returns {Promise<boolean>} whether the server answered for it */
async function one(item) {
  if (item.attempts === 0) {
    // When it was weighed: the server's time less how long ago that was by this
    // phone's clock, which may be wrong but runs evenly. It is fixed now, so that a
    // second try says the same.
    const age = Date.now() - item.typedAt;
    if (age > 60000 || item.body.happenedTime) item.body.happenedTime = new Date(Date.now() + behind - Math.max(age, 0)).toISOString();
  }
  item.attempts++;
  await keep(item);
  let answer;
  try {
    answer = await fetch(`/v1/shops/${item.shop}/${item.path ?? "lots:weighIn"}`, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(item.body), signal: AbortSignal.timeout(20000),
    });
  } catch {
    item.error = "the network or the server is not there";
    await keep(item);
    return false;
  }
  clock(answer);
  const said = await answer.json().catch(() => ({}));
  if (answer.ok) {
    item.state = "booked";
    item.error = undefined;
    item.lot = String(said.lot?.name ?? "").split("/").pop();
    item.entry = String(said.entry?.name ?? "").split("/").pop();
    item.note = (said.entry?.flags ?? []).map((/** @type {{text: string}} */ f) => f.text).join("; ") || undefined;
    await keep(item);
    return true;
  }
  item.error = String(said.message ?? `the server answered ${answer.status}`);
  item.reason = (said.details ?? []).find((/** @type {any} */ d) => d.reason)?.reason;
  if (answer.status === 401) item.error = "you are signed out here; reload the page and sign in, then it goes out";
  if (answer.status >= 500 || answer.status === 429 || answer.status === 408 || answer.status === 401) {
    await keep(item);
    return false; // later
  }
  item.state = "refused";
  await keep(item);
  return true;
}

/** @param {Response} answer */
export function clock(answer) {
  const date = Date.parse(answer.headers.get("Date") ?? "");
  if (date) behind = date - Date.now();
}

/**
 * Takes a booked weighing back by an entry of its own.
 * @param {Item} item
 */
export async function undo(item) {
  const answer = await fetch(`/v1/shops/${item.shop}/entries/${item.entry}:reverse`, {
    method: "POST", headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ requestId: item.body.undoId ?? (item.body.undoId = requestID()), reason: "taken back on the weigh-in page", who: item.body.who, device: item.body.device }),
    signal: AbortSignal.timeout(20000),
  });
  if (!answer.ok) {
    const said = await answer.json().catch(() => ({}));
    throw new Error(said.message ?? `the server answered ${answer.status}`);
  }
  item.state = "undone";
  await keep(item);
}
