// Check-in: a signature by finger, pen or mouse on a canvas (data-sign), kept as a picture in a hidden field
// (data-signature); and a word about photos that are too many bytes for one form (data-most-bytes).

const INK = "#1b2228";
const box = document.querySelector("[data-sign]");
const field = document.querySelector("[data-signature]");
const paper = document.querySelector("[name=on_paper]");

const sign = (canvas, clear) => {
  const pen = canvas.getContext("2d");
  let last;

  const size = () => {
    const { width, height } = canvas.getBoundingClientRect();
    canvas.width = Math.round(width * 2);
    canvas.height = Math.round(height * 2);
    pen.scale(2, 2);
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, width, height);
    Object.assign(pen, { lineWidth: 2.5, lineCap: "round", lineJoin: "round", strokeStyle: INK, fillStyle: INK });
    if (!field.value) return;
    const drawn = new Image();
    drawn.addEventListener("load", () => pen.drawImage(drawn, 0, 0, width, height));
    drawn.src = field.value;
  };
  const at = (event) => {
    const { left, top } = canvas.getBoundingClientRect();
    return [event.clientX - left, event.clientY - top];
  };

  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    last = at(event);
    pen.beginPath();
    pen.arc(...last, 1.25, 0, 2 * Math.PI);
    pen.fill();
    event.preventDefault();
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!last) return;
    for (const one of event.getCoalescedEvents?.() ?? [event]) {
      pen.beginPath();
      pen.moveTo(...last);
      last = at(one);
      pen.lineTo(...last);
      pen.stroke();
    }
  });
  const lift = () => {
    if (!last) return;
    last = undefined;
    field.value = canvas.toDataURL("image/png");
    if (paper) paper.checked = false;
  };
  canvas.addEventListener("pointerup", lift);
  canvas.addEventListener("pointercancel", lift);
  clear.addEventListener("click", () => {
    field.value = "";
    size();
  });
  size();
};

if (box && field) {
  box.hidden = false;
  sign(box.querySelector("canvas"), box.querySelector("[data-clear]"));
}

const form = document.querySelector("[data-most-bytes]");
const told = document.querySelector("[data-bytes]");

form?.addEventListener("change", (event) => {
  if (event.target.type !== "file") return;
  const inputs = [...form.querySelectorAll("input[type=file]")];
  const bytes = inputs.flatMap((one) => [...one.files]).reduce((sum, file) => sum + file.size, 0);
  const most = Number(form.dataset.mostBytes);
  const megabytes = (count) => Math.ceil(count / 1e6);
  told.textContent =
    bytes > most
      ? `The photos chosen here have ${megabytes(bytes)} MB; at most ${megabytes(most)} MB go over at once. Choose fewer, and add the others on the order's page afterwards.`
      : "";
});
