// The balance bench, live. The bench says once what comes of every place of the claw (bench/balance_along.py); a finger
// on the claw then moves the drawing, its bands and its numbers by that. Let go, and the bench works the place out itself.
const PER_TURN = 64; // pixels of the finger to a turn: an eighth is as wide as a fingertip's edge
const SNAP = 1 / 16, WAIT = 250, WORDS = 90; // turns; ms
const INCH = 0.0254, POUND = 4.4482216152605;
let line = null; // what the bench said
let made = ""; // what it was said for, the claw aside
let turns = 0; // of both screws beyond the place it was asked about
let shown = 0; // the same, of the drawing as it came from the bench
let waiting = 0, asked = 0, drawn = 0, told = 0, telling = 0;

const bench = () => document.getElementById("bench");
const find = (path) => bench().querySelector(path);
const place = (value) => String(Math.round(value * 100) / 100);
const pair = (text) => text.split(" ").map(Number);
const minus = (text) => text.replace("-", "\u2212");

// numbers as units/show.py prints them
function placesFor(half) {
  const [digits, power] = half.toExponential(1).split("e");
  return (("12".includes(digits[0]) && digits[2] !== "0") ? 1 : 0) - Number(power);
}
function digits(value, places) {
  const text = (Math.round(value * 10 ** places) / 10 ** places).toFixed(Math.max(places, 0));
  return /^-?[0.]*$/.test(text) ? text.replace("-", "") : minus(text);
}
const steps = (half, least) => Math.max(1, Math.ceil(Math.round((half / least) * 1e6) / 1e6)) * least;
const unled = (text) => text.replace(/^(\u2212?)0\./, "$1.");
function length(value, half) {
  if (!(half > 0)) return line.system === "inch" ? `${unled(digits(value / INCH, 3))} in` : `${digits(value * 1e3, 2)} mm`;
  if (line.system === "inch") {
    const wide = steps(half / INCH, 1e-3);
    const places = placesFor(wide);
    const use = places === 2 && wide < 0.1 ? 3 : places;
    return `${unled(digits(value / INCH, use))} \u00b1 ${unled(digits(wide, use))} in`;
  }
  const wide = steps(half * 1e3, 0.01);
  return `${digits(value * 1e3, placesFor(wide))} \u00b1 ${digits(wide, placesFor(wide))} mm`;
}
function cents(value, half) {
  if (value === null) return "slack";
  if (Math.abs(value) < 0.05 && half < 0.05) return "0 c";
  const wide = steps(half, 0.1), places = placesFor(wide);
  const text = digits(value, places);
  return `${value > 0 && !/^[0.]*$/.test(text) ? "+" : ""}${text} \u00b1 ${digits(wide, places)} c`;
}
function force(value, half) {
  const unit = line.system === "inch" ? POUND : 1;
  const wide = steps(half, 0.1) / unit, places = placesFor(wide);
  return `${digits(value / unit, places)} \u00b1 ${digits(wide, places)} ${line.system === "inch" ? "lbf" : "N"}`;
}
function moment(value, half) {
  const wide = Math.max(half, 0.01), places = Math.max(0, placesFor(wide));
  return `${value > 0 ? "+" : ""}${digits(value, places)} \u00b1 ${digits(wide, places)} N m`;
}
function turned(value) {
  const parts = Math.round(Math.abs(value) * 32);
  if (!parts) return "as it is";
  let over = parts % 32, under = 32;
  while (over && over % 2 === 0) { over /= 2; under /= 2; }
  const whole = Math.floor(parts / 32);
  const text = [whole || "", over ? `${over}/${under}` : ""].filter(Boolean).join(" ");
  return `${value > 0 ? "in" : "out"} ${text} ${parts > 32 ? "turns" : "turn"}`;
}

