// While somebody new is booked: who may be in the book already, and the corners of the vehicle, follow what is typed.
// Without this module the buttons of the page do the same.

const form = document.querySelector("[data-book-new]");
const PAUSE_MS = 300;

/** Fill the place with what the address answers to these fields, a pause after the last change. */
const follow = (place, address, names, enough) => {
  let timer;
  let asked = 0;
  const ask = async () => {
    const mine = ++asked;
    const given = new FormData(form);
    const query = new URLSearchParams([...names].map((name) => [name, given.get(name) ?? ""]));
    try {
      const response = await fetch(`${address}?${query}`);
      if (mine !== asked || !response.ok || response.redirected) return;
      place.innerHTML = await response.text();
      place.dispatchEvent(new CustomEvent("shown", { bubbles: true }));
    } catch {
      // No connection: the service asks again when the page is sent.
    }
  };
  form.addEventListener("input", (event) => {
    if (!names.includes(event.target.name) || !enough()) return;
    clearTimeout(timer);
    asked += 1;
    timer = setTimeout(ask, PAUSE_MS);
  });
};

const value = (name) => form.elements[name]?.value.trim() ?? "";

if (form) {
  for (const one of form.querySelectorAll("[data-without-script]")) one.remove();
  if (!value("taken"))
    follow(document.getElementById("twins"), form.dataset.twins, ["name", "phone", "email", "vin"], () =>
      ["name", "phone", "email"].some((name) => value(name).length > 3),
    );
  follow(document.getElementById("corners"), form.dataset.corners, ["taken", "vehicle", "model", "model_year"], () => true);
}
