// Steppers (data-step), keypads (data-keypad) and the verdict (data-verdict) on the figure in one input.
// Steppers and keypads stand hidden in the page and are shown here; without this module people type into the input.

const plain = (text) => text.trim().replace(",", ".");

const decimals = (text) => (text.split(".")[1] || "").length;

/** The figure after one press of a stepper, free of float noise; an empty input takes `start` first. */
const stepped = (value, step, start) => {
  const from = plain(value) || plain(start) || "0";
  if (Number.isNaN(Number(from))) return value;
  const first = !plain(value) && plain(start);
  return (first ? Number(from) : Number(from) + Number(step)).toFixed(Math.max(decimals(from), decimals(step)));
};

/** The text after one key; a second decimal point changes nothing. */
const keyed = (value, key) => {
  if (key === "delete") return value.slice(0, -1);
  if (key !== ".") return value + key;
  return /[.,]/.test(value) ? value : (value || "0") + ".";
};

/** Say whether the figure lies in the allowed range. A help for the eye: what is recorded, the server decides. */
const judge = (input) => {
  const verdict = document.querySelector(`[data-verdict="${input.id}"]`);
  if (!verdict) return;
  const figure = plain(input.value);
  // "18 N·m" and "1/4" are read by the server alone; without limits there is nothing to judge by.
  if (!verdict.dataset.low || (figure && Number.isNaN(Number(figure)))) {
    verdict.textContent = "";
    return;
  }
  const inside = Number(figure) >= Number(verdict.dataset.low) && Number(figure) <= Number(verdict.dataset.high);
  verdict.className = `verdict state state--${inside ? "ok" : "refused"}`;
  verdict.textContent = figure === "" ? "" : `${inside ? "within" : "outside"} the allowed range`;
};

/** Show the steppers and keypads under root, judge the figures already there that the server has not refused. */
export const ready = (root) => {
  for (const control of root.querySelectorAll("[data-step], [data-keypad]")) {
    control.hidden = false;
    // The keypad stands in for the tablet's own keyboard, which would cover half of the page.
    const input = document.getElementById(control.dataset.keypad);
    if (input && matchMedia("(pointer: coarse)").matches) input.inputMode = "none";
  }
  for (const verdict of root.querySelectorAll("[data-verdict]")) {
    const input = document.getElementById(verdict.dataset.verdict);
    if (input && input.ariaInvalid !== "true") judge(input);
  }
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-step], [data-key]");
  const input = document.getElementById(button?.dataset.for || button?.closest("[data-keypad]")?.dataset.keypad);
  if (!input) return;
  const { step, start = "", key } = button.dataset;
  input.value = step ? stepped(input.value, step, start) : keyed(input.value, key);
  input.dispatchEvent(new Event("input", { bubbles: true }));
});

document.addEventListener("input", (event) => judge(event.target));

ready(document);