// between the places the bench was asked at
function pieceOf(at) {
  const all = line.turns;
  let low = 0, high = all.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (all[middle] <= at) low = middle; else high = middle;
  }
  return low;
}
function cubic(state, name, i, at) {
  const values = state.values[name], a = values[i], b = values[i + 1];
  if (a === null || b === null) return null;
  const step = Math.max(line.turns[i + 1] - line.turns[i], 1e-12);
  const u = Math.min(1, Math.max(0, (at - line.turns[i]) / step));
  const left = (state.left[name][i] ?? (b - a) / step) * step, right = (state.right[name][i] ?? (b - a) / step) * step;
  return a + u * (left + u * (3 * (b - a) - 2 * left - right + u * (2 * (a - b) + left + right)));
}
function straight(places, values, at) {
  let i = 0;
  while (i < places.length - 2 && places[i + 1] < at) i += 1;
  const u = Math.min(1, Math.max(0, (at - places[i]) / (places[i + 1] - places[i])));
  return values[i] + u * (values[i + 1] - values[i]);
}

const chosen = () => (find("input[name=state]:checked")?.value === "alone" && line.alone ? line.alone : line.retuned);

function tell(name, text) {
  const cell = find(`[data-q="${name}"]`);
  if (cell && cell.textContent !== text) cell.textContent = text;
}

// one frame: the drawing moves in each, words are written anew as often as they can be read
function draw() {
  drawn = 0;
  const bridge = find(".bridge");
  if (!line || !bridge) return;
  const { state, value, half } = here();
  tip(bridge, value("tilt"), turns - shown);
  gap(bridge, value("gap"), half("gap"));
  bars();
  const due = told + WORDS - performance.now();
  if (due <= 0) write(state, value, half);
  else if (!telling) telling = setTimeout(() => { telling = 0; if (line && find(".bridge")) { const now = here(); write(now.state, now.value, now.half); } }, due);
}
function here() {
  const i = pieceOf(turns), state = chosen();
  const value = (name, of = state) => cubic(of, name, i, turns);
  const half = (name, of = state) => straight(line.band_turns, of.halves[name], turns);
  return { state, value, half };
}
function write(state, value, half) {
  told = performance.now();
  const i = pieceOf(turns), nearer = turns - line.turns[i] > line.turns[i + 1] - turns ? i + 1 : i;
  const end = turns >= line.room[1] - 1e-6 ? line.ends[1] : turns <= line.room[0] + 1e-6 ? line.ends[0] : "";
  find(".said").textContent = end || line.said[state.rests[nearer]];
  const total = line.base[0] + turns, other = line.base[1] + turns;
  find(".amount").textContent = Math.abs(total - other) < 1 / 64 ? `Claw ${turned(total)}` : `Claw: treble ${turned(total)}, bass ${turned(other)}`;
  tell("gap", length(value("gap"), half("gap")));
  tell("gap then", length(value("gap", line.retuned), half("gap", line.retuned)));
  const grip = find(".claw");
  grip.setAttribute("aria-valuenow", turns.toFixed(3));
  grip.setAttribute("aria-valuetext", `${find(".amount").textContent}, rear gap ${length(value("gap"), half("gap"))}`);
  find("#share").textContent = "";
  strings(state, value, half);
  pulls(value, half);
}

