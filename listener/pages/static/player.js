// The sound: exactly one line, or the run from any place on. One element plays both.

import { byId, clock, setText } from "/static/dom.js";

/** Seconds of sound at most before and after the words of a line, so that none of them is cut. */
const AROUND = 0.15;

export class Player {
  /** `ontime(seconds)` is told the place in the run while it sounds, `onstop()` when it stops. */
  constructor(run, seconds, { ontime, onstop }) {
    this.address = `/runs/${run}/sound.wav`;
    this.seconds = seconds;
    this.audio = byId("sound");
    this.ontime = ontime;
    this.onstop = onstop;
    this.from = 0;
    this.part = null;
    this.wanted = 0;
    byId("player").hidden = !seconds;
    if (!seconds) return;
    byId("seek").max = String(seconds);
    byId("play").addEventListener("click", () => (this.playing ? this.stop() : this.run(this.place)));
    byId("seek").addEventListener("input", ({ target }) => this.seek(Number(target.value)));
    byId("speed").addEventListener("change", () => this.pace());
    this.audio.addEventListener("play", () => {
      setText(byId("play"), "Stop");
      this.tick();
    });
    for (const end of ["pause", "ended", "error"]) this.audio.addEventListener(end, () => this.stopped());
    this.showPlace(0);
  }

  get playing() {
    return Boolean(this.seconds) && !this.audio.paused && !this.audio.ended;
  }

  /** Seconds into the run. */
  get place() {
    return this.from + (this.part === null ? this.wanted : this.audio.currentTime);
  }

  /** Hear words from `start` to `end` seconds of the run, and nothing of the word that ended at `before` or of the one
   *  that begins at `after`. */
  clip({ start, end, before, after }) {
    if (!this.seconds) return;
    const first = Math.min(start, Math.max(start - AROUND, before ?? 0));
    const last = Math.max(end, Math.min(end + AROUND, after ?? this.seconds));
    this.load(`clip ${first} ${last}`, `${this.address}?from=${first.toFixed(3)}&to=${last.toFixed(3)}`, first, 0);
  }

  /** Hear the run from a place on. */
  run(start) {
    const at = start >= this.seconds - 0.2 ? 0 : start;
    this.load("run", this.address, 0, at);
  }

  load(part, address, from, at) {
    this.audio.pause();
    if (this.part !== part) {
      this.audio.src = address;
      this.part = part;
    }
    this.from = from;
    this.audio.currentTime = at;
    this.pace();
    this.audio.play().catch(() => this.stopped());
  }

  pace() {
    this.audio.playbackRate = Number(byId("speed").value);
  }

  stop() {
    this.audio.pause();
  }

  seek(seconds) {
    if (this.playing) this.run(seconds);
    else {
      this.part = null;
      this.from = 0;
      this.wanted = seconds;
      this.showPlace(seconds);
      this.ontime(seconds);
    }
  }

  tick() {
    if (!this.playing) return;
    this.showPlace(this.place);
    this.ontime(this.place);
    requestAnimationFrame(() => this.tick());
  }

  stopped() {
    setText(byId("play"), "Play");
    if (this.part !== null) this.showPlace(this.place);
    this.onstop();
  }

  showPlace(seconds) {
    setText(byId("at"), clock(seconds));
    const seek = byId("seek");
    if (document.activeElement !== seek || this.playing) seek.value = String(seconds);
    seek.setAttribute("aria-valuetext", `${clock(seconds)} of ${clock(this.seconds)}`);
  }
}
