// @ts-check
// The stocktake: counts typed walking past the shelves. They are kept in the browser
// until they are in the book; the book's own figures stay hidden until the counts are
// held against them, so that nobody copies them.
import { post, draft } from "./post.js";

const form = /** @type {HTMLFormElement} */ (document.getElementById("count"));
const told = /** @type {HTMLElement} */ (document.getElementById("told"));
const go = /** @type {HTMLButtonElement} */ (document.getElementById("go"));
const book = /** @type {HTMLButtonElement} */ (document.getElementById("book"));
const why = /** @type {HTMLInputElement} */ (document.getElementById("reason"));
const who = /** @type {HTMLInputElement} */ (document.getElementById("who"));
const path = `/v1/shops/${form.dataset.shop}/stocktakes`;
const kept = draft(`count/${form.dataset.shop}/${form.dataset.place}`);
const inputs = [...form.querySelectorAll(".counted")].map((i) => /** @type {HTMLInputElement} */ (i));
/** @type {Record<string, any> | null} */
let wish = null;

const before = kept.read();
for (const i of inputs) if (before[i.name] && !i.value) i.value = before[i.name];
go.disabled = false;

form.addEventListener("input", () => {
  kept.write(Object.fromEntries(inputs.filter((i) => i.value.trim()).map((i) => [i.name, i.value.trim()])));
  wish = null;
  book.hidden = true;
});

// Enter, which a scanner or a thumb presses after each weight, goes on to the next lot.
form.addEventListener("keydown", (e) => {
  const at = inputs.indexOf(/** @type {HTMLInputElement} */ (e.target));
  if (e.key !== "Enter" || at < 0) return;
  e.preventDefault();
  if (at === inputs.length - 1) { go.click(); return; }
  inputs[at + 1].focus();
  inputs[at + 1].select();
});

/** Says at the lot itself why its count was refused. @param {import("./post.js").Answer} answer @param {{ lot: string }[]} lines */
function refused(answer, lines) {
  say(answer.why, true);
  const line = lines[Number(answer.field?.match(/lines\[(\d+)\]/)?.[1] ?? NaN)];
  const input = line && inputs.find((i) => line.lot.endsWith(`/lots/${i.name}`));
  if (!input) return;
  found(input.name).textContent = answer.why;
  input.setAttribute("aria-invalid", "true");
  input.focus();
}

/** @param {string} text @param {boolean} bad */
function say(text, bad) {
  told.textContent = text;
  told.className = bad ? "notice bad" : "notice";
  told.hidden = false;
}

/** @param {string} lot */
const found = (lot) => /** @type {HTMLElement} */ (form.querySelector(`[data-of="${CSS.escape(lot)}"]`));

go.addEventListener("click", async () => {
  const lines = inputs.filter((i) => i.value.trim()).map((i) => {
    const typed = i.value.trim();
    return { lot: `shops/${form.dataset.shop}/lots/${i.name}`, weighing: { net: { text: /[a-z"']/i.test(typed) ? typed : `${typed} ${form.dataset.unit}` } } };
  });
  if (!lines.length) { say("Nothing is counted yet. Type what the scale says beside a lot; 0 for one that is not there.", true); return; }
  const next = { stocktake: { place: form.dataset.place ? `shops/${form.dataset.shop}/places/${form.dataset.place}` : "", lines }, reason: why.value.trim(), who: who.value.trim(), device: "stocktake page" };
  go.disabled = true;
  const answer = await post(path, { ...next, validateOnly: true });
  go.disabled = false;
  for (const i of inputs) { found(i.name).textContent = ""; i.removeAttribute("aria-invalid"); }
  if (!answer.ok) { refused(answer, lines); return; }
  let off = 0;
  for (const l of answer.said.lines ?? []) {
    const id = String(l.lot).split("/").pop() ?? "", mg = Number(l.difference?.mg ?? 0);
    if (mg) off++;
    found(id).textContent = mg ? `book ${l.book?.text ?? ""}, difference ${l.difference?.text ?? ""}` : "as in the book";
  }
  wish = next;
  say(`${lines.length} counted, ${off} of them not as in the book. Weigh those again if you can, then put the counts in the book.`, false);
  book.hidden = false;
  book.focus();
});

book.addEventListener("click", async () => {
  if (!wish) return;
  book.disabled = true;
  const answer = await post(path, wish);
  book.disabled = false;
  if (!answer.ok) { refused(answer, wish.stocktake.lines); return; }
  kept.clear();
  for (const i of inputs) i.value = "";
  wish = null;
  book.hidden = true;
  say(`In the book as entry ${String(answer.said.entry ?? "").split("/").pop()}.`, false);
});
