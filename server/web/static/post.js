// @ts-check
// Writing from a page: one wish, one request id, sent again with the same id when the
// answer got lost.
import { requestID } from "./outbox.js";

/** What the server said to a wish. @typedef {{ ok: boolean, said: any, why: string, reason?: string, field?: string }} Answer */

/**
 * Posts a wish. Its request id is made once and kept in the wish, so that trying again
 * after a lost answer does nothing twice.
 * @param {string} path
 * @param {Record<string, any>} wish
 * @param {string} [method]
 * @returns {Promise<Answer>}
 */
export async function post(path, wish, method = "POST") {
  wish.requestId ??= requestID();
  try {
    const answer = await fetch(path, { method, headers: { "Content-Type": "application/json" }, body: JSON.stringify(wish), signal: AbortSignal.timeout(20000) });
    const said = await answer.json().catch(() => ({}));
    const info = (said.details ?? []).find((/** @type {any} */ d) => d.reason);
    return { ok: answer.ok, said, reason: info?.reason, field: info?.metadata?.field, why: answer.ok ? "" : String(said.message ?? `the server answered ${answer.status}`) };
  } catch {
    return { ok: false, said: {}, why: "The network or the server is not there. Nothing is lost: try again." };
  }
}

/**
 * What was typed, kept in this browser until it is in the book.
 * @param {string} key
 */
export function draft(key) {
  return {
    /** @returns {Record<string, string>} */
    read() {
      try { return JSON.parse(localStorage.getItem(key) ?? "{}"); } catch { return {}; }
    },
    /** @param {Record<string, string>} typed */
    write(typed) {
      try { localStorage.setItem(key, JSON.stringify(typed)); } catch { /* a browser that keeps nothing still posts */ }
    },
    clear() {
      try { localStorage.removeItem(key); } catch { /* nothing was kept */ }
    },
  };
}
