// The note: its wording is shown as soon as it is chosen; printing is asked of the browser.

import { byId } from "/static/dom.js";

byId("print").addEventListener("click", () => window.print());
for (const choice of document.querySelectorAll('input[name="wording"], input[name="trace"]')) {
  choice.addEventListener("change", () => choice.form.requestSubmit());
}
