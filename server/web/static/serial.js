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
  if (!pattern.includes("{weight}")) throw new Error(`"${pattern}" does not say where the weight stands: write {weight} there.`);
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

/**
 * Asks which port, and tells each weight that a line of it says twice in a row.
 * @param {{ pattern: string, baud: number }} how
 * @param {(weight: string, unit: string) => void} told
 * @returns {Promise<void>} when the scale is gone
 */
export async function listen(how, told) {
  const read = reader(how.pattern), port = await /** @type {any} */ (navigator).serial.requestPort();
  await port.open({ baudRate: how.baud });
  let rest = "", before = "";
  const text = new TextDecoder();
  for (const stream = port.readable.getReader(); ;) {
    const { value, done } = await stream.read();
    if (done) return;
    const lines = (rest + text.decode(value, { stream: true })).split(/[\r\n]+/);
    rest = (lines.pop() ?? "").slice(-200);
    for (const line of lines) {
      const said = read(line);
      if (!said) continue;
      const now = `${said.weight} ${said.unit}`;
      if (now === before) told(said.weight, said.unit);
      before = now;
    }
  }
}
