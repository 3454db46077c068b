// Scans and taps without opening the page anew: the field keeps the focus, one scan follows the other, and each answer
// is said in words. Without this module every scan and every tap is a form that is sent.

const scan = document.querySelector("form[data-scan]");
const take = document.querySelector("form[data-take]");
const said = document.querySelector("[data-said]");
const last = document.querySelector("[data-last]");
const aloud = document.querySelector("[data-aloud]");
const field = scan?.querySelector("[name=code]");
const voice = aloud?.querySelector("input");
const VOICE = "picks-aloud";
let turn = Promise.resolve();

const say = (words, refused) => {
  said.textContent = words;
  said.toggleAttribute("data-refused", refused);
  if (!voice?.checked) return;
  speechSynthesis.cancel();
  speechSynthesis.speak(new SpeechSynthesisUtterance(words));
};

/** Put the rows of an answer in the place of those on the page, folded or not as they were. */
const show = (answer) => {
  for (const [part, html] of Object.entries(answer.rows ?? {})) {
    const old = [...document.querySelectorAll("[data-row]")].find((row) => row.dataset.row === part);
    const holder = document.createElement("table");
    holder.innerHTML = html;
    const row = holder.querySelector("tbody");
    if (old) {
      const open = old.querySelector("details")?.open;
      row.querySelector("details").open = open;
      old.replaceWith(row);
    } else document.querySelector(".picks")?.append(row);
  }
  for (const part of answer.gone ?? []) {
    [...document.querySelectorAll("[data-row]")].find((row) => row.dataset.row === part)?.remove();
  }
  if (last && answer.last !== undefined) last.innerHTML = answer.last;
};

/** The page of one order is short: it is asked for whole, and only its main part is taken. */
const again = async (address) => {
  const response = await fetch(address);
  const page = new DOMParser().parseFromString(await response.text(), "text/html");
  const fresh = page.querySelector("[data-again]");
  if (response.ok && fresh) document.querySelector("[data-again]").replaceWith(fresh);
};

const send = async (form, data, lost) => {
  let answer;
  try {
    const response = await fetch(form.action, { method: "POST", body: data, headers: { Accept: "application/json" } });
    answer = response.redirected ? undefined : await response.json();
  } catch {
    answer = undefined;
  }
  if (!answer) {
    say(`No answer from the shop: ${lost}. Look whether you are connected, then do it again.`, true);
    return;
  }
  show(answer);
  if (answer.again) await again(answer.again);
  say(answer.said, answer.refused);
  if (scan) scan.elements.request_key.value = answer.request_key;
};

scan?.addEventListener("submit", (event) => {
  event.preventDefault();
  const code = field.value;
  field.value = "";
  field.focus();
  // One after the other: a quick scanner does not overtake its own last scan, and each goes under a key of its own.
  turn = turn.then(() => {
    const data = new FormData(scan);
    data.set("code", code);
    return send(scan, data, `${code.trim() || "the scan"} was not noted`);
  });
});

take?.addEventListener("submit", (event) => {
  if (!event.submitter?.name) return;
  event.preventDefault();
  const data = new FormData(take, event.submitter);
  const place = event.submitter.closest("[data-row]")?.dataset.row;
  turn = turn.then(async () => {
    await send(take, data, "nothing was noted");
    // The button is gone with its row: the next one of that row is where the hand was.
    const row = [...document.querySelectorAll("[data-row]")].find((one) => one.dataset.row === place);
    (row?.querySelector("button") ?? field)?.focus({ preventScroll: true });
  });
});

// What is typed while nothing has the focus is a scan.
document.addEventListener("keydown", (event) => {
  if (field && document.activeElement === document.body && event.key.length === 1 && !event.ctrlKey && !event.metaKey) {
    field.focus();
  }
});

if (voice && "speechSynthesis" in window) {
  aloud.hidden = false;
  voice.checked = localStorage.getItem(VOICE) === "yes";
  voice.addEventListener("change", () => {
    localStorage.setItem(VOICE, voice.checked ? "yes" : "no");
    field.focus();
  });
}
field?.focus({ preventScroll: true });
