// @ts-check
// A heat: its plan and its molds are changed as they were read; everything else that is
// done to it is a form that writes one thing.
import { changes } from "./form.js";
import "./write.js";

const taken = new WeakSet();

function take() {
  for (const form of document.querySelectorAll("form.changes")) {
    if (!(form instanceof HTMLFormElement) || taken.has(form)) continue;
    taken.add(form);
    for (const b of form.querySelectorAll("button")) b.disabled = false;
    changes(form, () => document.dispatchEvent(new Event("booked")));
  }
}
take();
document.addEventListener("renewed", take);
