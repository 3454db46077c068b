// Enter goes to the next place instead of sending the page, as one counts along the shelf; the last one goes to the button.
for (const form of document.querySelectorAll("[data-take]")) {
  const fields = [...form.querySelectorAll("input:not([type=hidden])")];
  fields[0]?.focus();
  form.addEventListener("keydown", (event) => {
    const place = fields.indexOf(event.target);
    if (event.key !== "Enter" || place < 0) return;
    event.preventDefault();
    (fields[place + 1] ?? form.querySelector("button[type=submit]")).focus();
  });
}
