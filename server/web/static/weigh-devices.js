// @ts-check
// The camera and the scales of the weigh-in page: what they read is put in its fields
// as if it were typed.
import { cannotScan, scan } from "./scan.js";
import { cannotRead, listen, usual } from "./serial.js";
import { facts, form, get, lot, scale, unit, weight } from "./weigh-fields.js";

/** Tells the page that a field was filled. @param {HTMLElement} field */
const changed = (field) => field.dispatchEvent(new Event("input", { bubbles: true }));

/** The camera reads which lot it is. */
const scans = /** @type {HTMLButtonElement} */ (get("scan")), blind = cannotScan();
scans.hidden = blind !== "";
get("camera-says").textContent = blind ? `${blind} Type what stands below the code, or use a scanner that types.` : "";
scans.addEventListener("click", async () => {
  const off = new AbortController();
  get("camera").hidden = false;
  scans.disabled = true;
  get("stop-scan").addEventListener("click", () => off.abort(), { once: true });
  try {
    const code = await scan(/** @type {HTMLVideoElement} */ (get("view")), off.signal);
    if (code) { lot.value = code; changed(lot); weight.focus(); }
  } catch (err) {
    get("of-lot").textContent = `The camera cannot be used (${err instanceof Error ? err.message : err}). Type what stands below the label's code.`;
    get("of-lot").hidden = false;
  }
  get("camera").hidden = true;
  scans.disabled = false;
});

/** The scale on the serial port types its weight. */
const reads = /** @type {HTMLButtonElement} */ (get("read-scale")), deaf = cannotRead(), pattern = /** @type {HTMLInputElement} */ (get("line-pattern")), baud = /** @type {HTMLInputElement} */ (get("baud"));
reads.hidden = deaf !== "";
get("serial").hidden = deaf !== "";
get("serial-says").textContent = deaf;
pattern.value = usual;
baud.value = "9600";
try {
  const how = JSON.parse(localStorage.getItem("serial") ?? "{}");
  pattern.value = how.pattern ?? usual;
  baud.value = how.baud ?? "9600";
} catch { /* a browser that keeps nothing asks again */ }
for (const f of [pattern, baud]) {
  f.addEventListener("change", () => { try { localStorage.setItem("serial", JSON.stringify({ pattern: pattern.value, baud: baud.value })); } catch { /* as above */ } });
}

/** What the book knows of the scale that is chosen. */
const ofScale = () => facts.scales.find((s) => s.id === scale.value);

/** Whether a unit can be chosen. @param {string} of */
const has = (of) => [...unit.options].some((o) => o.value === of);

/** Puts what a scale says in the field. @param {string} read @param {string} of */
function put(read, of) {
  if (of && has(of)) unit.value = of;
  weight.value = of && !has(of) ? `${read} ${of}` : read;
  changed(weight);
}

/** The scale that is chosen may be read by another machine, which tells the server. A
 * weight is put in the field once, until the scale shows another.
 * @type {EventSource | undefined} */
let shown, tells = "";
export function watch() {
  if (tells === scale.value) return;
  tells = scale.value;
  shown?.close();
  get("shown").textContent = "";
  if (!ofScale()?.line) return; // a scale that nobody set up to be read
  let before = "";
  shown = new EventSource(`/shops/${facts.shop}/scales/${encodeURIComponent(scale.value)}/readings`);
  shown.addEventListener("reading", (e) => {
    const said = JSON.parse(e.data), [read, of] = said.weight.split(" ");
    get("shown").textContent = `${ofScale()?.name}: ${said.weight}${said.device ? `, read on ${said.device}` : ""}`;
    if (said.weight !== before && said.mg > 0) put(read, of ?? "");
    before = said.weight;
  });
}
scale.addEventListener("change", watch);

reads.addEventListener("click", async () => {
  reads.disabled = true;
  const says = get("serial-says");
  says.textContent = "The scale is listened to. A weight that stands still is put in the field.";
  try {
    const own = ofScale();
    await listen({ pattern: own?.line || pattern.value, port: own?.line ? own.port ?? "" : baud.value }, (read, of) => {
      put(read, of);
      says.textContent = `The scale says ${read} ${of}.`;
    });
    says.textContent = "The scale is gone. Type what it says, or press again.";
  } catch (err) {
    says.textContent = `The scale cannot be read: ${err instanceof Error ? err.message : err}`;
    /** @type {HTMLDetailsElement} */ (form.querySelector(".more")).open = true;
  }
  reads.disabled = false;
});
