// Answers to directions: short tones made here, a voice made by the server, and text always.

const TONES = {
  done: [[660, 0.07], [880, 0.1]],
  answer: [[740, 0.12]],
  refused: [[330, 0.12], [262, 0.18]],
  minute: [[880, 0.12], [880, 0.12], [1109, 0.3]],
};

export class Answers {
  constructor(voice) {
    this.voice = voice;
    this.way = "tones";
    this.speaking = false;
    for (const kind of ["ended", "error", "pause"]) voice.addEventListener(kind, () => this.after());
  }

  /** Whether the microphone should be deaf now: else the run would hear our own voice. */
  get deafens() {
    return this.speaking && this.way === "loudspeaker";
  }

  tone(name) {
    if (this.way === "text") return;
    this.context ??= new AudioContext();
    const gain = this.context.createGain();
    gain.connect(this.context.destination);
    let at = this.context.currentTime + 0.01;
    for (const [hertz, seconds] of TONES[name] ?? TONES.answer) {
      const sound = this.context.createOscillator();
      sound.frequency.value = hertz;
      sound.connect(gain);
      gain.gain.setValueAtTime(0, at);
      gain.gain.linearRampToValueAtTime(0.12, at + 0.015);
      gain.gain.linearRampToValueAtTime(0, at + seconds);
      sound.start(at);
      sound.stop(at + seconds);
      at += seconds + 0.03;
    }
  }

  /** Answers: a tone for what was done, the voice for what was asked, if it is wished and there is one. */
  async give(run, { number, text, tone }) {
    const speaks = this.way === "loudspeaker" || this.way === "headphones";
    if (!speaks || !text || tone === "done") {
      this.tone(tone);
      return;
    }
    this.voice.src = `/practise/voice/${encodeURIComponent(run)}/${number}`;
    this.speaking = true;
    try {
      await this.voice.play();
    } catch {
      this.after();
      this.tone(tone);
    }
  }

  hush() {
    this.voice.pause();
    this.after();
  }

  after() {
    // A little longer, for the sound that is still in the room.
    setTimeout(() => {
      this.speaking = false;
    }, 350);
  }
}
