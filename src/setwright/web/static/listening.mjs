// What the microphone hears: every string a band as wide as its pitch is uncertain, over the slot it has to lie in.
import { devices, listen, processing, resumed, share, why } from "./ear.mjs";
import { sendForm } from "./sending.mjs";

const NS = "http://www.w3.org/2000/svg";
const LEFT = 17, WIDTH = 120, ROW = 8, TOP = 3, SOFT = 5, MOST = 300;
const TICKS = [2, 5, 10, 20, 50, 100, 200];
const root = document.getElementById("ear");
const $ = (id) => document.getElementById(id);
const token = () => root.querySelector("[name=token]").value;
const signed = (value, places) => { const text = value.toFixed(places); return (Number(text) > 0 ? "+" : "") + text.replace("-", "\u2212"); };
let marks = JSON.parse(root.dataset.marks);
let on = null;
let last = null;
let rows = [];
let wished = false; // somebody pressed Listen, and not Stop
let beginning = false;
const cut = resumed(() => begin(), () => wished && !on && !beginning);

const x = (cents) => {
  const near = Math.max(-MOST, Math.min(MOST, cents));
  return (LEFT + WIDTH) / 2 + ((WIDTH - LEFT) / 2 - 3) * Math.asinh(near / SOFT) / Math.asinh(MOST / SOFT);
};

function mark(kind, into, attributes, words) {
  const one = document.createElementNS(NS, kind);
  for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, typeof value === "number" ? String(Math.round(value * 100) / 100) : value);
  if (words !== undefined) one.textContent = words;
  into.append(one);
  return one;
}

function draw() {
  const count = marks.own.length, low = TOP + ROW * count;
  const svg = document.createElementNS(NS, "svg");
  svg.setAttribute("viewBox", `0 0 ${WIDTH} ${low + 8}`);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", "Strings as heard, cents from their own pitch");
  const slot = marks.tolerance;
  mark("rect", svg, { class: "slot", x: x(-slot), y: TOP - 2, width: x(slot) - x(-slot), height: low - TOP + 2 });
  mark("path", svg, { class: "line", d: `M${x(-MOST)} ${low} L${x(MOST)} ${low}` });
  for (const cents of [0, ...TICKS, ...TICKS.map((one) => -one)]) {
    mark("path", svg, { class: "line", d: `M${x(cents)} ${low} L${x(cents)} ${low + 1.5}` });
    if (![2, 5, 20, 100].includes(Math.abs(cents))) mark("text", svg, { x: x(cents), y: low + 6, "text-anchor": "middle" }, cents ? signed(cents, 0) : "0");
  }
  const before = rows;
  rows = marks.own.map((_, i) => {
    const group = mark("g", svg, { class: marks.peg === i + 1 ? "peg" : "" }), y = TOP + ROW * i;
    mark("text", group, { x: 0, y: y + ROW / 2 + 1.3 }, `${i + 1}  ${marks.names[i]}`);
    const band = mark("rect", group, { class: "band", x: 0, y: y + 1.2, width: 0, height: ROW - 2.4 });
    const known = before[i] ? before[i].known : null;
    if (marks.peg === i + 1 && marks.to) {
      const to = 1200 * Math.log2(marks.to / marks.own[i]);
      mark("path", group, { class: "to", d: `M${x(to)} ${y - 0.4} L${x(to)} ${y + ROW + 0.4}` });
    }
    return { group, band, known };
  });
  rows.forEach((row) => { if (row.known) place(row, row.known); });
  $("drawing").replaceChildren(svg);
}

function place(row, known) {
  row.known = known;
  let [a, b] = [x(known.cents - known.half), x(known.cents + known.half)];
  if (b - a < 0.5) [a, b] = [(a + b) / 2 - 0.25, (a + b) / 2 + 0.25];
  row.band.setAttribute("x", a.toFixed(2));
  row.band.setAttribute("width", (b - a).toFixed(2));
  row.group.classList.toggle("rests", known.rests);
}

function say(id, words) { if ($(id).textContent !== words) $(id).textContent = words; }

