// @ts-check
// Settings: each thing is a form that changes it, and each kind has one to add another;
// rates and how cost is reckoned are set from a day on; supplies are counted and used.
import { acts, adds, changes } from "./form.js";

/** @param {string} kind */
const forms = (kind) => [...document.querySelectorAll(`form.${kind}`)].map((f) => /** @type {HTMLFormElement} */ (f));

for (const form of forms("changes")) changes(form);
for (const form of forms("adds")) adds(form, () => location.reload());
for (const form of [...forms("sets"), ...forms("acts")]) acts(form);
