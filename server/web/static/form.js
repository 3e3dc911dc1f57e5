// @ts-check
// Forms that are sent as the API wants them: what a field is called is where in the
// request it stands, "order.lines.0.mass.text". A field that the server refuses is
// marked; what somebody else changed meanwhile is shown beside what was typed, and
// nothing is written over it unseen.
import { post, draft } from "./post.js";

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Field */

/** The fields of a form that are sent. @param {HTMLFormElement} form */
export const fields = (form) => [...form.querySelectorAll("input[name], select[name], textarea[name]")].map((f) => /** @type {Field} */ (f));

/** What a field holds, as it is sent; undefined when it is empty. @param {Field} f */
function value(f) {
  if (f instanceof HTMLInputElement && f.type === "checkbox") return f.checked ? (f.value === "on" ? true : f.value) : undefined;
  if (f instanceof HTMLInputElement && f.type === "radio" && !f.checked) return undefined;
  const typed = f.value.trim();
  if (typed === "") return undefined;
  if (f.dataset.moment !== undefined) return `${typed.slice(0, 16)}:00${distance(typed.slice(0, 16), f.dataset.moment)}`; // as the shop's clock shows it
  if (f.dataset.day) return `${typed}T12:00:00${f.dataset.day}`; // a day is its noon where the shop is
  if (f.dataset.start !== undefined) return `${typed}T00:00:00${distance(`${typed}T00:00`, f.dataset.start)}`; // its beginning
  return f.dataset.unit && !/[a-z"'°]/i.test(typed) ? `${typed} ${f.dataset.unit}` : typed;
}

/**
 * How far a zone is from UTC when its clocks show a time: nearly that far off UTC, and
 * then exactly, as that may be on the other side of a change.
 * @param {string} clock 2026-11-01T00:00 @param {string} zone
 */
function distance(clock, zone) {
  const show = new Intl.DateTimeFormat("en", { timeZone: zone || "UTC", timeZoneName: "longOffset" });
  let off = "Z";
  for (let i = 0; i < 2; i++) off = show.formatToParts(new Date(`${clock}:00${off}`)).find((p) => p.type === "timeZoneName")?.value.replace("GMT", "") || "Z";
  return off;
}

/**
 * What a form says, with rows that nothing was typed in left out.
 * @param {HTMLFormElement} form
 * @returns {Record<string, any>}
 */
export const read = (form) => rows(typedIn(form));

/** What a form says, its rows by the numbers they have in it. @param {HTMLFormElement} form */
function typedIn(form) {
  /** @type {Record<string, any>} */
  const all = {};
  const said = fields(form).filter((f) => !f.matches(":disabled, [data-chooses]")); // what is not asked just now is not said
  const typed = said.filter((f) => f.type !== "hidden"), fixed = said.filter((f) => f.type === "hidden");
  for (const f of [...typed, ...fixed]) {
    const v = value(f), steps = f.name.split("."), row = steps.findIndex((s) => /^\d+$/.test(s));
    if (v === undefined || (f.type === "hidden" && row >= 0 && !at(all, steps.slice(0, row + 1)))) continue;
    const into = steps.slice(0, -1).reduce((o, step) => (o[step] ??= {}), all);
    into[String(steps.at(-1))] = v;
  }
  return all;
}

/**
 * The name in the form of what has a name in the request, where rows that nothing was typed
 * in do not count.
 * @param {HTMLFormElement} form @param {string} name
 */
export function inForm(form, name) {
  /** @type {any} */
  let here = typedIn(form);
  return name.split(".").map((step) => {
    const numbers = here && typeof here === "object" ? Object.keys(here) : [];
    if (numbers.length && numbers.every((k) => /^\d+$/.test(k))) step = numbers.sort((a, b) => Number(a) - Number(b))[Number(step)] ?? step;
    here = here?.[step];
    return step;
  }).join(".");
}

/** What stands somewhere inside. @param {any} all @param {string[]} steps */
const at = (all, steps) => steps.reduce((o, step) => o?.[step], all);

/** Numbered parts become lists. @param {any} v @returns {any} */
function rows(v) {
  if (typeof v !== "object") return v;
  const keys = Object.keys(v);
  if (keys.length && keys.every((k) => /^\d+$/.test(k))) return keys.sort((a, b) => Number(a) - Number(b)).map((k) => rows(v[k]));
  return Object.fromEntries(keys.map((k) => [k, rows(v[k])]));
}

/** The words a form says below itself. @param {HTMLFormElement} form */
const line = (form) => /** @type {HTMLElement} */ (form.querySelector(".told"));

/** @param {HTMLFormElement} form @param {string} text @param {boolean} [bad] @param {string} [reason] that a machine reads */
export function say(form, text, bad, reason) {
  const told = line(form);
  told.textContent = text;
  if (reason) told.append(Object.assign(document.createElement("small"), { className: "by-machine", textContent: ` ${reason}` }));
  told.className = bad ? "told notice bad" : "told notice";
  told.hidden = text === "";
}

/** A field's name in the request, from the server's word for it: purchase_order.lines[0].mass. @param {string} said */
const camel = (said) => said.replace(/\[(\d+)\]/g, ".$1").replace(/_([a-z])/g, (_, c) => c.toUpperCase());

/**
 * Sends a wish for a form and says what was wrong with it. `path` and `method` are of
 * the REST interface.
 * @param {HTMLFormElement} form
 * @param {string} path
 * @param {Record<string, any>} wish
 * @param {string} [method]
 */
export async function ask(form, path, wish, method) {
  const pressed = [...form.querySelectorAll("button")];
  for (const b of pressed) b.disabled = true;
  for (const f of fields(form)) f.removeAttribute("aria-invalid");
  for (const fault of form.querySelectorAll(".fault")) fault.remove();
  const answer = await post(path, wish, method);
  for (const b of pressed) b.disabled = false;
  if (answer.ok) return answer;
  say(form, answer.why, true, answer.reason);
  if (answer.field) mark(form, inForm(form, camel(answer.field)), answer.why);
  if (answer.reason === "NEEDS_REASON") {
    const why = /** @type {HTMLElement | null} */ (form.querySelector(".reason"));
    if (why) { why.hidden = false; why.querySelector("input")?.focus(); }
  }
  return answer;
}

/** Marks the field that was refused, and says there why. @param {HTMLFormElement} form @param {string} name @param {string} [why] */
export function mark(form, name, why) {
  const known = fields(form);
  const hit = known.find((f) => f.name === name || f.name === `${name}Id`) ?? known.find((f) => f.name.startsWith(`${name}.`)) ?? known.find((f) => f.name.endsWith(`.${name}`));
  if (!hit) return;
  hit.setAttribute("aria-invalid", "true");
  if (why) hit.after(Object.assign(document.createElement("small"), { className: "fault", textContent: why }));
  hit.closest("details")?.setAttribute("open", "");
  hit.focus();
}

/** Whether a field is ticked rather than typed in. @param {Field} f @returns {f is HTMLInputElement} */
export const ticks = (f) => f instanceof HTMLInputElement && (f.type === "checkbox" || f.type === "radio");

/** Whether somebody changed a field since the page came. @param {Field} f */
function touched(f) {
  if (f instanceof HTMLSelectElement) return f.selectedIndex !== Math.max(0, [...f.options].findIndex((o) => o.defaultSelected));
  if (ticks(f)) return f.checked !== f.defaultChecked;
  return f.value !== f.defaultValue;
}

/** Takes what a field holds as what it was. @param {Field} f */
function settle(f) {
  if (f instanceof HTMLSelectElement) for (const o of f.options) o.defaultSelected = o.selected;
  else if (ticks(f)) f.defaultChecked = f.checked;
  else f.defaultValue = f.value;
}

/** The fields of a form that are of the thing it changes. @param {HTMLFormElement} form @param {string} part */
const own = (form, part) => fields(form).filter((f) => f.name.startsWith(`${part}.`));

/**
 * A form that changes one thing as it was read. Only what was changed is sent: a weight
 * that is shown in pounds but was typed in kilograms must not be rounded by the way.
 * When somebody else changed the thing meanwhile, their values are shown beside those
 * typed here, and saving again keeps these.
 * @param {HTMLFormElement} form `data-path` is the thing's address, `data-field` what a request calls it
 * @param {(said: any) => void} [done]
 */
export function changes(form, done) {
  const path = String(form.dataset.path), part = String(form.dataset.field);
  /** @type {Record<string, any>} */
  let wish = {};
  form.addEventListener("input", () => { wish = {}; form.dataset.changed = "yes"; });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const said = read(form), mask = [...new Set(own(form, part).filter(touched).map((f) => f.name.split(".")[1]))];
    if (!mask.length) { say(form, "Nothing is changed."); return; }
    wish = { ...said, [part]: { ...said[part], etag: form.dataset.etag }, updateMask: mask.join(","), device: "web page", requestId: wish.requestId };
    const answer = await ask(form, path, wish, "PATCH");
    if (answer.ok) {
      form.dataset.etag = answer.said.etag;
      form.dataset.changed = "no";
      for (const theirs of form.querySelectorAll(".theirs")) theirs.remove();
      for (const f of fields(form)) settle(f);
      say(form, "Saved.");
      wish = {};
      done?.(answer.said);
    } else if (answer.reason === "CHANGED_MEANWHILE") {
      wish = {};
      await compare(form, path, part);
    }
  });
}

