// What figure.js leaves to the pages of one damper: one keypad for all fields of a page (data-keypad-follows), "same as
// found" (data-fill), and one press of a button that sends one entry.

const keypad = document.querySelector("[data-keypad-follows]");
const fingers = matchMedia("(pointer: coarse)").matches;

/** Point the keypad at a field and mark the field, so that the eye sees where the next key goes. */
const follow = (input) => {
  for (const other of document.querySelectorAll("[data-keyed]")) delete other.dataset.keyed;
  keypad.dataset.keypad = input.id;
  input.dataset.keyed = "";
  if (fingers) input.inputMode = "none";
};

if (keypad) {
  const inputs = [...document.querySelectorAll(".reading input")];
  const first = inputs.find((input) => input.ariaInvalid === "true") ?? inputs.find((input) => !input.value) ?? inputs[0];
  if (first) follow(first);
  document.addEventListener("focusin", (event) => {
    if (event.target.matches(".reading input")) follow(event.target);
  });
}

for (const button of document.querySelectorAll("[data-fill]")) button.hidden = false;

document.addEventListener("click", (event) => {
  const { fill, value } = event.target.closest("[data-fill]")?.dataset ?? {};
  const input = document.getElementById(fill);
  if (!input) return;
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
});

// The server writes an entry once however often it comes; this only spares the second request.
document.addEventListener("submit", (event) => {
  if (event.defaultPrevented) return; // offline.js has kept it back
  if (event.target.dataset.sent !== undefined) event.preventDefault();
  event.target.dataset.sent = "";
});
addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});
