// Tells a page that what it shows was changed elsewhere, and when the bench does not answer.
// <body data-changes="/visit/ID/changes" data-reload="change|soon"> ; other modules listen to "setwright:change", to
// "setwright:back" (the bench answers again) and to "setwright:unsent" (a form was kept back, its bench does not answer).
const body = document.body;
const told = document.getElementById("told");
const AWAY = 3000, SLEPT = 5000, REACH = 4000; // ms
let typed = false;
document.addEventListener("input", () => { typed = true; });
let sure = () => false; // whether the bench was there a moment ago
for (const one of document.querySelectorAll("nav [aria-current]")) { // the open tab is in sight, on a phone too
  for (let box = one.parentElement; box !== body; box = box.parentElement) {
    box.scrollLeft += one.getBoundingClientRect().left - box.getBoundingClientRect().left - (box.clientWidth - one.offsetWidth) / 2;
  }
}
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
  let gone = false;
  let feed = null;
  const arrived = (event) => {
    clearTimeout(away);
    away = 0;
    if (gone) { gone = false; say(""); document.dispatchEvent(new CustomEvent("setwright:back")); }
    if (known === null || known === event.data) { known = event.data; return; }
    known = event.data;
    const heard = new CustomEvent("setwright:change", { cancelable: true });
    if (!document.dispatchEvent(heard)) return;
    if (body.dataset.reload && !typed && !leaving) { location.reload(); return; }
    say("This was changed at another bench.", "Show it as it is now");
  };
  const lost = () => {
    if (!away) away = setTimeout(() => { gone = true; say("The bench does not answer. What was kept is kept; this page tries again by itself."); }, AWAY);
    if (feed.readyState === EventSource.CLOSED) setTimeout(follow, AWAY); // a browser gives up after some answers
  };
  function follow() {
    if (feed) feed.close();
    feed = new EventSource(body.dataset.changes);
    feed.addEventListener("start", arrived);
    feed.addEventListener("change", arrived);
    feed.addEventListener("error", lost);
  }
  let hid = 0;
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) hid = Date.now();
    else if (hid && Date.now() - hid > SLEPT) follow(); // a line that slept may be dead without anybody having said so
  });
  document.addEventListener("resume", follow);
  addEventListener("online", follow);
  addEventListener("pageshow", (event) => { if (event.persisted) follow(); });
  addEventListener("pagehide", () => feed.close());
  sure = () => feed.readyState === EventSource.OPEN && !away && navigator.onLine;
  follow();
}
if (body.dataset.reload === "soon") setTimeout(() => { if (!typed && !leaving) location.reload(); }, 1200);

// Where it is not sure that the bench answers, it is asked before a form is sent: otherwise the browser would put its own
// page in the place of this one, and what was typed would be gone.
const through = new WeakSet();
let asking = false;
addEventListener("submit", async (event) => {
  const form = event.target, by = event.submitter;
  if (form.method !== "post" || through.delete(form) || sure()) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  if (asking) return;
  asking = true;
  try {
    await fetch(document.querySelector("link[rel=icon]").href, { cache: "no-store", signal: AbortSignal.timeout(REACH) });
    through.add(form);
    form.requestSubmit(by);
  } catch {
    leaving = false;
    say("The bench does not answer, so nothing was sent. What is typed here stays; send it again when the bench answers.");
    document.dispatchEvent(new CustomEvent("setwright:unsent"));
  }
  asking = false;
}, true);
