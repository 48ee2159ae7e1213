// What was filed, newest first, under the words it came from. Only the newest rows stand in the page.

import { byId, clock, element, setText } from "/static/dom.js";

const MOST_ROWS = 120;

export class Log {
  constructor(ask) {
    this.ask = ask;
    this.list = byId("log");
    this.entries = new Map();
    this.heard = null;
  }

  clear() {
    this.list.replaceChildren();
    this.entries.clear();
    this.heard = null;
    setText(byId("filed-sum"), "");
    byId("earlier").hidden = true;
    this.confirm({ waiting: [], waiting_in_all: 0 });
  }

  said({ utterance, text, start, to_us: toUs }) {
    const time = start === null ? "" : clock(start);
    const entries = element("ul", { class: "plainlist" });
    const row = element(
      "li",
      { class: toUs ? "to-us" : "spoken" },
      element("p", { class: "quote" }, element("span", { class: "figures at", text: time }), text),
      entries,
    );
    this.heard = { utterance, entries };
    this.put(row);
  }

  filed(entry) {
    const row = element(
      "li",
      { class: entry.confirm ? "entry doubtful" : "entry", "data-entry": entry.id },
      element("span", { class: "where", text: entry.station }),
      element("span", { class: "what", text: entry.words }),
      element("span", { class: "tag", text: entry.confirm ? "to confirm" : "" }),
    );
    this.entries.set(entry.id, row);
    if (this.heard?.utterance === entry.utterance) this.heard.entries.append(row);
    else this.put(element("li", {}, element("ul", { class: "plainlist" }, row)));
  }

  changed({ id, by, how }) {
    const row = this.entries.get(id);
    if (!row) return;
    row.classList.remove("doubtful");
    if (how === "confirmed") {
      row.querySelector(".tag").textContent = "confirmed";
      this.entries.get(by)?.remove();
      this.entries.set(by, row);
      return;
    }
    row.classList.add("gone");
    row.querySelector(".tag").textContent = how;
  }

  remark({ text }) {
    this.put(element("li", { class: "remark quiet", text }));
  }

  put(row) {
    this.list.prepend(row);
    while (this.list.childElementCount > MOST_ROWS) {
      for (const entry of this.list.lastElementChild.querySelectorAll("[data-entry]")) {
        this.entries.delete(entry.dataset.entry);
      }
      this.list.lastElementChild.remove();
      byId("earlier").hidden = false;
    }
  }

  /** What waits to be confirmed; the first is what a spoken yes or no means. */
  confirm({ waiting, waiting_in_all: inAll, entries }) {
    const panel = byId("confirm");
    panel.hidden = !waiting.length;
    if (entries !== undefined) setText(byId("filed-sum"), `${entries} ${entries === 1 ? "entry" : "entries"}`);
    setText(byId("confirm-label"), inAll > 1 ? `To confirm (${inAll})` : "To confirm");
    const shown = waiting.map((entry) => entry.id).join();
    if (shown === this.shown) return;
    this.shown = shown;
    byId("confirm-list").replaceChildren(...waiting.map((entry, place) => this.question(entry, place === 0)));
  }

  question(entry, first) {
    const ask = (name) => () => this.ask(name, entry.id);
    const about = element("p", {}, element("span", { class: "what", text: entry.words }));
    const doubt = entry.confirm.charAt(0).toUpperCase() + entry.confirm.slice(1).replace(/\.$/, "");
    const why = element("p", { class: "why", text: `${entry.station}. ${doubt}. Heard: “${entry.heard}”` });
    return element(
      "div",
      { class: first ? "question next" : "question" },
      element("div", {}, about, why),
      element(
        "p",
        { class: "row" },
        element("button", { type: "button", text: "Yes, keep", "aria-label": `Yes, keep: ${entry.words}`, onclick: ask("confirm") }, first ? element("kbd", { text: "Y", "aria-hidden": "true" }) : null),
        element("button", { type: "button", text: "No, take out", "aria-label": `No, take out: ${entry.words}`, onclick: ask("withdraw_entry") }, first ? element("kbd", { text: "N", "aria-hidden": "true" }) : null),
      ),
    );
  }
}
