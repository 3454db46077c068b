// Booking: the proposed bench day follows the dampers and the day of arrival, and the promise follows the proposal until
// somebody types another. data-follows: with what the names of the fields begin that a proposal hangs on. Without this
// module a button asks for it.

const PAUSE = 250; // milliseconds after the last tick

for (const form of document.querySelectorAll("[data-proposals]")) {
  const promise = [0, 1].map((part) => form.querySelector(`[name="promised_for_${part}"]`));
  const begins = form.dataset.follows.split(" ");
  const follows = (name) => Boolean(name) && begins.some((word) => name.startsWith(word));
  const shown = form.querySelector("[data-proposal]")?.dataset ?? {};
  const typed = promise.some((field, part) => field?.value && field.value !== [shown.day, shown.clock][part]);
  let own = typed || promise.some((field) => !field) || form.dataset.proposals.includes("?");
  let timer;
  let asked = 0;

  // Gone, not hidden: Enter in a field presses a form's first button, also one that nobody sees.
  for (const button of form.querySelectorAll("[data-without-script]")) button.remove();

  const ask = async () => {
    const mine = ++asked;
    const address = new URL(form.dataset.proposals, location.href);
    for (const [name, value] of new FormData(form)) if (follows(name)) address.searchParams.append(name, value);
    try {
      const answer = await fetch(address);
      if (mine !== asked || !answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[data-proposal]");
      const there = form.querySelector("[data-proposal]");
      if (!fresh || !there || mine !== asked) return;
      there.replaceWith(fresh);
      if (!own && fresh.dataset.day) [promise[0].value, promise[1].value] = [fresh.dataset.day, fresh.dataset.clock];
    } catch {
      // The shop cannot be reached: what stands there stays, and the server asks again when it is sent.
    }
  };

  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(ask, PAUSE);
  };

  form.addEventListener("input", (event) => {
    if (promise.includes(event.target)) own = true;
    if (follows(event.target.name)) later();
  });
  form.addEventListener("shown", later); // other fields stand there now
}
