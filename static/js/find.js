// The one box as a combobox with a list, after the ARIA Authoring Practices: the box keeps the focus, the arrows go
// through what is found, Enter opens it or, with none chosen, leads to the page of all; Escape closes the list, once
// more empties the box. Asked is after a pause in the typing; an answer to what stands there no more is dropped.

const form = document.querySelector("[data-find]");
const box = form?.querySelector("input[type=search]");
const options = document.getElementById("find-options");
const status = document.getElementById("find-status");
const PAUSE_MS = 180;
let timer;
let asking;
let asked = "";
let chosen = -1;

const list = () => [...options.querySelectorAll("[role=option]")];

const choose = (place) => {
  const all = list();
  chosen = place;
  for (const [at, option] of all.entries()) option.setAttribute("aria-selected", String(at === place));
  if (place < 0) box.removeAttribute("aria-activedescendant");
  else {
    box.setAttribute("aria-activedescendant", all[place].id);
    all[place].scrollIntoView({ block: "nearest" });
  }
};

const close = () => {
  choose(-1);
  options.hidden = true;
  box.setAttribute("aria-expanded", "false");
};

const drop = () => {
  clearTimeout(timer);
  asking?.abort();
};

const show = () => {
  options.hidden = false;
  box.setAttribute("aria-expanded", String(list().length > 0));
};

const ask = async () => {
  const text = box.value.trim();
  asking = new AbortController();
  const { signal } = asking;
  let answer;
  try {
    const response = await fetch(`${form.dataset.find}?${new URLSearchParams({ q: text })}`, { signal });
    if (response.ok && !response.redirected) answer = await response.text();
  } catch {
    // No connection, or a newer question: Enter still leads to the page.
  }
  if (signal.aborted || text !== box.value.trim()) return;
  asked = text;
  if (answer === undefined) {
    close();
    status.textContent = "No answer from the shop. Enter asks again.";
    return;
  }
  options.innerHTML = answer;
  choose(-1);
  show();
  status.textContent = options.firstElementChild.dataset.said;
};

const typed = () => {
  drop();
  close();
  status.textContent = "";
  if (box.value.trim().length > 1) timer = setTimeout(ask, PAUSE_MS);
};

const keys = {
  ArrowDown: () => {
    const all = list();
    if (options.hidden) {
      if (asked && asked === box.value.trim() && all.length) show();
      else if (box.value.trim()) ask();
    }
    if (!options.hidden && all.length) choose((chosen + 1) % all.length);
  },
  ArrowUp: () => {
    const all = list();
    if (!options.hidden && all.length) choose(chosen > 0 ? chosen - 1 : all.length - 1);
  },
  Enter: (event) => {
    if (chosen < 0) return true;
    event.preventDefault();
    location.assign(list()[chosen].dataset.url);
    return true;
  },
  Escape: (event) => {
    drop();
    if (options.hidden) return true; // the browser empties the box
    event.preventDefault();
    close();
    return true;
  },
};

if (form) {
  for (const [name, value] of Object.entries({
    role: "combobox",
    "aria-autocomplete": "list",
    "aria-expanded": "false",
    "aria-controls": "find-options",
  }))
    box.setAttribute(name, value);
  box.addEventListener("input", typed);
  box.addEventListener("keydown", (event) => {
    if (event.isComposing || event.ctrlKey || event.altKey || event.metaKey) return;
    if (keys[event.key] && !keys[event.key](event)) event.preventDefault();
  });
  box.addEventListener("blur", () => {
    drop();
    close();
  });
  // The focus stays in the box while the mouse is on an option.
  options.addEventListener("mousedown", (event) => event.preventDefault());
  options.addEventListener("click", (event) => {
    const option = event.target.closest("[role=option]");
    if (option) location.assign(option.dataset.url);
  });
  form.addEventListener("submit", drop);
}
