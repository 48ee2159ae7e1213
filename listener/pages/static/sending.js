// The socket of the page, and the sound that goes through it: every sample once, whatever breaks in between.

import { socketAddress } from "/static/asking.js";

const AT_ONCE = 512 * 1024;
const LONGEST_WAIT_MS = 4000;
const MOST_HELD = 16000 * 60 * 20;

/** A connection that is made again when it breaks. Calls `onmessage` for each message, `onstate(open)`. */
export class Line {
  constructor(path, { onmessage, onstate }) {
    this.path = path;
    this.onmessage = onmessage;
    this.onstate = onstate;
    this.tries = 0;
    this.connect();
  }

  get isOpen() {
    return this.socket?.readyState === WebSocket.OPEN;
  }

  connect() {
    this.socket = new WebSocket(socketAddress(this.path));
    this.socket.binaryType = "arraybuffer";
    this.socket.addEventListener("open", () => {
      this.tries = 0;
      this.onstate(true);
    });
    this.socket.addEventListener("message", ({ data }) => {
      for (const message of JSON.parse(data)) this.onmessage(message);
    });
    this.socket.addEventListener("close", () => {
      this.onstate(false);
      this.tries += 1;
      setTimeout(() => this.connect(), Math.min(LONGEST_WAIT_MS, 150 * 2 ** this.tries));
    });
  }

  /** Sends a request; false when there is no connection. */
  send(message) {
    if (!this.isOpen) return false;
    this.socket.send(JSON.stringify(message));
    return true;
  }
}

/** The sound of this page: held until the server says that it was taken. */
export class Take {
  constructor(line) {
    this.line = line;
    this.name = crypto.randomUUID();
    this.total = 0;
    this.held = [];
    this.next = 0;
    this.claimed = false;
    this.lost = 0;
  }

  /** Seconds of sound that were not taken yet. */
  get waiting() {
    return this.held.reduce((sum, { samples }) => sum + samples.length, 0) / 16000;
  }

  /** Asks to be the page that is listened to. */
  claim() {
    this.claimed = false;
    this.line.send({ do: "listen", take: this.name });
  }

  push(samples) {
    this.held.push({ start: this.total, samples });
    this.total += samples.length;
    if (this.total - this.held[0].start > MOST_HELD) this.lost += this.held.shift().samples.length;
    this.pump();
  }

  /** The server has this many samples; `again` when it says so after a new connection. */
  taken(samples, again) {
    while (this.held.length && this.held[0].start + this.held[0].samples.length <= samples) this.held.shift();
    if (!again) return;
    this.claimed = true;
    if (this.held.length && this.held[0].start > samples) this.restart();
    this.next = samples;
    this.pump();
  }

  /** What was held too long is gone; the rest goes on as a new take. */
  restart() {
    const [first] = this.held;
    this.name = crypto.randomUUID();
    this.held = this.held.map(({ start, samples }) => ({ start: start - first.start, samples }));
    this.total -= first.start;
    this.claim();
  }

  pump() {
    if (!this.claimed || !this.line.isOpen) return;
    for (const { start, samples } of this.held) {
      if (start + samples.length <= this.next) continue;
      if (this.line.socket.bufferedAmount > AT_ONCE) {
        setTimeout(() => this.pump(), 50);
        return;
      }
      const message = new Uint8Array(4 + samples.byteLength);
      new DataView(message.buffer).setUint32(0, start, true);
      message.set(new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength), 4);
      this.line.socket.send(message);
      this.next = start + samples.length;
    }
  }
}
