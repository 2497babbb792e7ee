// The peg at hand, live. show(cents, sd): the string sounds so many cents from its own pitch, known to sd (one standard
// uncertainty); null when nothing is heard. The drawing is that of sheets/rest.py, of which this is the moving part.
const NS = "http://www.w3.org/2000/svg";
const WIDTH = 120, HALF = 54, HEAD = 22, FOOT = 56, LEAST = 0.35, BAND = 1.96;
const REACHES = [10, 25, 60, 150, 400, 1200, 4800];
const STEPS = [2, 5, 10, 20, 50, 100, 200, 500, 1000];
const figure = document.getElementById("pitch");
const lean = figure && figure.querySelector(".lean");
const now = document.getElementById("now");
const amount = document.getElementById("amount");
const to = lean ? Number(lean.dataset.to) : 0;
const footHalf = lean ? Number(lean.dataset.foot) : 0;
const tolerance = lean ? Number(lean.dataset.tolerance) : 0;
const middle = to / 2;
let reach = 0;

// What is listened for, or null where the step is none of tuning.
export const peg = lean ? { string: Number(figure.dataset.string), own: Number(figure.dataset.own), to, tolerance } : null;

const place = (value) => String(Math.round(value * 100) / 100);
const signed = (value, places) => value.toFixed(places).replace("-", "\u2212").replace(/^(?=[1-9]|0\.\d*[1-9])/, "+");
const x = (cents) => WIDTH / 2 + HALF * Math.max(-1, Math.min(1, (cents - middle) / reach));

function reachOf(cents) {
  const far = Math.max(Math.abs(cents - middle) + Math.abs(to), 4 * tolerance);
  const fits = REACHES.find((one) => far <= 0.92 * one) || REACHES[REACHES.length - 1];
  return reach && fits < reach && far > 0.6 * fits ? reach : fits; // no wavering between two rules
}

function ticks() {
  const step = STEPS.find((one) => reach / one <= 5.01) || 1000;
  const group = lean.querySelector(".marks");
  const marks = [];
  const ink = lean.querySelector(".right").getAttribute("stroke");
  for (let n = Math.ceil((middle - reach) / step); n <= Math.floor((middle + reach) / step); n += 1) {
    const at = place(x(n * step));
    for (const y of [HEAD, FOOT]) {
      const mark = document.createElementNS(NS, "path");
      for (const [name, value] of Object.entries({ d: `M${at} ${y} L${at} ${y + 2}`, stroke: ink, "stroke-width": "0.18", fill: "none" })) mark.setAttribute(name, value);
      marks.push(mark);
    }
    if (n % 2 && step === 1000) continue; // thousands stand on each other where all are told
    const words = document.createElementNS(NS, "text");
    for (const [name, value] of Object.entries({ x: at, y: FOOT + 10, "font-size": "3.6", "text-anchor": "middle" })) words.setAttribute(name, value);
    words.textContent = n ? signed(n * step, 0) : "0";
    marks.push(words);
  }
  group.replaceChildren(...marks);
}

function wide(a, b) {
  const least = Math.max(LEAST - (b - a), 0) / 2;
  return [a - least, b + least];
}

function rule() {
  const slot = lean.querySelector(".slot");
  slot.setAttribute("x", place(x(-tolerance)));
  slot.setAttribute("width", place(x(tolerance) - x(-tolerance)));
  lean.querySelector(".right").setAttribute("d", `M${place(x(to))} ${HEAD - 6} L${place(x(to))} ${HEAD} L${place(x(0))} ${FOOT}`);
  ticks();
}

export function show(cents, sd) {
  if (!lean) return null;
  const string = lean.querySelector(".string");
  const line = lean.querySelector(".middle");
  if (cents === null || !Number.isFinite(cents)) {
    string.setAttribute("opacity", "0.35");
    line.setAttribute("opacity", "0.35");
    if (now) now.textContent = "Nothing is heard.";
    return null;
  }
  const half = Math.max(BAND * (Number.isFinite(sd) ? sd : 0), 0.1);
  const fits = reachOf(cents);
  if (fits !== reach) { reach = fits; rule(); }
  const foot = Math.hypot(half, footHalf);
  const end = cents - to;
  const [a, b] = wide(x(cents - half), x(cents + half));
  const [c, d] = wide(x(end - foot), x(end + foot));
  const points = [[a, HEAD - 4], [b, HEAD - 4], [b, HEAD], [d, FOOT], [d, FOOT + 3], [c, FOOT + 3], [c, FOOT], [a, HEAD]];
  string.setAttribute("d", `M${points.map(([px, py]) => `${place(px)} ${place(py)}`).join(" L")} Z`);
  line.setAttribute("d", `M${place(x(cents))} ${HEAD - 4} L${place(x(cents))} ${HEAD} L${place(x(end))} ${FOOT}`);
  string.removeAttribute("opacity");
  line.removeAttribute("opacity");
  const rests = Math.abs(end) + half <= tolerance;
  const off = to - cents;
  lean.classList.toggle("rests", rests);
  if (amount) {
    amount.classList.toggle("rest", rests);
    amount.classList.toggle("turn", !rests);
    amount.textContent = rests ? `String ${peg.string} rests at its mark` : `String ${peg.string} ${off > 0 ? "up" : "down"} ${Math.abs(off).toFixed(Math.abs(off) < 10 ? 1 : 0)} c`;
  }
  if (now) now.textContent = `Sounds ${signed(cents, 1)} \u00b1 ${half.toFixed(1)} c from its own pitch.`;
  return { rests, off, half };
}

for (const form of document.querySelectorAll("form.did")) {
  form.addEventListener("submit", () => setTimeout(() => { for (const one of form.querySelectorAll("button")) one.disabled = true; }));
}
addEventListener("pageshow", () => { for (const one of document.querySelectorAll("form.did button")) one.disabled = false; });
