// The strip of stations from crown to sole. A station says in words how far it is; its mark says it in shape.

import { byId, element, setText } from "/static/dom.js";

const SAID = { documented: "documented", partial: "partial", missing: "not yet", unasked: "not asked" };

export class Strip {
  constructor() {
    this.list = byId("stations");
    this.rows = new Map();
    this.stations = new Map();
    this.current = null;
    this.showsLeft = true;
    byId("strip-open").addEventListener("click", ({ currentTarget }) => {
      const open = byId("strip").classList.toggle("open");
      currentTarget.setAttribute("aria-expanded", String(open));
    });
  }

  clear() {
    this.list.replaceChildren();
    this.rows.clear();
    this.stations.clear();
    this.current = null;
  }

  update({ stations, current }) {
    for (const station of stations) {
      this.stations.set(station.id, station);
      this.draw(station);
    }
    if (current !== this.current) {
      this.rows.get(this.current)?.row.removeAttribute("aria-current");
      this.rows.get(current)?.row.setAttribute("aria-current", "step");
      this.current = current;
      this.rows.get(current)?.row.scrollIntoView({ block: "nearest" });
    }
    this.sum();
    this.here();
  }

  draw(station) {
    let known = this.rows.get(station.id);
    if (!known) {
      const fill = element("span", { class: "fill", "aria-hidden": "true" });
      const title = element("span", { class: "title", text: station.title, title: station.title });
      const how = element("span", { class: "how" });
      known = { row: element("li", {}, fill, title, how), fill, how };
      this.rows.set(station.id, known);
      this.list.append(known.row);
    }
    known.fill.className = `fill ${station.how}`;
    known.row.dataset.how = station.how;
    const share = station.how === "partial" ? ` ${station.heard} of ${station.wanted}` : "";
    setText(known.how, SAID[station.how] + share);
  }

  sum() {
    const count = (how) => [...this.stations.values()].filter((station) => station.how === how).length;
    setText(byId("strip-sum"), `${count("documented")} documented, ${count("partial")} partial, ${count("missing")} not yet`);
  }

  /** The current station large, with what is left to say there. */
  here() {
    const station = this.stations.get(this.current);
    setText(byId("station"), station?.title ?? "No station yet");
    const left = byId("left");
    left.hidden = !this.showsLeft || !station || station.how === "unasked";
    if (left.hidden) return;
    setText(left, station.left.length ? `Left here: ${station.left.join("; ")}` : "Nothing is left here.");
  }
}
