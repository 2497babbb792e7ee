// Before any page of a test: the microphone hears what the test plays. The browser is asked for its own input first, as
// always; in the place of its sound comes that of `strum`, over the same track, clock and socket a real one takes.
(() => {
  if (!navigator.mediaDevices) return;
  const RATE = 48000, HUSH = 0.05; // Hz, s
  const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
  let room = null;
  let last = null;
  navigator.mediaDevices.getUserMedia = async (wish) => {
    (await real(wish)).getTracks().forEach((one) => one.stop());
    const context = new AudioContext({ sampleRate: RATE });
    const out = context.createMediaStreamDestination();
    const noise = context.createBuffer(1, RATE, RATE); // a room is never silent: 1e-4 of full scale
    const samples = noise.getChannelData(0);
    for (let i = 0; i < samples.length; i += 1) samples[i] = 2e-4 * (Math.random() - 0.5);
    const hiss = context.createBufferSource();
    Object.assign(hiss, { buffer: noise, loop: true });
    hiss.connect(out);
    hiss.start();
    await context.resume();
    room = { context, out };
    return out.stream;
  };
  window.hush = () => {
    if (!last) return;
    last.loud.gain.setTargetAtTime(0, room.context.currentTime, HUSH / 3);
    last.source.stop(room.context.currentTime + 3 * HUSH);
    last = null;
  };
  window.strum = (coded) => {
    window.hush();
    const whole = new Int16Array(Uint8Array.from(atob(coded), (one) => one.charCodeAt(0)).buffer);
    const buffer = room.context.createBuffer(1, whole.length, RATE);
    buffer.getChannelData(0).set(Float32Array.from(whole, (one) => one / 32768));
    const source = room.context.createBufferSource();
    const loud = room.context.createGain();
    source.buffer = buffer;
    source.connect(loud).connect(room.out);
    source.start();
    last = { source, loud };
  };
  window.listens = () => room !== null && room.context.state === "running";
})();
