// Tells a page that what it shows was changed elsewhere, and when the bench does not answer.
// <body data-changes="/visit/ID/changes" data-reload="change|soon"> ; other modules listen to "setwright:change".
const body = document.body;
const told = document.getElementById("told");
let typed = false;
document.addEventListener("input", () => { typed = true; });
let leaving = false; // on the way to another page: it must not be loaded again then
document.addEventListener("click", (event) => { if (event.target.closest("a[href], button")) leaving = true; });
document.addEventListener("submit", () => { leaving = true; });

function say(words, link) {
  told.replaceChildren(words);
  if (link) {
    const again = document.createElement("a");
    again.href = location.href;
    again.textContent = link;
    told.append(" ", again);
  }
  told.hidden = !words;
}

if (body.dataset.changes && window.EventSource) {
  let known = null;
  let away = 0;
  const feed = new EventSource(body.dataset.changes);
  const arrived = (event) => {
    if (away) { clearTimeout(away); away = 0; say(""); }
    if (known === null || known === event.data) { known = event.data; return; }
    known = event.data;
    const heard = new CustomEvent("setwright:change", { cancelable: true });
    if (!document.dispatchEvent(heard)) return;
    if (body.dataset.reload && !typed && !leaving) { location.reload(); return; }
    say("This was changed at another bench.", "Show it as it is now");
  };
  feed.addEventListener("start", arrived);
  feed.addEventListener("change", arrived);
  feed.addEventListener("error", () => {
    if (!away) away = setTimeout(() => say("The bench does not answer. What was kept is kept; this page tries again by itself."), 3000);
  });
  addEventListener("pagehide", () => feed.close());
}
if (body.dataset.reload === "soon") setTimeout(() => { if (!typed && !leaving) location.reload(); }, 1200);
