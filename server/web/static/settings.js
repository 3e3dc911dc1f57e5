// @ts-check
// Settings: each thing is a form that changes it, and each kind has one to add another.
import { adds, changes } from "./form.js";

for (const form of document.querySelectorAll("form.changes")) changes(/** @type {HTMLFormElement} */ (form));
for (const form of document.querySelectorAll("form.adds")) adds(/** @type {HTMLFormElement} */ (form), () => location.reload());
