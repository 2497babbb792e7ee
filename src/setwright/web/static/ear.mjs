// The microphone: blocks of sound go to the bench over a socket, what is heard comes back.
// listen({ socket, worklet, token, device, heard, marks, ended, told }) -> { stop, again, figures, ear }
// ended(words, lost): lost where the line was cut and may be taken up again.
const OFF = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const WORDS = { echoCancellation: "echo cancellation", noiseSuppression: "noise suppression", autoGainControl: "gain control" };
const TIMES = 2000; // latencies that are kept
const SILENT = "The bench does not answer, so nothing is heard. Listening begins again by itself when it does.";
const CUT = [1001, 1006, 1012]; // RFC 6455: going away, cut off, started again
const SOON = 1000; // ms

// Takes listening up again after the line was cut: a moment later, or as soon as the bench answers again. Returns what is
// to be called when it ended.
export function resumed(begin, wished) {
  document.addEventListener("setwright:back", () => { if (wished()) begin(); });
  return (lost) => { if (lost) setTimeout(() => { if (wished()) begin(); }, SOON); };
}

export function why(error) {
  const words = {
    NotAllowedError: "The browser does not give the microphone to this page; allow it beside the address, then press Listen.",
    NotFoundError: "No microphone or input is there; plug one in, then press Listen.",
    NotReadableError: "The input is in use by another program; close that, then press Listen.",
    CutError: SILENT,
    OverconstrainedError: "This input is not there any more; choose another, then press Listen.",
  };
  return words[error.name] || `The microphone cannot be used: ${error.message}`;
}

export async function devices() {
  if (!navigator.mediaDevices) return [];
  return (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "audioinput");
}

// What the browser still does to the sound although it was asked not to, in words; "" where it does nothing.
export function processing(track) {
  const set = track.getSettings();
  return Object.keys(OFF).filter((one) => set[one]).map((one) => WORDS[one]).join(", ");
}

function opened(address) {
  return new Promise((done, failed) => {
    const socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    socket.onopen = () => done(socket);
    socket.onerror = () => failed(Object.assign(new Error("the bench does not answer"), { name: "CutError" }));
  });
}

export async function listen({ socket, worklet, token, device, heard, marks, ended, told }) {
  if (!navigator.mediaDevices || !window.AudioWorkletNode) {
    throw new Error("browsers give it only over https, or at the machine the bench runs on.");
  }
  const audio = { ...OFF, channelCount: 1 };
  if (device) audio.deviceId = { exact: device };
  const stream = await navigator.mediaDevices.getUserMedia({ audio });
  const track = stream.getAudioTracks()[0];
  const context = new AudioContext({ latencyHint: "interactive" });
  const figures = { times: [], sent: 0, lost: 0, rate: context.sampleRate };
  const when = new Map();
  const at = { ear: "" };
  let line = null;
  let over = false;
  const stop = (words = "", lost = false) => {
    if (over) return;
    over = true;
    track.stop();
    context.close();
    if (line) line.close();
    ended(words, lost);
  };
  try {
    await context.audioWorklet.addModule(worklet);
    await Promise.race([context.resume(), new Promise((done) => setTimeout(done, 1000))]);
    if (context.state !== "running") throw new Error("press Listen to begin again."); // no page may begin without a touch
    line = await opened(new URL(socket, location.href.replace(/^http/, "ws")));
  } catch (error) { track.stop(); context.close(); throw error; }
  line.send(token);
  line.onmessage = (event) => {
    const said = JSON.parse(event.data);
    if (said.ear) at.ear = said.ear;
    if (said.marks) marks(said.marks);
    if (said.n === undefined) return;
    figures.lost = said.lost;
    const sent = when.get(said.n - 1);
    for (const number of when.keys()) if (number < said.n) when.delete(number);
    requestAnimationFrame(() => {
      heard(said);
      if (sent === undefined) return;
      figures.times.push(performance.now() - sent);
      if (figures.times.length > TIMES) figures.times.shift();
    });
  };
  line.onclose = (event) => stop(event.reason || (event.wasClean ? "" : SILENT), CUT.includes(event.code));
  track.onended = () => stop("The input was unplugged or taken away; press Listen to begin again.");
  told(track, context.sampleRate);
  const node = new AudioWorkletNode(context, "ear", { numberOfInputs: 1, numberOfOutputs: 0, channelCount: 1, channelCountMode: "clamped-max" });
  node.port.onmessage = ({ data }) => {
    if (line.readyState !== WebSocket.OPEN) return;
    const block = new ArrayBuffer(8 + data.samples.byteLength);
    const head = new DataView(block);
    head.setUint32(0, data.number, true);
    head.setFloat32(4, context.sampleRate, true);
    new Float32Array(block, 8).set(data.samples);
    when.set(data.number, performance.now());
    line.send(block);
    figures.sent += 1;
  };
  context.createMediaStreamSource(stream).connect(node);
  return { stop, figures, at, again: () => { if (line.readyState === WebSocket.OPEN) line.send("again"); } };
}

// The value that so large a share of the values lies under.
export function share(values, part) {
  const order = [...values].sort((a, b) => a - b);
  return order.length ? order[Math.min(Math.floor(part * order.length), order.length - 1)] : NaN;
}
