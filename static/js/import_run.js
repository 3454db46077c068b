// A file at work (data-import) tells how far it has come; when its state is another, the page is opened anew. Without
// this the page says the same after "Look again".

const box = document.querySelector("[data-import]");
const PAUSE_MS = 700;

const look = async () => {
  let told;
  try {
    const response = await fetch(box.dataset.import);
    told = response.ok && !response.redirected ? await response.json() : undefined;
  } catch {
    told = undefined; // the shop does not answer just now; it is asked again
  }
  if (told && told.state !== box.dataset.state) {
    location.reload();
    return;
  }
  if (told) {
    box.querySelector("[data-words]").textContent = told.words;
    Object.assign(box.querySelector("progress"), { max: told.rows || 1, value: told.done });
  }
  setTimeout(look, PAUSE_MS);
};

if (box) setTimeout(look, PAUSE_MS);