function level(said) {
  const share = Math.max(0, Math.min(100, 100 + said.level * 100 / 72));
  $("level").querySelector(".band").setAttribute("width", share.toFixed(1));
  const words = said.clipped ? "Too loud: the input is at its limit. Turn it down." : said.level < -66 ? "Hardly anything comes in." : `${said.level.toFixed(0).replace("-", "\u2212")} dB of full scale`;
  say("level-words", words);
  $("level").setAttribute("aria-label", `Level: ${words}`);
  $("level").classList.toggle("over", said.clipped);
}

function heard(said) {
  level(said);
  root.dataset.state = said.state;
  rows.forEach((row, i) => row.group.classList.toggle("sounds", said.string === i + 1 && said.hertz !== null && !said.doubt));
  const figures = on && on.figures;
  if (figures && figures.sent % 16 === 0) {
    say("latency", figures.times.length ? `${share(figures.times, 0.5).toFixed(0)} ms, half of the answers are sooner` : "not measured yet");
    root.dataset.latency = share(figures.times, 0.5);
    root.dataset.slow = share(figures.times, 0.95);
    root.dataset.sent = figures.sent;
    root.dataset.lost = figures.lost;
    say("blocks", `${figures.sent} sent at ${figures.rate / 1000} kHz, ${figures.lost ? `${figures.lost} lost` : "none lost"}`);
  }
  if (said.refused && said.hertz === null) say("heard-what", `${said.refused[0].toUpperCase()}${said.refused.slice(1)}.`);
  if (said.hertz === null) return;
  const known = said.string !== null && !said.doubt;
  $("write").disabled = !known;
  root.dataset.string = known ? said.string : "";
  root.dataset.hertz = said.hertz;
  root.dataset.half = said.half;
  root.dataset.ringing = said.ringing;
  const band = `\u00b1 ${said.half.toFixed(1)} c`;
  const huge = $("heard");
  if (!known) {
    say("heard-what", said.string === null ? `Which string it is cannot be told: ${said.doubt || "none stands there"}.` : `String ${said.string}, or not: ${said.doubt}.`);
    say("heard", `${said.hertz.toFixed(2)} Hz`);
    say("heard-now", band);
    huge.className = "huge";
    return;
  }
  place(rows[said.string - 1], said);
  const away = Math.abs(said.off);
  const peg = marks.peg === said.string;
  const size = `${away.toFixed(away < 10 ? 1 : 0)} c`;
  say("heard-what", `String ${said.string}, ${marks.names[said.string - 1]}`);
  if (said.rests) say("heard", peg ? "rests at its mark" : "inside its slot");
  else say("heard", peg ? `${said.off > 0 ? "up" : "down"} ${size}` : `${size} ${said.off > 0 ? "flat" : "sharp"}`);
  huge.className = `huge ${said.rests ? "rest" : peg ? "turn" : ""}`;
  say("heard-now", `Sounds ${signed(said.cents, 1)} ${band} from its own pitch, ${said.hertz.toFixed(2)} Hz${peg ? "; the mark is where it has to stand now" : ""}.`);
}

function wrong(words) {
  const place = $("ear-wrong");
  place.textContent = words;
  place.hidden = !words;
}

async function choices() {
  const chosen = $("device").value;
  const found = await devices();
  $("device").replaceChildren(new Option("the usual one", ""), ...found.filter((one) => one.label && one.deviceId !== "default").map((one) => new Option(one.label, one.deviceId)));
  $("device").value = [...$("device").options].some((one) => one.value === chosen) ? chosen : "";
}

async function begin() {
  wrong("");
  wished = true;
  $("listen").disabled = beginning = true;
  try {
    on = await listen({
      socket: root.dataset.ear, worklet: root.dataset.worklet, token: token(),
      device: $("device").value, heard,
      marks: (fresh) => { marks = fresh; draw(); },
      told: (track, rate) => {
        const still = processing(track);
        say("processing", still ? `${still}: could not be switched off` : `none; ${rate / 1000} kHz`);
        if (still) wrong(`The browser still changes the sound (${still}), so pitches and bands are not to be trusted; use another browser or input.`);
      },
      ended: (words, lost) => { on = null; cut(lost); root.dataset.state = ""; $("listen").textContent = "Listen"; $("listen").disabled = false; say("level-words", "Nothing comes in."); say("heard", "Not listening"); $("level").querySelector(".band").setAttribute("width", "0"); if (words) wrong(words); },
    });
    last = on.at;
    $("listen").textContent = "Stop";
    say("heard-what", "Play a string and let it ring.");
    say("heard", "Listening");
    await choices();
  } catch (error) { wrong(why(error)); }
  $("listen").disabled = beginning = false;
}

