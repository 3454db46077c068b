// Entering a sheet: what a tolerance allows stands below it while it is typed. The server reads it; without this module
// it is shown after saving.

const PAUSE = 300; // milliseconds after the last key

for (const part of document.querySelectorAll("[data-figure]")) {
  const { figure: measure, limits } = part.dataset;
  const place = part.querySelector("[data-allowed]");
  const field = (name) => part.querySelector(`[name="${measure}${name}"]`).value;
  let timer;
  let asked = 0;

  const ask = async () => {
    const mine = ++asked;
    const typed = { measure, value: field(""), unit: field("_unit"), tolerance: field("_tolerance") };
    try {
      const answer = await fetch(`${limits}?${new URLSearchParams(typed)}`);
      if (mine !== asked) return;
      place.textContent = answer.ok && !answer.redirected ? await answer.text() : "";
    } catch {
      if (mine === asked) place.textContent = "";
    }
  };

  part.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, PAUSE);
  });
}
