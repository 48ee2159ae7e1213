// The record under review: its stations and lines. One line is chosen; its tools stand under it.

import { byId, chunks, clock, element, setText } from "/static/dom.js";

const SAID = { documented: "documented", partial: "partial", missing: "nothing said" };
const HOW = { changed: "Changed", confirmed: "Confirmed", withdrawn: "Withdrawn", restored: "Put back" };

/** When something was done, in the words of this browser's own calendar. */
function moment(step) {
  if (step.at) return new Date(step.at).toLocaleString([], { dateStyle: "medium", timeStyle: "medium" });
  return step.moment?.start === undefined ? "" : `at ${clock(step.moment.start)} of the run`;
}

/** Bring a line into view, and keep it there until the lines around it, which were perhaps never drawn, have found
 *  their height: two frames in which it did not move, or half a second. */
function reveal(node, block, frames = 30, quiet = 0) {
  const before = node.getBoundingClientRect().top;
  node.scrollIntoView({ block, behavior: "instant" });
  const still = Math.abs(node.getBoundingClientRect().top - before) < 1;
  if (frames > 0 && quiet < 2) requestAnimationFrame(() => reveal(node, block, frames - 1, still ? quiet + 1 : 0));
}

export class RecordPane {
  /** `tools(line)` makes the tools of the chosen line; `onchoose(line, how)` is told of a choice. */
  constructor({ tools, onchoose, sounds }) {
    this.root = byId("record");
    this.tools = tools;
    this.onchoose = onchoose;
    this.sounds = sounds;
    this.lines = new Map();
    this.nodes = new Map();
    this.chosen = null;
    this.sounding = null;
    this.root.addEventListener("click", ({ target }) => {
      const go = target.closest(".go");
      if (go) this.choose(go.parentElement.dataset.line, "click");
    });
    this.root.addEventListener("focusin", ({ target }) => {
      const go = target.closest(".go");
      if (go && go.parentElement.dataset.line !== this.chosen) this.choose(go.parentElement.dataset.line, "focus");
    });
  }

  build(view) {
    const made = document.createDocumentFragment();
    this.lines.clear();
    this.nodes.clear();
    this.heads = new Map();
    for (const station of view.stations) {
      for (const line of station.lines ?? []) this.lines.set(line.id, line);
      const lists = chunks(station.lines ?? []).map((some) => element("ol", { class: "lines" }, ...some.map((line) => this.node(line))));
      const head = element("h3", {});
      const left = element("p", { class: "left" });
      this.heads.set(station.id, { head, left });
      made.append(element("section", { class: "station", id: `at-${station.id}`, tabindex: "-1" }, head, left, ...lists));
      this.head(station);
    }
    made.append(...this.ends(view));
    this.root.replaceChildren(made);
    const [first] = this.order();
    if (first) this.roving(first);
  }

  /** Lines in the order of the page. */
  order() {
    return [...this.nodes.keys()];
  }

  /** The line that an entry of the record is now part of: itself, or one that it came to stand in. */
  lineOf(entry) {
    if (this.lines.has(entry)) return entry;
    return [...this.lines.values()].find((line) => line.entry === entry)?.id;
  }

  head(station) {
    const { head, left } = this.heads.get(station.id);
    const lines = station.said === 1 ? "1 line" : `${station.said ?? 0} lines`;
    head.replaceChildren(
      element("span", { class: `fill ${station.coverage}`, "aria-hidden": "true" }),
      ` ${station.title} `,
      element("span", { class: "how", text: `${SAID[station.coverage]}${station.said ? `, ${lines}` : ""}` }),
    );
    left.hidden = !station.missing;
    setText(left, station.missing ? `Not heard: ${station.missing.join("; ")}` : "");
  }

  node(line) {
    const node = element("li", { class: "line", "data-line": line.id, id: `line-${line.id}` });
    this.nodes.set(line.id, node);
    this.fill(node, line);
    return node;
  }

  fill(node, line) {
    node.classList.toggle("waits", Boolean(line.confirm));
    node.classList.toggle("gone", Boolean(line.withdrawn));
    const at = line.moment.start === undefined ? `${line.moment.utterance}` : clock(line.moment.start);
    const go = element(
      "button",
      { type: "button", class: "go", tabindex: line.id === this.chosen ? "0" : "-1" },
      element("span", { class: "at figures", text: at }),
      element("span", { class: "what", text: line.words_said }),
    );
    if (line.withdrawn) go.append(element("span", { class: "tag", text: "withdrawn" }));
    else if (line.confirm) go.append(element("span", { class: "tag care", text: "confirm" }));
    else if (line.trail) go.append(element("span", { class: "tag", text: HOW[line.trail.at(-1).how].toLowerCase() }));
    node.replaceChildren(go);
    if (line.confirm) node.append(element("p", { class: "why", text: `To confirm: ${line.confirm}` }));
  }