function written(said) {
  const form = document.createElement("form");
  Object.assign(form, { method: "post", action: said.back });
  form.append(root.querySelector("[name=token]").cloneNode(), Object.assign(document.createElement("button"), { className: "quiet", textContent: "Take it back" }));
  $("written").replaceChildren(Object.assign(document.createElement("p"), { textContent: said.said }), form);
}

async function write() {
  const form = new URLSearchParams({ token: token(), ear: last ? last.ear : "" });
  if ($("record").checked) form.set("record", "1");
  if ($("sure").checked) form.set("sure", "1");
  $("write").disabled = true;
  try {
    const answer = await fetch(root.dataset.note, { method: "POST", body: form });
    const said = await answer.json();
    wrong(said.wrong || "");
    $("meant").hidden = !said.ask;
    $("sure").checked = false;
    $("written").hidden = !said.said;
    if (said.said) written(said);
  } catch { wrong("The bench does not answer, so nothing was written; try again."); }
  $("write").disabled = false;
}

// what a phone records is made into wav here: the bench reads no m4a and no webm
function wav(sound) {
  const channels = Array.from({ length: sound.numberOfChannels }, (_, i) => sound.getChannelData(i));
  const energy = channels.map((one) => one.reduce((sum, value) => sum + value * value, 0));
  const samples = channels[energy.indexOf(Math.max(...energy))];
  const file = new DataView(new ArrayBuffer(44 + 4 * samples.length));
  const text = (at, words) => [...words].forEach((sign, i) => file.setUint8(at + i, sign.charCodeAt(0)));
  text(0, "RIFF"); file.setUint32(4, 36 + 4 * samples.length, true); text(8, "WAVEfmt ");
  file.setUint32(16, 16, true); file.setUint16(20, 3, true); file.setUint16(22, 1, true);
  file.setUint32(24, sound.sampleRate, true); file.setUint32(28, 4 * sound.sampleRate, true); file.setUint16(32, 4, true); file.setUint16(34, 32, true);
  text(36, "data"); file.setUint32(40, 4 * samples.length, true);
  new Float32Array(file.buffer, 44).set(samples);
  return file.buffer;
}

async function send(event) {
  const input = $("recording"), file = input.files[0];
  if (!file) return;
  event.preventDefault();
  if (/\.(m4a|mp4|webm|aac|3gp)$/i.test(file.name) && !(await decoded(input, file))) return;
  sendForm($("take"), $("sending"), takeWrong);
}

const takeWrong = (words) => { $("take-wrong").textContent = words; $("take-wrong").hidden = !words; };

async function decoded(input, file) {
  try {
    const sound = await new OfflineAudioContext(1, 1, 48000).decodeAudioData(await file.arrayBuffer());
    const made = new DataTransfer();
    made.items.add(new File([wav(sound)], `${file.name.replace(/\.\w+$/, "")}.wav`, { type: "audio/wav" }));
    input.files = made.files;
    return true;
  } catch {
    takeWrong(`${file.name} cannot be read by this browser; save it as wav and choose that.`);
    return false;
  }
}

root.hidden = false;
draw();
$("listen").addEventListener("click", () => { if (on) { wished = false; on.stop(); } else begin(); });
$("write").addEventListener("click", write);
$("device").addEventListener("change", async () => { try { sessionStorage.setItem("setwright input", $("device").value); } catch { /* not remembered */ } if (on) { on.stop(); await begin(); } });
$("take").addEventListener("submit", send);
document.addEventListener("setwright:change", (event) => { if (on) { event.preventDefault(); on.again(); } });
addEventListener("pagehide", () => { if (on) on.stop(); });
