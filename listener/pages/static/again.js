// Reading a run anew with the lexicon of now: what it would change is shown before it is taken.

import { ask } from "/static/asking.js";
import { byId, element, setText } from "/static/dom.js";

export class Again {
  constructor(run, { onstale }) {
    this.run = run;
    this.onstale = onstale;
    this.dialog = byId("again-dialog");
    byId("again").addEventListener("click", () => this.open());
    byId("again-no").addEventListener("click", () => this.dialog.close());
    byId("again-yes").addEventListener("click", () => this.take());
  }

  async open() {
    byId("again-yes").hidden = true;
    setText(byId("again-error"), "");
    byId("again-said").replaceChildren(element("p", { role: "status", text: "The words are being read." }));
    this.dialog.showModal();
    const answer = await fetch(`/runs/${this.run}/again`);
    const said = await answer.json();
    if (!answer.ok) {
      setText(byId("again-error"), said.error);
      byId("again-said").replaceChildren();
      return;
    }
    this.seal = said.seal;
    this.show(said);
  }

  show({ lines, before, after, restart }) {
    const same = before === after;
    const made = [];
    if (restart) made.push(element("p", { class: "care", text: "Files of the lexicon were changed while Crownsole was running. Start it again to read with them." }));
    if (!lines.length) {
      made.push(element("p", { text: same ? "The lexicon is the one this run was read with. No line would change." : "The lexicon has changed, but no line of this run would." }));
    } else {
      made.push(element("p", { text: `${lines.length} lines would change. Changes made by hand stay. What is filed now is kept in the archive.` }));
      made.push(element("ul", { class: "difference" }, ...lines.map((line) => this.line(line))));
    }
    byId("again-said").replaceChildren(...made);
    byId("again-yes").hidden = same && !lines.length;
  }

  line(text) {
    const gone = text.startsWith("-");
    return element("li", { class: gone ? "goes" : "comes" }, element("b", { text: gone ? "goes" : "comes" }), ` ${text.slice(2)}`);
  }

  async take() {
    try {
      await ask(`/runs/${this.run}/again`, { seal: this.seal });
      location.reload();
    } catch (error) {
      setText(byId("again-error"), error.message);
    }
  }
}