function tip(bridge, tilt, at) {
  const d = bridge.dataset, px = Number(d.px), py = Number(d.py);
  const angle = -(tilt - Number(d.tilt)) * Number(d.way);
  bridge.querySelector(".plate").setAttribute("transform", `rotate(${(angle * 180 / Math.PI).toFixed(4)} ${px} ${py})`);
  const cos = Math.cos(angle), sin = Math.sin(angle);
  const turn = ([x, y]) => [px + (x - px) * cos - (y - py) * sin, py + (x - px) * sin + (y - py) * cos];
  for (const cord of bridge.querySelectorAll(".cords path")) {
    const [a, b] = pair(cord.dataset.nut), [x, y] = turn(pair(cord.dataset.saddle));
    cord.setAttribute("d", `M${place(a)} ${place(b)} L${x.toFixed(3)} ${y.toFixed(3)}`);
  }
  const dx = at * Number(d.turnX), dy = at * Number(d.turnY);
  bridge.querySelector(".claw").setAttribute("transform", `translate(${dx.toFixed(3)} ${dy.toFixed(3)})`);
  const spring = bridge.querySelector(".spring"), [cx, cy] = pair(spring.dataset.claw);
  spring.setAttribute("d", coil([cx + dx, cy + dy], turn(pair(spring.dataset.hook)), Number(spring.dataset.half)));
}
function coil(claw, hook, half) {
  const dx = hook[0] - claw[0], dy = hook[1] - claw[1], long = Math.hypot(dx, dy), ux = dx / long, uy = dy / long;
  const points = [claw];
  for (let n = 0; n <= 13; n += 1) {
    const share = 0.15 + 0.7 * n / 13, off = half * (n % 2 ? 1 : -1);
    points.push([claw[0] + share * dx - off * uy, claw[1] + share * dy + off * ux]);
  }
  return "M" + [...points, hook].map(([x, y]) => `${place(x)} ${place(y)}`).join(" L");
}
function gap(bridge, value, half) {
  const box = bridge.querySelector(".gap"), band = box.querySelector(".band"), slot = box.querySelector(".slot");
  const zero = Number(box.dataset.zero), per = Number(box.dataset.per), tall = Math.max(2 * per * half, 0.35);
  const middle = Math.max(Math.min(zero - per * value, zero), zero - Number(box.dataset.tall));
  band.setAttribute("y", place(middle - tall / 2));
  band.setAttribute("height", place(tall));
  if (!slot) return;
  const top = Number(slot.getAttribute("y")), low = top + Number(slot.getAttribute("height"));
  const rests = middle - tall / 2 >= top && middle + tall / 2 <= low;
  box.classList.toggle("rests", rests);
  find("[data-q=gap]").classList.toggle("rest", rests);
}
function strings(state, value, half) {
  for (let s = 1; state.values[`up ${s}`]; s += 1) {
    if (line.alone) tell(`off ${s}`, cents(value(`cents ${s}`, line.alone), half(`cents ${s}`, line.alone)));
    tell(`up ${s}`, cents(value(`up ${s}`), half(`up ${s}`)));
    const down = value(`down ${s}`);
    tell(`down ${s}`, down === null ? "slack" : cents(down, half(`down ${s}`)));
  }
}
function bars() {
  const box = line.alone ? find(".pitches") : null;
  if (!box) return;
  const { value, half } = here();
  box.querySelectorAll(".band").forEach((band, i) => bar(box.dataset, band, value(`cents ${i + 1}`, line.alone), half(`cents ${i + 1}`, line.alone)));
}
function bar(d, band, off, wide) {
  const left = Number(d.left), soft = Number(d.soft), most = Number(d.most), width = Number(d.width);
  const x = (c) => (left + width) / 2 + ((width - left) / 2 - 5) * Math.asinh(Math.max(-most, Math.min(most, c)) / soft) / Math.asinh(most / soft);
  const a = off === null ? x(-most) : x(off - wide), b = off === null ? a : x(off + wide), spare = Math.max(0.5 - (b - a), 0) / 2;
  band.setAttribute("x", place(a - spare));
  band.setAttribute("width", place(b - a + 2 * spare));
}
function pulls(value, half) {
  if (!find(".why").open) return;
  const box = find(".moments"), zero = Number(box.dataset.zero), per = Number(box.dataset.per), row = Number(box.dataset.row);
  const paths = [...box.querySelectorAll(".moment")], doubts = [...box.querySelectorAll(".doubt")];
  const names = [...bench().querySelectorAll("[data-q^='moment ']")].map((cell) => cell.dataset.q.slice(7));
  let total = 0;
  names.filter((name) => name !== "stop").forEach((name, i) => {
    const m = value(`moment ${name}`), wide = half(`moment ${name}`), f = value(`force ${name}`);
    const start = zero + per * total, end = zero + per * (total + m), y = 8 + row * i;
    total += m;
    const back = end - Math.sign(end - start) * Math.min(2, Math.abs(end - start));
    paths[i].setAttribute("d", `M${place(start)} ${y} L${place(end)} ${y} M${place(back)} ${y - 1.3} L${place(end)} ${y} L${place(back)} ${y + 1.3}`);
    doubts[i].setAttribute("x", place(end - per * wide));
    doubts[i].setAttribute("width", place(2 * per * wide));
    tell(`moment ${name}`, moment(m, wide));
    tell(`force ${name}`, force(f, half(`force ${name}`)));
    tell(`arm ${name}`, "");
  });
  const x = zero + per * total, y = 8 + row * paths.length;
  box.querySelector(".left").setAttribute("d", `M${place(x)} ${y - 3} L${place(x)} ${y + 3}`);
  tell("moment stop", moment(value("contact"), half("contact")));
}

