// Without a connection the browser would leave the page for one of its own, and what was typed with it. So the page
// stays and says why. The server writes an entry once however often it comes.

const notice = document.querySelector("[data-offline]");

const say = (offline) => {
  if (!notice) return;
  notice.hidden = !offline;
  if (offline) notice.scrollIntoView({ block: "nearest" });
};

// In the capturing phase: before any other module takes the entry for sent.
document.addEventListener(
  "submit",
  (event) => {
    if (!navigator.onLine) event.preventDefault();
    say(!navigator.onLine);
  },
  { capture: true },
);
addEventListener("online", () => say(false));