/**
 * Shows what a thing is now beside what was typed; fields that nobody touched here take
 * the new value.
 * @param {HTMLFormElement} form @param {string} path @param {string} part
 */
async function compare(form, path, part) {
  const answer = await fetch(path).catch(() => null);
  if (!answer?.ok) return;
  const now = await answer.json();
  for (const theirs of form.querySelectorAll(".theirs")) theirs.remove();
  for (const f of own(form, part)) {
    const steps = f.name.split(".").slice(1), box = f instanceof HTMLInputElement && f.type === "checkbox";
    const is = box && f.value !== "on" ? [...at(now, steps.slice(0, -1)) ?? []].includes(f.value) : at(now, steps);
    if (box ? Boolean(is) === f.checked : shown(is, f) === f.value.trim()) continue;
    if (!touched(f)) {
      if (box) f.checked = Boolean(is);
      else f.value = shown(is, f);
      settle(f);
    }
    const word = document.createElement("small");
    word.className = "theirs";
    const theirs = shown(is, f), chosen = f instanceof HTMLSelectElement ? [...f.options].find((o) => o.value === theirs)?.text : "";
    word.textContent = `is now: ${chosen || theirs || "nothing"}`;
    f.after(word);
  }
  form.dataset.etag = now.etag;
  say(form, "Somebody else changed this while you did. Nothing was written over. What it is now stands beside what you typed: save again to have yours.", true);
}

