// @ts-check
// Reads a scale on the serial port, where the browser can. What a line looks like is
// said by a pattern: "{weight}" and "{unit}" stand where they stand in it, "*" for
// anything, and blanks may be any number of blanks. A line that looks otherwise is
// passed over, so a pattern with the scale's sign of a settled weight takes only those.

export const usual = "*{weight} {unit}*";

/** Why this browser cannot; "" when it can. */
export function cannotRead() {
  if (!isSecureContext) return "The serial port is only for pages that came over a secure connection, and this one did not: type what the scale says.";
  if (!("serial" in navigator)) return "This browser cannot read a scale: type what it says.";
  return "";
}

/**
 * A reader of lines by a pattern.
 * @param {string} pattern
 * @returns {(line: string) => { weight: string, unit: string } | null}
 */
export function reader(pattern) {
  if (pattern.split("{weight}").length !== 2) throw new Error(`"${pattern}" does not say once where the weight stands: write {weight} there.`);
  const source = pattern.trim().split(/(\{weight\}|\{unit\}|\*|\s+)/).filter(Boolean).map((part) => {
    if (part === "{weight}") return "(?<weight>[-+]?[ \\t]*[0-9]+(?:[.,][0-9]+)?)";
    if (part === "{unit}") return "[ \\t]*(?<unit>[A-Za-z]+)";
    if (part === "*") return ".*?";
    return part.trim() === "" ? "[ \\t]*" : part.replace(/[.+?^${}()|[\]\\]/g, "\\$&");
  }).join("");
  const form = new RegExp(`^${source}$`);
  return (line) => {
    const hit = form.exec(line.trim())?.groups;
    return hit ? { weight: hit.weight.replace(/[\s+]/g, "").replace(",", "."), unit: (hit.unit ?? "").toLowerCase() } : null;
  };
}

/** The sign that ends a line, or a text, and the longest line that a scale says. */
const ends = /[\r\n\x02\x03]+/, longest = 200;

/** What a serial port is opened with for "9600 7E1". @param {string} text */
export function settings(text) {
  const hit = /^\s*(\d{1,7})(?:\s+([78])([NEO])([12]))?\s*$/i.exec(text);
  const parity = /** @type {Record<string, string>} */ ({ N: "none", E: "even", O: "odd" })[hit?.[3]?.toUpperCase() ?? "N"];
  return { baudRate: Number(hit?.[1]) || 9600, dataBits: Number(hit?.[2] ?? 8), parity, stopBits: Number(hit?.[4] ?? 1) };
}

/**
 * Asks which port, and tells each weight that a line of it says twice in a row.
 * @param {{ pattern: string, port: string }} how
 * @param {(weight: string, unit: string) => void} told
 * @returns {Promise<void>} when the scale is gone
 */
export async function listen(how, told) {
  const read = reader(how.pattern), port = await /** @type {any} */ (navigator).serial.requestPort();
  await port.open(settings(how.port));
  let rest = "", tooLong = false, before = "";
  const text = new TextDecoder();
  for (const stream = port.readable.getReader(); ;) {
    const { value, done } = await stream.read();
    if (done) return;
    const lines = (rest + text.decode(value, { stream: true })).split(ends);
    rest = lines.pop() ?? "";
    for (const line of lines) {
      const said = tooLong || line.length > longest ? null : read(line);
      tooLong = false;
      if (!said) continue;
      const now = `${said.weight} ${said.unit}`;
      if (now === before) told(said.weight, said.unit);
      before = now;
    }
    if (rest.length > longest) { tooLong = true; rest = ""; }
  }
}
