// @ts-check
// Commissions: a new one, what is to be cast, hours and things bought for it, and a new version of the quote, which is
// reckoned and shown before it is put in the book.
import { acts, read, ask, say, adds, changes, keeps, takesBack } from "./form.js";

const starts = /** @type {HTMLFormElement | null} */ (document.getElementById("new-commission"));
const quote = /** @type {HTMLFormElement | null} */ (document.getElementById("new-quote"));
const patterns = /** @type {HTMLFormElement | null} */ (document.getElementById("patterns"));

if (starts) adds(starts, (id) => location.assign(`/shops/${starts.dataset.shop}/commissions/${encodeURIComponent(id)}#again`));

for (const form of document.querySelectorAll("form.acts")) acts(/** @type {HTMLFormElement} */ (form));
takesBack("commission page");

if (patterns) changes(patterns, () => location.reload());

if (quote) {
  const keep = /** @type {HTMLButtonElement} */ (document.getElementById("keep")), preview = /** @type {HTMLElement} */ (document.getElementById("preview"));
  const path = String(quote.dataset.path), kept = keeps(quote, path);
  /** @type {Record<string, any> | null} */
  let wish = null;
  const forget = () => { wish = null; keep.hidden = preview.hidden = true; };
  quote.addEventListener("input", forget);
  quote.addEventListener("submit", async (e) => {
    e.preventDefault();
    forget();
    const next = { ...read(quote), device: "commission page" }, answer = await ask(quote, path, { ...next, validateOnly: true });
    if (!answer.ok) return;
    say(quote, "");
    show(preview, answer.said.quote ?? answer.said);
    wish = next;
    keep.hidden = false;
    preview.focus();
  });
  keep.addEventListener("click", async () => {
    if (!wish) return;
    const answer = await ask(quote, path, wish);
    if (!answer.ok) return;
    kept.clear();
    location.reload();
  });
}

/** What a quote says, before it is kept. @param {HTMLElement} at @param {any} q */
function show(at, q) {
  const title = document.createElement("p");
  title.className = "sum";
  title.textContent = `It would be ${q.likely?.text}: enough in 50 of 100 outcomes. ${q.low?.text} is enough in 10, ${q.high?.text} in 90. Tax is not in it.`;
  const table = document.createElement("table");
  for (const l of [...(q.lines ?? []).filter((/** @type {any} */ x) => Number(x.money?.minor)), { what: "price", money: q.likely }]) {
    const row = table.insertRow(), head = document.createElement("th");
    head.scope = "row";
    head.textContent = l.what;
    row.append(head);
    row.insertCell().textContent = l.money?.text ?? "";
  }
  const assumed = document.createElement("ul");
  for (const a of q.assumptions ?? []) {
    const li = document.createElement("li");
    li.textContent = a;
    assumed.append(li);
  }
  at.replaceChildren(title, table, assumed);
  at.hidden = false;
}