/** Whether there is one of a name. Asked of the list: a thing that is not there would be an error in the console. @param {string} path @param {string} id */
async function taken(path, id) {
  for (let token = ""; ;) {
    const answer = await fetch(`${path}?pageSize=1000&pageToken=${encodeURIComponent(token)}`).catch(() => null);
    if (!answer?.ok) return false; // what is wrong is said when it is sent
    const said = await answer.json();
    if ((said[String(path.split("/").pop())] ?? []).some((/** @type {any} */ x) => String(x.name).split("/").pop() === id)) return true;
    token = said.nextPageToken ?? "";
    if (!token) return false;
  }
}

/**
 * A form that adds a thing under a short name of its own, and never writes over one that
 * is there.
 * @param {HTMLFormElement} form `data-path` is where its kind is, `data-field` what a request calls it
 * @param {(id: string) => void} done
 */
export function adds(form, done) {
  const part = String(form.dataset.field), kept = keeps(form, `new ${form.dataset.path}`);
  /** @type {Record<string, any>} */
  let wish = {};
  form.addEventListener("input", () => { wish = {}; });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const { id, ...rest } = read(form), path = `${form.dataset.path}/${encodeURIComponent(id)}`;
    if (!id || id.includes("/")) { say(form, `A short name has 1 to 64 letters, digits and "-._": ${id ?? "it is empty"}`, true); mark(form, "id"); return; } // the address of nothing
    if (!wish.requestId) {
      if (await taken(String(form.dataset.path), id)) { say(form, `There is one of the name ${id} already. Choose another short name.`, true); return; }
    }
    wish = { ...rest, [part]: rest[part] ?? {}, allowMissing: true, device: "web page", requestId: wish.requestId };
    const answer = await ask(form, path, wish, "PATCH");
    if (!answer.ok) {
      if (answer.reason) wish = {};
      if (answer.field === `${part}.name` || answer.field === "id") mark(form, "id");
      return;
    }
    kept.clear();
    done(id);
  });
}

