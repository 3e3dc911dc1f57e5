// @ts-check
// The outbox: weighings that were typed here and are not yet surely in the book.
// They live in the browser's database, so closing the page or the phone loses
// nothing, and each has the request id it was given when it was typed, so sending it
// twice books it once. A weighing leaves the outbox only when the server has said
// that it is in the book, or when a person throws it away. Whoever takes one back is
// heard at once, and it is done when the server can be reached.

/**
 * @typedef {{ id: string, shop: string, path?: string, mg?: number, typedAt: number, text: string, body: Record<string, any>,
 *   state: "waiting" | "refused" | "booked" | "undone", attempts: number, error?: string, reason?: string,
 *   lot?: string, entry?: string, note?: string, undo?: string }} Item
 * undo is the request id of taking it back, while that is wished and not done.
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

/** Keeps an item in the place of another: both or nothing. @param {Item} item @param {string} old */
export const replace = (item, old) => within("readwrite", (s) => { s.put(item); return s.delete(old); });

/**
 * Changes an item as it now is, whatever another tab did to it since it was read; an
 * item that is gone stays gone. `how` says whether it is still to be kept.
 * @param {string} id
 * @param {(item: Item) => boolean} how
 * @returns {Promise<Item | undefined>} the item as it then is
 */
async function change(id, how) {
  /** @type {Item | undefined} */
  let now;
  await within("readwrite", (s) => {
    const ask = s.get(id);
    ask.addEventListener("success", () => {
      now = ask.result;
      if (!now) return;
      if (how(now)) s.put(now);
      else { s.delete(id); now = undefined; }
    });
    return ask;
  });
  return now;
}

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

/** Whether the server has still to be told something of an item. @param {Item} i */
export const unsent = (i) => i.state === "waiting" || (i.state === "booked" && i.undo !== undefined);

/**
 * Sends what waits, oldest first, in one tab at a time. It stops at the first that
 * does not get through, and says whether all did.
 * @param {string} shop
 * @param {() => void} changed
 * @returns {Promise<boolean>}
 */
export async function send(shop, changed) {
  const work = async () => {
    for (const item of await list(shop)) {
      if (!unsent(item)) continue;
      const through = (item.state === "booked" || await one(item.id)) && await back(item.id);
      changed();
      if (!through) return false;
    }
    return true;
  };
  if (!navigator.locks) return work(); // a page without a secure context has no locks; the request id still keeps it to once
  return navigator.locks.request("remelt-outbox", { ifAvailable: true }, (lock) => (lock ? work() : true));
}

/**
 * Asks the server. What it says is undefined when there is no answer for now.
 * @param {string} path
 * @param {Record<string, any>} body
 * @returns {Promise<{ said?: any, refused: boolean, error?: string }>}
 */
async function ask(path, body) {
  let answer;
  try {
    answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), signal: AbortSignal.timeout(20000) });
  } catch {
    return { refused: false, error: "the network or the server is not there" };
  }
  clock(answer);
  const said = await answer.json().catch(() => ({}));
  if (answer.ok) return { said, refused: false };
  if (answer.status === 401) return { refused: false, error: "you are signed out here; reload the page and sign in, then it goes out" };
  const error = String(said.message ?? `the server answered ${answer.status}`);
  return answer.status >= 500 || answer.status === 429 || answer.status === 408 ? { refused: false, error } : { said, refused: true, error };
}

/** @param {string} id @returns {Promise<boolean>} whether the server answered for it */
async function one(id) {
  const item = await change(id, (i) => {
    if (i.state !== "waiting") return true;
    if (i.attempts === 0) {
      // When it was weighed: the server's time less how long ago that was by this
      // phone's clock, which may be wrong but runs evenly. It is fixed now, so that a
      // second try says the same.
      const age = Date.now() - i.typedAt;
      if (age > 60000 || i.body.happenedTime) i.body.happenedTime = new Date(Date.now() + behind - Math.max(age, 0)).toISOString();
    }
    i.attempts++;
    return true;
  });
  if (item?.state !== "waiting") return true; // thrown away meanwhile, or another tab's
  const { said, refused, error } = await ask(`/v1/shops/${item.shop}/${item.path ?? "lots:weighIn"}`, item.body);
  await change(id, (i) => {
    i.error = error;
    if (refused) {
      i.reason = (said.details ?? []).find((/** @type {any} */ d) => d.reason)?.reason;
      i.state = i.undo ? "undone" : "refused"; // to be taken back, and never booked: that is done
    } else if (said) {
      i.state = "booked";
      i.lot = String(said.lot?.name ?? "").split("/").pop();
      i.entry = String(said.entry?.name ?? "").split("/").pop();
      i.note = (said.entry?.flags ?? []).map((/** @type {{text: string}} */ f) => f.text).join("; ") || undefined;
    }
    return true;
  });
  return refused || said !== undefined;
}

/** Takes a booked weighing back by an entry of its own, if that is wished. @param {string} id @returns {Promise<boolean>} */
async function back(id) {
  const item = await change(id, () => true);
  if (item?.state !== "booked" || !item.undo) return true;
  const { said, refused, error } = await ask(`/v1/shops/${item.shop}/entries/${item.entry}:reverse`,
    { requestId: item.undo, reason: "taken back on the weigh-in page", who: item.body.who, device: item.body.device });
  await change(id, (i) => {
    i.error = error;
    if (refused || said) i.undo = undefined;
    if (said && !refused) i.state = "undone";
    return true;
  });
  return refused || said !== undefined;
}

/**
 * Takes a weighing back. One that was never sent is gone; one that was may be in the
 * book, so it is sent all the same, and what is in the book is reversed.
 * @param {string} id
 */
export const takeBack = (id) => change(id, (i) => {
  if (i.state === "waiting" && i.attempts === 0) return false;
  i.undo ??= requestID();
  return true;
});

/** @param {Response} answer */
export function clock(answer) {
  const date = Date.parse(answer.headers.get("Date") ?? "");
  if (date) behind = date - Date.now();
}