function show(at) {
  turns = Math.max(line.turns[0], Math.min(line.turns[line.turns.length - 1], at));
  if (!drawn) drawn = requestAnimationFrame(draw);
}

// the claw in the hand
function grip() {
  const claw = find(".claw");
  if (!claw) return;
  for (const [name, text] of Object.entries({ tabindex: "0", role: "slider", "aria-label": "Both claw screws, turns in" })) claw.setAttribute(name, text);
  claw.closest("svg").setAttribute("role", "group"); // a picture may hold nothing that can be moved
  claw.setAttribute("aria-valuenow", "0");
  let from = null;
  claw.addEventListener("pointerdown", (event) => {
    if (!line || event.button) return;
    event.preventDefault();
    claw.setPointerCapture(event.pointerId);
    claw.focus({ preventScroll: true });
    claw.classList.add("held");
    clearTimeout(waiting);
    from = { x: event.clientX, turns };
  });
  claw.addEventListener("pointermove", (event) => {
    if (!from) return;
    const way = Number(find(".bridge").dataset.way);
    show(from.turns - way * (event.clientX - from.x) / PER_TURN);
  });
  const let_go = () => {
    if (!from) return;
    from = null;
    claw.classList.remove("held");
    settle(0);
  };
  claw.addEventListener("pointerup", let_go);
  claw.addEventListener("pointercancel", let_go);
  claw.addEventListener("keydown", (event) => {
    const way = Number(find(".bridge").dataset.way);
    const by = { ArrowLeft: way * SNAP, ArrowRight: -way * SNAP, ArrowUp: SNAP, ArrowDown: -SNAP, PageUp: 1, PageDown: -1 }[event.key];
    const end = { Home: line && line.turns[0], End: line && line.turns[line.turns.length - 1] }[event.key];
    if (!line || (by === undefined && end === undefined)) return;
    event.preventDefault();
    show(end ?? turns + by);
    settle(WAIT);
  });
}

// to the nearest turn a hand sets, and the bench itself is asked
function settle(wait) {
  clearTimeout(waiting);
  waiting = setTimeout(() => {
    const field = document.getElementById("claw");
    const treble = number(document.getElementById("claw_treble").value);
    show(Math.round((line.base[0] + turns) / SNAP) * SNAP - line.base[0]);
    if (treble !== null) field.value = signed(line.base[0] - treble + turns);
    ask();
  }, wait);
}
function number(text) {
  const found = /^\s*([+\-\u2212]?)\s*(?:(\d+(?:\.\d+)?)(?!\s*\/))?\s*(?:(\d+)\s*\/\s*(\d+))?\s*$/.exec(text);
  if (!found) return null;
  return (found[1] && found[1] !== "+" ? -1 : 1) * (Number(found[2] || 0) + (found[3] ? found[3] / found[4] : 0));
}
function signed(value) {
  const text = turned(value);
  return text === "as it is" ? "" : `${value > 0 ? "+" : "-"}${text.replace(/^(in|out) | turns?$/g, "")}`;
}

