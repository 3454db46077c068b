// A delivery: a scanner (or hands) types a number and Enter, and one more piece or container of that line came. Without
// this module the numbers are typed into the lines.

const form = document.querySelector("[data-delivery]");
const scanner = document.querySelector("[data-scanner]");

if (form && scanner) {
  const field = scanner.querySelector("input");
  const told = scanner.querySelector("[role=status]");
  const rows = [...form.querySelectorAll("[data-numbers]")];
  const units = (row) => row.querySelector("[data-units]");
  scanner.hidden = false;

  // A scanner ends the delivery note with Enter: on to the parts, not off to the shelf.
  form.querySelector("[data-note] input").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    field.focus();
  });

  const count = (typed) => {
    const number = typed.trim().toLowerCase();
    const named = (row) => row.dataset.numbers.toLowerCase().split("\n").includes(number);
    const found = rows.filter(named);
    const row = found.find((one) => Number(units(one).value || 0) < Number(one.dataset.toCome)) ?? found[0];
    if (!row) return `“${typed.trim()}” is on no line of this order. Look at the number, or enter it under Stock.`;
    units(row).value = Number(units(row).value || 0) + 1;
    const over = Number(units(row).value) > Number(row.dataset.toCome);
    return `${units(row).value} of ${row.dataset.toCome}: ${row.dataset.name}${over ? ". That is more than is still to come." : ""}`;
  };

  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    if (field.value.trim()) told.textContent = count(field.value);
    field.value = "";
  });

  const all = form.querySelector("[data-all-came]");
  all.hidden = false;
  all.addEventListener("click", () => {
    for (const row of rows) units(row).value = row.dataset.toCome;
    told.textContent = "Every line is filled with what is still to come. Change what differs.";
  });
}
