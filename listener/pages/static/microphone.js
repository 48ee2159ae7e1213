// The microphone: opened, watched, and opened again when it comes back after it was lost.

const SILENT_MS = 2500;
const AGAIN_MS = 2000;

const REASONS = {
  NotAllowedError: "The browser does not allow the microphone here. Allow it beside the address, then try again.",
  NotFoundError: "No microphone was found. Plug one in; it is taken as soon as it is there.",
  NotReadableError: "The microphone is used by another program, or the system withholds it.",
  OverconstrainedError: "The microphone that was chosen is not there. Choose another.",
};

/**
 * Gives blocks of Int16 at 16 kHz to `onblock`; tells `onstate("open" | "lost" | "closed", why)`.
 * `echo`: the sound of this machine's own loudspeaker is taken out, as far as the browser can.
 */
export class Microphone {
  constructor({ onblock, onstate }) {
    this.onblock = onblock;
    this.onstate = onstate;
    this.wanted = false;
    this.last = 0;
    navigator.mediaDevices?.addEventListener("devicechange", () => this.wanted && !this.stream && this.open());
    setInterval(() => this.watch(), 500);
  }

  get isOpen() {
    return Boolean(this.stream);
  }

  async start(device, echo) {
    if (this.wanted && this.device === device && this.echo === echo && this.stream) return;
    this.release();
    this.wanted = true;
    this.device = device;
    this.echo = echo;
    await this.open();
  }

  stop() {
    this.wanted = false;
    this.release();
    this.onstate("closed", "");
  }

  async open() {
    if (this.opening) return;
    this.opening = true;
    try {
      if (!navigator.mediaDevices) throw new DOMException("", "NotFoundError");
      const stream = await navigator.mediaDevices.getUserMedia({
        audio: {
          deviceId: this.device ? { exact: this.device } : undefined,
          channelCount: 1,
          echoCancellation: Boolean(this.echo),
          noiseSuppression: false,
          autoGainControl: false,
        },
      });
      await this.listen(stream);
      if (!this.wanted) this.release();
      else this.onstate("open", "");
    } catch (error) {
      this.release();
      this.onstate("lost", REASONS[error.name] ?? "The microphone cannot be opened.");
      if (this.wanted && error.name !== "NotAllowedError") this.later();
    } finally {
      this.opening = false;
    }
  }

  async listen(stream) {
    this.stream = stream;
    const track = stream.getAudioTracks()[0];
    track.addEventListener("ended", () => this.lost("The microphone was unplugged or taken away."));
    let source;
    try {
      this.context = new AudioContext({ sampleRate: 16000, latencyHint: "interactive" });
      source = this.context.createMediaStreamSource(stream);
    } catch {
      // Some browsers cannot bring a microphone to another rate themselves.
      this.context?.close();
      this.context = new AudioContext();
      source = this.context.createMediaStreamSource(stream);
    }
    await this.context.audioWorklet.addModule("/static/capture.js");
    this.node = new AudioWorkletNode(this.context, "capture", { numberOfOutputs: 0, channelCount: 1 });
    this.node.port.onmessage = ({ data }) => {
      this.last = performance.now();
      this.onblock(new Int16Array(data));
    };
    source.connect(this.node);
    this.last = performance.now();
    if (this.context.state === "suspended") this.context.resume();
  }

  /** Sound that stops coming without a word: a suspended machine, a sleeping device, a context put to rest. */
  watch() {
    if (!this.stream || performance.now() - this.last < SILENT_MS) return;
    if (this.context.state !== "running") {
      this.context.resume();
      this.last = performance.now();
      this.onstate("lost", "The browser holds the microphone back. Press any key or touch the page.");
      this.onceTouched();
      return;
    }
    this.lost("The microphone gives no sound. Is it plugged in?");
  }

  onceTouched() {
    const again = () => {
      this.context?.resume().then(() => this.stream && this.onstate("open", ""));
    };
    for (const kind of ["keydown", "pointerdown"]) addEventListener(kind, again, { once: true });
  }

  lost(why) {
    this.release();
    this.onstate("lost", why);
    if (this.wanted) this.later();
  }

  later() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.wanted && !this.stream && this.open(), AGAIN_MS);
  }

  release() {
    clearTimeout(this.timer);
    this.node?.port.postMessage("stop");
    this.node?.disconnect();
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    if (this.context && this.context.state !== "closed") this.context.close();
    this.stream = this.node = this.context = undefined;
  }
}

/** How loud a block is, 0 to 1 of full scale. */
export function peakOf(block) {
  let peak = 0;
  for (const sample of block) peak = Math.max(peak, Math.abs(sample));
  return peak / 32768;
}
