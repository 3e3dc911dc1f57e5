// @ts-check
// Puts the code of a one-time link into the form. It stands after the #, which
// browsers send to nobody, and is taken out of the address so that the history does
// not keep it.
const code = decodeURIComponent(location.hash.slice(1));
const field = /** @type {HTMLInputElement | null} */ (document.getElementById("code"));
if (code && field) {
  field.value = code;
  history.replaceState(null, "", location.pathname);
}
