// Copies a link (data-copy-from) at a press of its button (data-copy), and says so in data-copied.

const from = document.querySelector("[data-copy-from]");
const button = document.querySelector("[data-copy]");
const said = document.querySelector("[data-copied]");

if (from && button) {
  button.hidden = false;
  from.addEventListener("focus", () => from.select());
  button.addEventListener("click", async () => {
    from.select();
    try {
      await navigator.clipboard.writeText(from.value);
      said.textContent = "Copied.";
    } catch {
      said.textContent = "It is marked: copy it by the keyboard.";
    }
  });
}
