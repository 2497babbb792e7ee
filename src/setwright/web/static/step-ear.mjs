// The microphone at the step at hand: the peg is drawn as it sounds, fields of strings are filled as they are heard, and
// when the string rests at its mark, or all strings are heard, the step is sent by itself where that is wished.
import { listen, processing, resumed, why } from "./ear.mjs";
import { peg, show } from "./step.mjs";

const RESTS = 1.0, RINGS = 1.2; // s
const FINE = 1.0, FINEST = 0.2; // cents: half of a band that is narrow enough, and the least uncertainty that is told
const WIDE = 1.96;
const root = document.getElementById("ear-here");
const $ = (id) => document.getElementById(id);
const kept = (name, value) => { try { if (value === undefined) return sessionStorage.getItem(name); sessionStorage.setItem(name, value); } catch { /* nothing is remembered */ } return null; };
const spots = new Map([...document.querySelectorAll("input[data-words]")].map((one) => [Number((/^pitch string (\d+)$/.exec(one.dataset.words) || [])[1]), one]).filter(([string]) => string));
const needed = (one) => !one.closest("#offered");
const folded = document.querySelector("#offered:has(#ear-here)"); // nothing is heard into fields that nobody sees
const heardField = document.querySelector("form.did input[name^='heard ']");
let on = null;
let since = null;
let sent = false;
let beginning = false;
const cut = resumed(() => begin(), () => !on && !beginning && (!folded || folded.open) && kept("setwright listens") === "1");

// What is kept is where the string settles once its glide is over; what is drawn is where it is now.
const sd = (said) => Math.max(said.settled_half / WIDE, FINEST);
const pitch = (said) => `${said.settled.toFixed(3)} Hz \u00b1 ${sd(said).toFixed(2)} c`;
const cents = (said) => `${said.settled_cents.toFixed(1)} c \u00b1 ${sd(said).toFixed(1)} c`;
function say(words) { if ($("ear-says").textContent !== words) $("ear-says").textContent = words; }
function wrong(words) { $("ear-wrong").textContent = words; $("ear-wrong").hidden = !words; }

// As if it had been typed: the page is then not loaded again over it.
function fill(field, text) {
  field.value = text;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}

function send(form) {
  if (!$("onward")?.checked || sent || !form) return;
  sent = true;
  form.requestSubmit();
}

function tune(said) {
  if (said.string !== peg.string) {
    since = null;
    say(`String ${said.string} is heard; play string ${peg.string}.`);
    return;
  }
  const drawn = show(1200 * Math.log2(said.hertz / peg.own), said.half / WIDE);
  say("");
  if (!drawn || !drawn.rests || said.state !== "ringing") { since = null; return; }
  if (since === null) since = said.time;
  if (said.time - since < RESTS || !heardField || said.settled === null) return;
  fill(heardField, pitch(said));
  send(heardField.form);
}

function read(said) {
  const field = spots.get(said.string);
  if (!field || (folded && !folded.open)) { say(`String ${said.string} is heard; it is not asked for.`); return; }
  if (said.state !== "ringing" || said.ringing < RINGS || said.settled === null || said.settled_half > FINE) { say(`String ${said.string}: let it ring.`); return; }
  fill(field, cents(said));
  const left = [...spots].filter(([, one]) => needed(one) && !one.value).map(([string]) => string);
  const asked = [...field.form.querySelectorAll("input[data-words]")].filter(needed);
  say(left.length ? `String ${said.string} is heard. Still to play: ${left.join(", ")}.` : spots.size && [...spots.values()].some(needed) ? "All are heard." : `String ${said.string} is heard.`);
  if (!left.length && needed(field) && asked.every((one) => one.value)) send(field.form);
}

function heard(said) {
  root.dataset.string = said.string ?? "";
  if (said.clipped) say("Too loud: turn the input down.");
  if (said.hertz === null || said.string === null) return;
  if (said.doubt) { say(`String ${said.string}, or not: ${said.doubt}.`); return; }
  if (peg) tune(said);
  else read(said);
}

async function begin() {
  wrong("");
  $("listen").disabled = beginning = true;
  try {
    on = await listen({
      socket: root.dataset.ear, worklet: root.dataset.worklet, token: document.querySelector("[name=token]").value, device: kept("setwright input") || "",
      heard, marks: () => {},
      told: (track) => { const still = processing(track); if (still) wrong(`The browser still changes the sound (${still}), so pitches are not to be trusted; use another browser or input.`); },
      ended: (words, lost) => { on = null; since = null; $("listen").textContent = "Listen"; if (words) wrong(words); cut(lost); },
    });
    $("listen").textContent = "Stop";
    kept("setwright listens", "1");
    say(peg ? `Play string ${peg.string}.` : "Play the strings one after another, and let each ring.");
  } catch (error) {
    wrong(why(error));
    if (error.name === "CutError") kept("setwright listens", "1");
  }
  $("listen").disabled = beginning = false;
}

if (peg || spots.size) {
  root.hidden = false;
  const onward = $("onward");
  if (onward) {
    onward.checked = kept("setwright onward") === "1";
    onward.addEventListener("change", () => kept("setwright onward", onward.checked ? "1" : ""));
  }
  $("listen").addEventListener("click", () => { if (on) { kept("setwright listens", ""); on.stop(); } else begin(); });
  document.addEventListener("setwright:unsent", () => { sent = false; since = null; });
  addEventListener("pagehide", () => { if (on) on.stop(); });
  const go = () => { if (kept("setwright listens") === "1" && !on && !beginning && (!folded || folded.open)) begin(); };
  if (folded) folded.addEventListener("toggle", go);
  go();
}
