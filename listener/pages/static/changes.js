// Changes to the chosen line: confirm, amend, withdraw, put back, undo. Each is asked of the server, which holds it
// against the lexicon; what it refuses is told where it was asked.

import { ask } from "/static/asking.js";
import { byId, element, setText, stored, store } from "/static/dom.js";

const DONE = {
  confirm: "Confirmed", amend: "Changed", withdraw_entry: "Withdrawn", restore: "Put back", revert: "Change taken back",
  undo: "Undone",
};

export class Changes {
  /** `onchange(answer)` is given what has changed; `onstale(message)` that the run was changed elsewhere. */
  constructor(run, { state, onchange, onstale }) {
    this.run = run;
    this.state = state;
    this.onchange = onchange;
    this.onstale = onstale;
    this.busy = false;
    byId("by").value = stored("by", "");
    byId("by").addEventListener("change", ({ target }) => store("by", target.value.trim()));
  }

  /** Ask for a change; true when it was made. `tell(error)` is told why not. */
  async ask(what, line, more = {}, tell = (error) => this.tell(error.message)) {
    if (this.busy) return false;
    this.busy = true;
    try {
      const answer = await ask(`/runs/${this.run}/changes`, {
        do: what, revision: this.state.revision, by: stored("by", "") || undefined, entry: line?.entry, ...more,
      });
      this.onchange(answer, `${DONE[what]}${line ? `: ${line.words_said}` : ""}.`);
      return true;
    } catch (error) {
      if (error.said?.why === "stale") this.onstale(error.message);
      else tell(error);
      return false;
    } finally {
      this.busy = false;
    }
  }

  tell(message) {
    const notice = byId("notice");
    notice.hidden = !message;
    setText(notice, message);
  }

  /** The tools that stand under the chosen line. */
  tools(line) {
    const bar = element("div", { class: "tools" });
    const button = (text, does, properties = {}) =>
      bar.append(element("button", { type: "button", onclick: does, ...properties }, text, this.key(properties["data-key"])));
    if (line.withdrawn) {
      button("Put it back", () => this.ask("restore", line));
      return bar;
    }
    if (line.confirm) button(this.keeping(line), () => this.confirm(line), { class: "first", "data-key": "C" });
    for (const other of line.others ?? []) {
      button(`It was ${other.text}`, () => this.other(line, other), { "data-other": other.text });
    }
    button("Amend", () => this.amend(line), { "data-key": "A" });
    button("Withdraw", () => this.withdraw(line), { "data-key": "W" });
    const last = line.trail?.at(-1);
    if (last && last.by !== "speaker" && last.how !== "restored") {
      button("Take this change back", () => this.ask("revert", line));
    }
    return bar;
  }

  key(name) {
    return name ? element("kbd", { "aria-hidden": "true", text: name }) : null;
  }

  keeping(line) {
    return line.others?.length ? `It is right: ${line.value ?? line.status.replace("_", " ")}` : "Confirm";
  }

  confirm(line) {
    if (!line) return;
    if (line.confirm) this.ask("confirm", line);
    else this.say("This line does not wait to be confirmed.");
  }

  other(line, { changes, text }) {
    const wanted = Object.fromEntries(Object.entries(changes).map(([name, value]) => [name, value?.text ?? value]));
    this.ask("amend", line, { changes: wanted, reason: `the other reading: ${text}` });
  }

  undo() {
    if (this.state.undoable) this.ask("undo");
    else this.say("There is nothing to undo.");
  }

  say(message) {
    byId("told").textContent = "";
    requestAnimationFrame(() => setText(byId("told"), message));
    this.tell(message);
  }

  place(line, template) {
    this.close();
    const opened = byId(`line-${line.id}`).querySelector(".opened");
    const form = byId(template).content.firstElementChild.cloneNode(true);
    opened.querySelector(".tools").hidden = true;
    opened.querySelector(".tools").after(form);
    form.querySelector(".leave").addEventListener("click", () => this.close());
    form.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      event.stopPropagation();
      this.close();
    });
    form.querySelector("input, select").focus({ preventScroll: true });
    opened.parentElement.scrollIntoView({ block: "nearest" });
    this.form = form;
    return form;
  }

  /** Close the form, if one is open, and go back to its line. */
  close() {
    if (!this.form) return false;
    const line = this.form.closest(".line");
    this.form.remove();
    this.form = null;
    if (line) {
      line.querySelector(".tools").hidden = false;
      line.querySelector(".go").focus();
    }
    return true;
  }

  withdraw(line) {
    if (!line || line.withdrawn) return;
    const form = this.place(line, "withdraw-form");
    this.onsubmit(form, () => this.ask("withdraw_entry", line, { reason: form.elements.reason.value }, this.within(form)));
  }

  amend(line) {
    if (!line || line.withdrawn) return;
    const form = this.place(line, "amend-form");
    const fields = form.elements;
    fields.status.value = line.status;
    fields.value.value = line.value ?? "";
    fields.side.value = line.side ?? "";
    fields.site.value = line.site ?? "";
    let warned = null;
    this.choices(line, form);
    this.onsubmit(form, async () => {
      const changes = this.changesOf(line, fields);
      const sure = warned === JSON.stringify(changes);
      const made = await this.ask("amend", line, { changes, reason: fields.reason.value, sure }, (error) => {
        this.within(form)(error);
        warned = error.said?.why === "doubtful" ? JSON.stringify(changes) : null;
        setText(form.querySelector("[type=submit]"), warned ? "Take it all the same" : "Take the change");
      });
      return made;
    });
  }

  changesOf(line, fields) {
    const now = { status: line.status, value: line.value ?? "", side: line.side ?? "", site: line.site ?? "" };
    return Object.fromEntries(Object.keys(now)
      .map((name) => [name, fields[name].value.trim()])
      .filter(([name, value]) => value !== now[name])
      .map(([name, value]) => [name, value || null]));
  }

  within(form) {
    return (error) => setText(form.querySelector("[role=alert]"), error.message);
  }

  onsubmit(form, send) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("[type=submit]");
      button.disabled = true;
      form.setAttribute("aria-busy", "true");
      const made = await send();
      button.disabled = false;
      form.removeAttribute("aria-busy");
      if (made) this.form = null;
    });
  }

  /** What the lexicon offers for a line: places of its station, grades of its scale, whether it takes a value. */
  async choices(line, form) {
    const answer = await fetch(`/runs/${this.run}/choices/${line.entry}`);
    if (!answer.ok || !form.isConnected) return;
    const { statuses, sites = [], value, example, grades = [] } = await answer.json();
    for (const option of [...form.elements.status.options]) option.hidden = !statuses.includes(option.value);
    form.querySelector(".value").hidden = !value;
    if (example) form.elements.value.placeholder = example;
    const list = element("datalist", { id: "places" }, ...sites.map((site) => element("option", { value: site })));
    form.append(list);
    form.elements.site.setAttribute("list", "places");
    const told = form.querySelector(".grades");
    told.hidden = !grades.length;
    setText(told, grades.map(([grade, meaning]) => `${grade}: ${meaning}`).join("; "));
  }
}