/**
 * A form that does one thing and shows the page anew.
 * @param {HTMLFormElement} form `data-path` is what does it
 */
export function acts(form) {
  const kept = keeps(form, String(form.dataset.path));
  /** @type {Record<string, any>} */
  let wish = {};
  form.addEventListener("input", () => { wish = {}; });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    wish = { ...read(form), device: "web page", requestId: wish.requestId };
    const answer = await ask(form, String(form.dataset.path), wish);
    if (answer.ok) { kept.clear(); location.reload(); } else if (answer.reason) wish = {};
  });
}

/** Buttons that take an entry back and show the page anew. @param {string} device */
export function takesBack(device) {
  for (const b of document.querySelectorAll(".take-back")) {
    const back = /** @type {HTMLButtonElement} */ (b), wish = { reason: `taken back on the ${device}`, device };
    back.disabled = false;
    back.addEventListener("click", async () => {
      back.disabled = true;
      const answer = await post(String(back.dataset.path), wish);
      back.disabled = false;
      if (answer.ok) { location.reload(); return; }
      const told = /** @type {HTMLElement} */ (document.getElementById("told-back"));
      told.textContent = answer.why;
      told.hidden = false;
    });
  }
}

/** @param {any} is @param {Field} f */
function shown(is, f) {
  if (is === undefined || is === null || String(is) === "0") return "";
  if (f instanceof HTMLInputElement && f.type === "checkbox") return is ? "yes" : "no";
  if (f.dataset.day) return new Date(Date.parse(String(is)) + Date.parse("1970-01-01T00:00:00Z") - Date.parse(`1970-01-01T00:00:00${f.dataset.day}`)).toISOString().slice(0, 10);
  const id = String(is).split("/").pop() ?? ""; // of a thing that the list has by its id
  return f instanceof HTMLSelectElement && [...f.options].some((o) => o.value === id) ? id : String(is);
}

/** Keeps what is typed in this browser until it is in the book. @param {HTMLFormElement} form @param {string} key */
export function keeps(form, key) {
  const kept = draft(key), before = kept.read(), typed = fields(form).filter((f) => f.type !== "hidden");
  const early = typed.some(touched); // somebody was faster than this script
  const write = () => {
    form.dataset.changed = "yes";
    kept.write(Object.fromEntries(typed.filter((f) => !ticks(f) || f.type === "checkbox" || f.checked).map((f) => [f.name, ticks(f) && f.type === "checkbox" ? (f.checked ? "yes" : "no") : f.value])));
  };
  for (const f of typed) {
    if (before[f.name] === undefined || touched(f)) continue;
    if (ticks(f)) f.checked = before[f.name] === (f.type === "radio" ? f.value : "yes");
    else f.value = before[f.name];
  }
  if (typed.some(touched)) form.dataset.changed = "yes";
  if (early) write();
  form.addEventListener("input", write);
  return { clear: () => { kept.clear(); form.dataset.changed = "no"; } };
}

// A form may be sent only when its script has it in hand; before, the browser would
// send it itself, to nowhere, and what was typed would be gone.
setTimeout(() => {
  for (const b of document.querySelectorAll("form.asks button")) /** @type {HTMLButtonElement} */ (b).disabled = false;
});