  /** What stands under the chosen line alone. */
  open(node, line) {
    const heard = line.heard ? `“${line.said}”, recognised as “${line.heard}”` : `“${line.said}”`;
    const sure = line.confidence === undefined ? "" : `, ${Math.round(line.confidence * 100)}% sure`;
    const inferred = line.inferred ? " Understood from other words, not said in itself." : "";
    const opened = element("div", { class: "opened" }, element("p", { class: "behind", text: `${heard}${sure}.${inferred}` }));
    opened.append(this.tools(line));
    if (line.trail) opened.append(this.history(line));
    node.append(opened);
  }

  history(line) {
    const steps = line.trail.map((step) => {
      const change = step.how === "changed" ? `: ${step.before} → ${step.after}` : "";
      const why = step.reason ? ` (${step.reason})` : "";
      return element("li", {}, element("b", { text: `${HOW[step.how]} by ${step.by}` }), `${change}${why} `,
        element("span", { class: "quiet", text: moment(step) }));
    });
    const summary = element("summary", { text: `History (${steps.length})` });
    return element("details", { class: "history", open: true }, summary, element("ol", {}, ...steps));
  }

  roving(id) {
    this.nodes.get(this.tabbable)?.querySelector(".go").setAttribute("tabindex", "-1");
    this.nodes.get(id)?.querySelector(".go").setAttribute("tabindex", "0");
    this.tabbable = id;
  }

  close() {
    const node = this.nodes.get(this.chosen);
    node?.querySelector(".opened")?.remove();
    node?.querySelector(".go")?.removeAttribute("aria-current");
    node?.classList.remove("chosen");
  }

  /** Choose a line; `how` tells whether by click, focus, key or from elsewhere. */
  choose(id, how) {
    const node = this.nodes.get(id);
    if (!node) return;
    if (id !== this.chosen) {
      this.close();
      this.chosen = id;
      this.roving(id);
      node.classList.add("chosen");
      node.querySelector(".go").setAttribute("aria-current", "true");
      this.open(node, this.lines.get(id));
    }
    if (how === "key" || how === "jump") {
      node.querySelector(".go").focus({ preventScroll: true });
      reveal(node, how === "jump" ? "center" : "nearest");
    }
    this.onchoose(this.lines.get(id), how);
  }

  step(by) {
    const order = this.order();
    const at = order.indexOf(this.chosen ?? this.tabbable);
    const next = this.chosen === null && by > 0 ? Math.max(at, 0) : Math.min(Math.max(at + by, 0), order.length - 1);
    if (order.length) this.choose(order[next], "key");
  }

  /** The next line that waits to be confirmed, from the chosen one on and round again; false when there is none. */
  nextWaiting() {
    const order = this.order();
    const from = order.indexOf(this.chosen) + 1;
    const next = [...order.slice(from), ...order.slice(0, from)].find((id) => this.lines.get(id).confirm);
    if (next) this.choose(next, "key");
    return Boolean(next);
  }

  /** Take what a change has altered. */
  update({ heads, lines = [] }) {
    for (const line of lines) {
      this.lines.set(line.id, line);
      const node = this.nodes.get(line.id);
      if (!node) continue;
      const held = node.contains(document.activeElement);
      this.fill(node, line);
      if (line.id === this.chosen) {
        node.querySelector(".go").setAttribute("aria-current", "true");
        this.open(node, line);
      }
      if (held) {
        node.querySelector(".go").focus({ preventScroll: true });
        reveal(node, "nearest");
      }
    }
    for (const station of heads) if (this.heads.has(station.id)) this.head(station);
  }

  /** Mark the line whose words are sounding. */
  sound(id) {
    if (id === this.sounding) return;
    this.nodes.get(this.sounding)?.classList.remove("sounding");
    this.nodes.get(id)?.classList.add("sounding");
    this.sounding = id;
  }

  /** What stands after the stations: computed values, words that became no line, remarks of the machine. */
  *ends({ computed = [], unfiled = [], run }) {
    this.figures = element("section", { class: "station after" });
    this.compute(computed);
    yield this.figures;
    if (unfiled.length) {
      const items = unfiled.map(({ text, reason, moment: where }) =>
        element("li", {}, element("button", { type: "button", class: "plain", "data-words": where.words.join("-"), text: `“${text}”` }),
          reason ? element("span", { class: "quiet", text: ` ${reason}` }) : null));
      yield element("details", { class: "station after" },
        element("summary", { text: `Words that became no line (${items.length})` }), element("ul", {}, ...items));
    }
    const facts = [...(run.remarks ?? []), run.model ? `Heard with ${run.model}${run.vocabulary ? `, vocabulary ${run.vocabulary}` : ""}.` : null,
      `Read with lexicon ${run.lexicon}, checklist ${run.checklist}.`].filter(Boolean);
    yield element("details", { class: "station after" }, element("summary", { text: "About this run" }),
      element("ul", {}, ...facts.map((text) => element("li", { text }))));
  }

  compute(computed) {
    const items = computed.map(({ label, text, formula, source, note, missing }) =>
      element("li", {}, element("b", { text: label }), `: ${text ?? `not computed; missing ${(missing ?? []).join(", ")}`}`,
        element("span", { class: "quiet small", text: ` ${note ? `${note}. ` : ""}${formula}. ${source}` })));
    this.figures.hidden = !items.length;
    this.figures.replaceChildren(element("h3", { text: "Computed" }), element("ul", {}, ...items));
  }
}
