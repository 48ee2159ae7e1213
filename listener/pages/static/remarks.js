// The remarks of the audit: the weightiest first, then all others; each leads to the moment it is about.

import { byId, clock, element, setText } from "/static/dom.js";

const WEIGHT = { urgent: "Now", attention: "Look", note: "Note" };

export class RemarksPane {
  constructor({ onmoment }) {
    this.root = byId("remarks");
    this.onmoment = onmoment;
    this.root.addEventListener("click", ({ target }) => {
      const button = target.closest("[data-moment]");
      if (button) this.onmoment(this.moments[Number(button.dataset.moment)]);
    });
  }

  build({ remarks = [], front, sources = [], marks }) {
    if (marks) this.marked = marks;
    const open = Boolean(this.root.querySelector(".others")?.open);
    this.moments = [];
    const first = remarks.slice(0, front);
    const rest = remarks.slice(front);
    const made = [this.marks(this.marked ?? [])];
    made.push(first.length ? this.list(first, 1) : element("p", { text: "Nothing to remark: every station and item wanted was heard." }));
    if (rest.length) {
      made.push(element("details", { class: "others", open },
        element("summary", { text: rest.length === 1 ? "1 other remark" : `All ${rest.length} other remarks` }), this.list(rest, front + 1)));
    }
    if (sources.length) {
      made.push(element("details", { class: "sources" }, element("summary", { text: "Sources in full" }),
        element("ul", {}, ...sources.map(([name, citation]) => element("li", {}, element("b", { text: name }), ` ${citation}`)))));
    }
    this.root.replaceChildren(...made.filter(Boolean));
    setText(byId("remarks-sum"), String(remarks.length));
  }

  list(remarks, start) {
    return element("ol", { class: "list", start: String(start) }, ...remarks.map((remark) => this.remark(remark)));
  }

  remark({ severity, message, say, source, moments = [] }) {
    const where = moments.map((moment) => this.button(moment));
    return element("li", { class: severity },
      element("p", {}, element("b", { class: "weight", text: WEIGHT[severity] }), ` ${message}`),
      where.length ? element("p", { class: "moments" }, element("span", { class: "unseen", text: "To the moment: " }), ...where) : null,
      say ? element("p", { class: "say" }, element("b", { text: "Next time: " }), `${say[0].toLowerCase()}${say.slice(1)}`) : null,
      element("p", { class: "source", text: source }));
  }

  button(moment) {
    this.moments.push(moment);
    const at = moment.start === undefined ? `line ${moment.utterance}` : clock(moment.start);
    return element("button", { type: "button", class: "moment figures", "data-moment": String(this.moments.length - 1), text: at });
  }

  marks(marks) {
    if (!marks.length) return null;
    return element("div", { class: "marks" }, element("h3", { text: "Marked by the speaker" }),
      element("ul", {}, ...marks.map(({ text, moment }) => element("li", {}, this.button(moment), ` ${text}`))));
  }
}
