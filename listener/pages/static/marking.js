// Marks: points are sent and the page is shown anew at the step; evidence can be heard.

import { ask } from "/static/asking.js";
import { byId, setText, store, stored } from "/static/dom.js";

const marks = byId("marks");
const { run, rubric, last } = marks.dataset;
const by = byId("by");
if (by) {
  by.value = stored("by", "");
  by.addEventListener("change", () => store("by", by.value.trim()));
}

/** Sends what is given; shows the page anew at `place`, or the reason why it was not kept. */
async function give(form, body, place) {
  const button = form.querySelector("button[type=submit]");
  const alert = form.querySelector("[role=alert]");
  setText(alert, "");
  button.disabled = true;
  try {
    const { said } = await ask(`/runs/${run}/marks`, { ...body, rubric, last: Number(last), by: by?.value ?? "" });
    sessionStorage.setItem("crownsole-marks", JSON.stringify({ run, place, said }));
    location.reload();
  } catch (error) {
    button.disabled = false;
    setText(alert, error.message);
  }
}

for (const form of document.querySelectorAll("form[data-step]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const { step } = form.dataset;
    give(form, { step, points: form.elements.points.valueAsNumber, reason: form.elements.reason.value }, `step-${step}`);
  });
}
byId("settle")?.addEventListener("submit", (event) => {
  event.preventDefault();
  give(event.currentTarget, { settle: true }, "main");
});

// After a change: back at the step, and told what came of it.
const kept = JSON.parse(sessionStorage.getItem("crownsole-marks") ?? "null");
sessionStorage.removeItem("crownsole-marks");
if (kept?.run === run) {
  byId(kept.place)?.scrollIntoView({ block: "center" });
  byId(kept.place)?.focus({ preventScroll: true });
  setTimeout(() => setText(byId("told"), kept.said), 100);
}

const sound = byId("sound");
for (const button of document.querySelectorAll("[data-from]")) {
  button.addEventListener("click", () => {
    const { from, to } = button.dataset;
    sound.src = `/runs/${run}/sound.wav?from=${from}&to=${to}`;
    sound.play().catch(() => setText(byId("told"), "This part cannot be played."));
  });
}