function query(submitter) {
  const form = document.getElementById("try");
  const given = new URLSearchParams([...new FormData(form)].filter(([, text]) => text));
  if (submitter && submitter.name) given.set(submitter.name, submitter.value);
  return given;
}
// what everything but the claw depends on: as long as that stays, what the bench said holds
function beside() {
  const given = query();
  for (const name of ["claw", "nudge", "state"]) given.delete(name);
  return given.toString();
}
function standing() {
  const both = number(document.getElementById("claw").value), treble = number(document.getElementById("claw_treble").value);
  return line && both !== null && treble !== null ? both + treble - line.base[0] : NaN;
}
async function ask(submitter) {
  const mine = (asked += 1);
  const address = new URL(document.getElementById("try").action);
  address.search = query(submitter);
  let answer = null;
  try { answer = await fetch(address); } catch { return; } // the bench does not answer: the head of the page says so
  const text = await answer.text();
  if (mine !== asked || find(".claw.held")) return;
  const fresh = new DOMParser().parseFromString(text, "text/html").getElementById("bench");
  if (!fresh) { location.assign(address); return; }
  const open = new Map([...bench().querySelectorAll("details[data-keep]")].map((one) => [one.dataset.keep, one.open]));
  const focus = document.activeElement && bench().contains(document.activeElement) ? document.activeElement : null;
  const at = focus && (focus.id ? `#${CSS.escape(focus.id)}` : focus.matches(".claw") ? ".claw" : focus.value ? `[value="${CSS.escape(focus.value)}"]` : "");
  bench().replaceWith(fresh);
  for (const one of fresh.querySelectorAll("details[data-keep]")) one.open = one.open || open.get(one.dataset.keep);
  history.replaceState(null, "", address);
  ready();
  if (at) fresh.querySelector(at)?.focus({ preventScroll: true });
  await along();
}
// asked again only where something else than the claw was changed, or the claw has gone nearly as far as was asked about
async function along() {
  const place = standing(), last = line ? line.turns.length - 1 : 0;
  if (line && made === beside() && place > line.turns[0] + 0.5 && place < line.turns[last] - 0.5) {
    turns = shown = place;
    live();
    return;
  }
  const mine = asked, asking = beside();
  const address = new URL(bench().dataset.along, location.href);
  address.search = query();
  line = null;
  find("#off").textContent = "The bench is working out what every place of the claw would do; a moment.";
  try {
    const answer = await fetch(address);
    const said = answer.ok ? await answer.json() : null;
    if (mine !== asked) return;
    if (!said) { find("#off").textContent = ""; return; }
    [line, made, turns, shown] = [said, asking, 0, 0];
  } catch { find("#off").textContent = ""; return; }
  live();
}
function live() {
  const state = chosen(), worst = Math.max(state.off.gap, line.retuned.off.gap) * 1e3;
  const c = Math.max(line.alone ? line.alone.off.cents : 0, state.off.up);
  find("#off").textContent = `While it moves, gap and pitches are within ${Math.max(worst, 0.001).toFixed(3)} mm and ${Math.max(c, 0.01).toFixed(2)} c of the model; let go, and the model answers itself.`;
  const claw = find(".claw");
  claw.setAttribute("aria-valuemin", line.turns[0].toFixed(2));
  claw.setAttribute("aria-valuemax", line.turns[line.turns.length - 1].toFixed(2));
  claw.setAttribute("aria-valuenow", turns.toFixed(3));
  claw.setAttribute("aria-valuetext", `${find(".amount").textContent}, rear gap ${find("[data-q=gap]").textContent}`);
  bench().dataset.live = "yes";
}
function ready() {
  grip();
  const form = document.getElementById("try");
  form.addEventListener("change", () => ask());
  form.addEventListener("submit", (event) => { event.preventDefault(); ask(event.submitter); });
}
ready();
along();
