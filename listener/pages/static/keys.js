// Single keys for directions, where nothing is being typed. They are those that the buttons name.

import { byId } from "/static/dom.js";

export function keysOf({ allowed, ask, hush }) {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || !allowed()) return;
    if (event.target.closest("input, select, textarea")) return;
    if (event.key === "Escape") {
      hush();
      return;
    }
    if (event.key === " " && event.target.closest("button, a, summary")) return;
    const wanted = event.key === " " ? "Space" : event.key.toUpperCase();
    const buttons = [...document.querySelectorAll("#run [aria-keyshortcuts]")];
    const button = buttons.find((one) => !one.hidden && one.getAttribute("aria-keyshortcuts") === wanted);
    if (button) {
      event.preventDefault();
      ask(button.dataset.ask);
    } else if ((wanted === "Y" || wanted === "N") && !byId("confirm").hidden) {
      event.preventDefault();
      ask(wanted === "Y" ? "confirm_yes" : "confirm_no");
    }
  });
}
