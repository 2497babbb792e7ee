// A large file on its way to the bench: how much of it is there, and a button that calls it off. With scripts off the
// browser sends the same form by itself.
const MEGA = 1e6;
const size = (bytes) => `${(bytes / MEGA).toFixed(bytes < 10 * MEGA ? 1 : 0)} MB`;

// form: with one file; box: what shows the progress, with a progress, a [data-sent] for words and a button.
export function sendForm(form, box, wrong) {
  const bar = box.querySelector("progress"), words = box.querySelector("[data-sent]"), stop = box.querySelector("button");
  const way = new XMLHttpRequest();
  const over = (text) => {
    box.hidden = true;
    for (const one of form.querySelectorAll("button")) one.disabled = false;
    wrong(text);
  };
  wrong("");
  box.hidden = false;
  for (const one of form.querySelectorAll("button")) one.disabled = one !== stop;
  bar.removeAttribute("value");
  words.textContent = "Being sent.";
  way.upload.addEventListener("progress", (event) => {
    if (!event.lengthComputable) return;
    bar.value = event.loaded / event.total;
    words.textContent = event.loaded < event.total ? `${size(event.loaded)} of ${size(event.total)} sent.` : "Sent; the bench looks at it.";
  });
  way.addEventListener("load", () => {
    if (way.status < 300) { location.assign(way.responseURL); return; }
    const answer = new DOMParser().parseFromString(way.responseText, "text/html");
    const told = answer.querySelector("main .wrong:not([hidden])") || answer.querySelector("main h1");
    over(told ? told.textContent : "The bench did not take it; send it again.");
  });
  way.addEventListener("error", () => over("The bench does not answer, so nothing was sent. Send it again when it does."));
  way.addEventListener("abort", () => over("Called off; nothing was kept."));
  stop.onclick = () => way.abort();
  addEventListener("pagehide", () => way.abort(), { once: true });
  way.open("POST", form.action);
  way.send(new FormData(form));
}
