// A table of text cells: Enter goes down, Ctrl or Alt with an arrow goes to the next cell that way, and lines copied
// from a spreadsheet fill the cells from the one that has the focus. Without this module it is a form like any other.

const table = document.querySelector("[data-table]");
const told = document.querySelector("[data-pasted]");
const cells = new Map();
let lastRow = 0;
let lastColumn = 0;

for (const cell of table?.querySelectorAll("[data-row]") ?? []) {
  const { row, col } = cell.dataset;
  cells.set(`${row} ${col}`, cell);
  lastRow = Math.max(lastRow, Number(row));
  lastColumn = Math.max(lastColumn, Number(col));
}

/** The nearest cell that can be typed into, that way. */
const next = (cell, down, right) => {
  let row = Number(cell.dataset.row) + down;
  let column = Number(cell.dataset.col) + right;
  while (row >= 0 && row <= lastRow && column >= 0 && column <= lastColumn) {
    const found = cells.get(`${row} ${column}`);
    if (found) return found;
    row += down;
    column += right;
  }
  return undefined;
};

const go = (cell) => {
  if (!cell) return;
  cell.focus();
  cell.select();
  cell.scrollIntoView({ block: "nearest", inline: "nearest" });
};

const WAYS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

table?.addEventListener("keydown", (event) => {
  const cell = event.target.closest("[data-row]");
  if (!cell || event.isComposing) return;
  if (event.key === "Enter") {
    event.preventDefault(); // would send the form
    go(next(cell, event.shiftKey ? -1 : 1, 0));
  } else if (WAYS[event.key] && (event.ctrlKey || event.altKey)) {
    event.preventDefault();
    go(next(cell, ...WAYS[event.key]));
  }
});

const count = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;

table?.addEventListener("paste", (event) => {
  const cell = event.target.closest("[data-row]");
  const text = event.clipboardData.getData("text/plain").replace(/\r\n?/g, "\n").replace(/\n$/, "");
  if (!cell || !/[\t\n]/.test(text)) return; // one word goes where the cursor stands
  event.preventDefault();
  let filled = 0;
  let left = 0;
  const [top, first] = [Number(cell.dataset.row), Number(cell.dataset.col)];
  for (const [down, line] of text.split("\n").entries()) {
    for (const [right, value] of line.split("\t").entries()) {
      const place = cells.get(`${top + down} ${first + right}`);
      if (place) {
        place.value = value.trim();
        place.dispatchEvent(new Event("input", { bubbles: true }));
        filled += 1;
      } else if (value.trim()) left += 1;
    }
  }
  told.textContent = `${count(filled, "cell")} filled.${left ? ` ${count(left, "value")} found no cell: ask for more empty rows, or paste further to the left.` : ""}`;
});
