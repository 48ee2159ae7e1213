// The words of the run, in step with sound and record. Places in them are marked as ranges, so that a text of any
// length stays one node a stretch.

import { byId, chunks, clock, element } from "/static/dom.js";

const supported = typeof Highlight === "function" && Boolean(CSS.highlights);

export class WordsPane {
  /** `onpick(word, utterance)` is told which word was clicked; `onplay(utterance)` which utterance is to be heard. */
  constructor({ onpick, onplay }) {
    this.root = byId("words");
    this.marks = {};
    for (const name of supported ? ["evidence", "sounding"] : []) {
      this.marks[name] = new Highlight();
      CSS.highlights.set(name, this.marks[name]);
    }
    this.root.addEventListener("click", (event) => {
      const node = event.target.closest("[data-utterance]");
      if (!node) return;
      const said = this.utterances[Number(node.dataset.utterance)];
      if (event.target.closest("button")) onplay(said);
      else onpick(this.wordAt(node, said, event), said);
    });
  }

  build(utterances) {
    this.utterances = utterances;
    this.paragraphs = utterances.map((said, number) => this.paragraph(said, number));
    const stretches = chunks(this.paragraphs).map((some) => element("div", { class: "stretch" }, ...some));
    if (!utterances.length) stretches.push(element("p", { class: "quiet", text: "No words were heard." }));
    this.root.replaceChildren(...stretches);
  }

  paragraph(said, number) {
    const start = said.words?.[0]?.[2];
    const label = start === undefined || start === null ? String(said.number) : clock(start);
    const text = element("span", { class: "text" });
    let at = 0;
    for (const { word, why, heard } of said.doubts ?? []) {
      const [from, to] = said.words[word];
      const told = [why, heard ? `recognised as “${heard}”` : null].filter(Boolean).join("; ");
      text.append(said.text.slice(at, from), element("span", { class: why ? "doubt" : "repaired", title: told, text: said.text.slice(from, to) }));
      at = to;
    }
    text.append(said.text.slice(at));
    const timed = start !== undefined && start !== null;
    const head = timed
      ? element("button", { type: "button", class: "at figures", "aria-label": `Hear ${label}`, text: label })
      : element("span", { class: "at figures", text: label });
    return element("p", { class: "utterance", "data-utterance": String(number) }, head, text);
  }

  /** The utterance that holds a word of the run, by its number in the list. */
  numberOf(word) {
    let low = 0;
    let high = this.utterances.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if ((this.utterances[middle].first ?? 0) <= word) low = middle;
      else high = middle - 1;
    }
    return low;
  }

  /** Start and end in seconds of a word of the run; null without times. */
  timesOf(word) {
    const said = this.utterances[this.numberOf(word)];
    const [, , start, end] = said?.words?.[word - (said.first ?? 0)] ?? [];
    return start === null || start === undefined ? null : [start, end];
  }

  /** When the words of a range of the run sound, and when the words around them end and begin; null without times. */
  spanOf([first, last]) {
    const [begins, ends] = [this.timesOf(first), this.timesOf(last)];
    if (!begins || !ends) return null;
    const before = first > 0 ? this.timesOf(first - 1)?.[1] : undefined;
    return { start: begins[0], end: ends[1], before, after: this.timesOf(last + 1)?.[0] };
  }

  range(number, first, last) {
    const said = this.utterances[number];
    const range = new Range();
    const [start, end] = [said.words[first][0], said.words[last][1]].map((place) => this.point(number, place));
    range.setStart(...start);
    range.setEnd(...end);
    return range;
  }

  /** Node and offset of a place in the text of an utterance. */
  point(number, place) {
    let left = place;
    const walker = document.createTreeWalker(this.paragraphs[number].querySelector(".text"), NodeFilter.SHOW_TEXT);
    let node = walker.nextNode();
    while (node && left > node.length) {
      left -= node.length;
      node = walker.nextNode() ?? node;
    }
    return [node, Math.min(left, node.length)];
  }

  /** Mark the words behind a line (indices in the run, inclusive) and bring them into view. */
  show([first, last]) {
    this.marks.evidence?.clear();
    this.root.querySelector(".behind")?.classList.remove("behind");
    if (!this.utterances.length) return;
    const from = this.numberOf(first);
    let shown = null;
    for (let number = from; number <= this.numberOf(last); number += 1) {
      const said = this.utterances[number];
      const base = said.first ?? 0;
      const ends = [Math.max(first - base, 0), Math.min(last - base, (said.words?.length ?? 0) - 1)];
      if (ends[0] > ends[1]) continue;
      const range = this.range(number, ...ends);
      shown ??= range;
      this.marks.evidence?.add(range);
    }
    this.paragraphs[from].classList.add("behind");
    this.reveal(shown ?? this.paragraphs[from]);
  }

  /** Bring words (a range, or all of an utterance) into view, and keep them there until the utterances around them,
   *  which were perhaps never drawn, have found their height. */
  reveal(target, frames = 30, quiet = 0) {
    const box = this.root.getBoundingClientRect();
    const place = target.getBoundingClientRect();
    const tall = place.height > box.height;
    const seen = place.top >= box.top - 1 && (tall ? place.top < box.top + 1 : place.bottom <= box.bottom);
    if (!seen) this.root.scrollTop += place.top - box.top - (tall ? 0 : (box.height - place.height) / 2);
    if (frames > 0 && quiet < 2) requestAnimationFrame(() => this.reveal(target, frames - 1, seen ? quiet + 1 : 0));
  }

  /** Mark the word that sounds at a time; its index in the run, or null between words. */
  follow(seconds) {
    const found = this.at(seconds);
    if (found?.word === this.followed) return this.followed ?? null;
    this.marks.sounding?.clear();
    this.followed = found?.word;
    if (!found) return null;
    const range = this.range(found.number, found.place, found.place);
    this.marks.sounding?.add(range);
    this.reveal(range);
    return found.word;
  }

  unfollow() {
    this.marks.sounding?.clear();
    this.followed = undefined;
  }

  at(seconds) {
    let low = 0;
    let high = this.utterances.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if ((this.utterances[middle].words?.[0]?.[2] ?? 0) <= seconds) low = middle;
      else high = middle - 1;
    }
    const said = this.utterances[low];
    const place = said?.words?.findIndex(([, , start, end]) => start !== null && start <= seconds && seconds < end) ?? -1;
    return place < 0 ? null : { number: low, place, word: (said.first ?? 0) + place };
  }

  /** The word of the run under a click. */
  wordAt(node, said, { clientX, clientY }) {
    const caret = document.caretPositionFromPoint?.(clientX, clientY);
    const range = caret ? null : document.caretRangeFromPoint?.(clientX, clientY);
    const [holder, offset] = caret ? [caret.offsetNode, caret.offset] : [range?.startContainer, range?.startOffset ?? 0];
    let before = 0;
    const walker = document.createTreeWalker(node.querySelector(".text"), NodeFilter.SHOW_TEXT);
    for (let text = walker.nextNode(); text && text !== holder; text = walker.nextNode()) before += text.length;
    const place = before + offset;
    const found = said.words?.findIndex(([, to]) => place <= to) ?? -1;
    return (said.first ?? 0) + Math.max(found, 0);
  }
}
