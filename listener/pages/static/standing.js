// Whether the page listens, and how loud it is: in words and in shape.

import { peakOf } from "/static/microphone.js";
import { byId, setText } from "/static/dom.js";

const QUIET = 0.02;
const LOUD = 0.97;
const FALL = 0.82;
const LOOKED_BACK = 20;

export class Levels {
  constructor() {
    this.level = 0;
    this.recent = [];
    this.bars = [...document.querySelectorAll(".level > span")];
  }

  hear(block, deaf) {
    const peak = deaf ? 0 : peakOf(block);
    this.level = Math.max(peak, this.level * FALL);
    this.recent.push(peak);
    if (this.recent.length > LOOKED_BACK) this.recent.shift();
    this.draw(deaf ? "not heard while it answers" : this.word());
  }

  word() {
    const most = Math.max(...this.recent);
    if (most === 0) return "no sound";
    if (most < QUIET) return "very quiet";
    return most > LOUD ? "too loud" : "good";
  }

  rest() {
    this.level = 0;
    this.recent = [];
    this.draw("no sound");
  }

  draw(word) {
    // Loudness as it is felt: the root brings quiet speech up to where it can be seen.
    const share = Math.min(1, Math.sqrt(this.level));
    for (const bar of this.bars) bar.style.transform = `scaleX(${share.toFixed(3)})`;
    setText(byId("trial-level"), word);
    setText(byId("level-word"), word);
  }
}

export class States {
  constructor() {
    this.open = false;
    this.heard = "closed";
    this.paused = false;
    this.finished = false;
  }

  connection(open) {
    this.open = open;
    this.draw();
  }

  microphone(state, why) {
    this.heard = state;
    this.why = why;
    this.draw();
  }

  run(paused, finished) {
    this.paused = paused;
    this.finished = finished;
    this.draw();
  }

  /** Sound that waits in this page, in seconds; samples that had to be given up. */
  waiting(seconds, lost) {
    this.held = seconds;
    this.lost = lost;
    this.draw();
  }

  problem(text) {
    this.why = text;
    this.draw();
  }

  notice(text) {
    this.noticed = text;
    this.draw();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => {
      this.noticed = "";
      this.draw();
    }, 6000);
  }

  draw() {
    const [name, text] = this.standing();
    const state = byId("state");
    state.dataset.is = name;
    setText(state, text);
    const line = byId("line");
    const said = this.trouble();
    line.hidden = !said;
    setText(line, said);
  }

  standing() {
    if (!this.open) return ["away", "Reconnecting"];
    if (this.finished) return ["ended", "Ended"];
    if (this.heard === "lost") return ["lost", "Microphone lost"];
    if (this.paused) return ["paused", "Paused"];
    return this.heard === "open" ? ["listening", "Listening"] : ["closed", "Not listening"];
  }

  trouble() {
    if (this.lost) return `${Math.round(this.lost / 16000)} s of sound had to be given up: there was no connection for too long.`;
    if (!this.open) {
      const held = this.held > 1 ? ` ${Math.round(this.held)} s of sound are held and will be sent.` : "";
      return `Crownsole does not answer.${held} Is it still running?`;
    }
    if (this.held > 3) return `${Math.round(this.held)} s of sound are still being sent.`;
    return this.noticed || this.why || "";
  }
}
