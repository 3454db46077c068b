// What to charge to today (data-today) follows the bench temperature while it is typed. The server computes it; until it
// has answered nothing stands there, so that no target of another temperature is ever aimed at.

const box = document.querySelector("[data-today]");
const bench = document.querySelector("[name=bench_temperature]");
const reading = document.querySelector("[name=entered]");
const verdict = document.querySelector(`[data-verdict="${reading?.id}"]`);
const PAUSE_MS = 300;
let timer;
let asked = 0;

/** Judge the reading by the limits that stand in the box, by none when none do. */
const judge = () => {
  const { low = "", high = "" } = box.querySelector("[data-low]")?.dataset ?? {};
  if (!verdict) return;
  Object.assign(verdict.dataset, { low, high });
  reading.dispatchEvent(new Event("input", { bubbles: true }));
};

const say = (text) => {
  const line = document.createElement("p");
  line.textContent = text;
  box.replaceChildren(line);
};

const ask = async () => {
  const mine = ++asked;
  if (!bench.value.trim()) {
    say("Type the bench temperature: here stands then what to aim at today.");
    return;
  }
  let answer;
  try {
    const response = await fetch(`${box.dataset.today}?${new URLSearchParams({ bench_temperature: bench.value })}`);
    answer = response.ok && !response.redirected ? await response.text() : undefined;
  } catch {
    answer = undefined;
  }
  if (mine !== asked) return;
  if (answer === undefined) say("No answer from the shop. Press Save: the range for this bench is judged there.");
  else box.innerHTML = answer;
  judge();
};

if (box && bench) {
  // It would be the button that Enter presses.
  document.querySelector("[data-today-button]")?.remove();
  bench.addEventListener("input", () => {
    asked += 1;
    clearTimeout(timer);
    say("…");
    judge();
    timer = setTimeout(ask, PAUSE_MS);
  });
  if (bench.value && !box.querySelector("[data-low]")) ask();
}
