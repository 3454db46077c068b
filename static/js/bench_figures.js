// Bench calculators: works the figures out while somebody types. Without this module the button does, and the address
// holds the figures either way.

const PAUSE = 250; // milliseconds after the last key

const form = document.querySelector("[data-live-figures]");
const result = document.querySelector("[data-result]");
const stale = document.querySelector("[data-stale]");
let timer;
let asking;

/** Errors stand beside their fields; those that are mended go. */
const mark = (part) => {
  for (const place of form.querySelectorAll("[data-errors]")) {
    const told = part.querySelector(`[data-errors="${place.dataset.errors}"]`);
    place.replaceChildren(...(told?.childNodes ?? []));
    const input = form.elements[place.dataset.errors];
    const errors = place.querySelector("[id]");
    const help = document.getElementById(`${input.id}_helptext`);
    input.toggleAttribute("aria-invalid", Boolean(errors));
    if (errors) input.setAttribute("aria-invalid", "true");
    const described = [help?.id, errors?.id].filter(Boolean).join(" ");
    if (described) input.setAttribute("aria-describedby", described);
    else input.removeAttribute("aria-describedby");
  }
};

const ask = async () => {
  asking?.abort();
  asking = new AbortController();
  const { signal } = asking;
  const address = `${location.pathname}?${new URLSearchParams(new FormData(form))}`;
  try {
    const answer = await fetch(`${address}&part=result`, { signal });
    if (!answer.ok || answer.redirected) throw new Error("no answer");
    const part = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (signal.aborted) return;
    result.replaceChildren(...part.querySelector("[data-result]").childNodes);
    mark(part);
    history.replaceState(null, "", address);
    stale.hidden = true;
    result.ariaBusy = "false";
  } catch (error) {
    if (error.name === "AbortError") return;
    stale.hidden = false; // and the old result stays pale
  }
};

form?.addEventListener("input", () => {
  result.ariaBusy = "true";
  clearTimeout(timer);
  timer = setTimeout(ask, PAUSE);
});
