// The live page: joins the connection, the microphone and what is shown. The run itself is on the server.

import { Answers } from "/static/answers.js";
import { byId, clock, element, setText, store, stored } from "/static/dom.js";
import { Log } from "/static/log.js";
import { Microphone } from "/static/microphone.js";
import { Line, Take } from "/static/sending.js";
import { Levels, States } from "/static/standing.js";
import { Strip } from "/static/strip.js";
import { keysOf } from "/static/keys.js";

const SCREENS = ["preparing", "start", "run", "over"];
const MINUTE_S = 60;
const LONG_ANSWER = 70;

const options = { answers: "tones", left: true, large: false, keys: true, checklist: "complete", ...stored("practise", {}) };
const form = byId("options");
const shown = { phase: "preparing", run: null, seconds: 0, counting: null, rung: false, closesAt: null, leaving: false, elsewhere: false, filled: false };

const line = new Line("/practise/socket", { onmessage: receive, onstate: connected });
const take = new Take(line);
const answers = new Answers(byId("voice"));
const strip = new Strip();
const log = new Log((name, entry) => ask(name, entry));
const levels = new Levels();
const states = new States();
const microphone = new Microphone({ onblock: hear, onstate: microphoneIs });

// ---------------------------------------------------------------- from the server

const HANDLERS = {
  phase: (message) => show(message),
  everything,
  progress: (message) => {
    strip.update(message);
    log.confirm(message);
  },
  standing,
  partial: ({ text }) => words(text, false),
  said: (message) => {
    log.said(message);
    words(message.text, true);
    if (!message.to_us) byId("answer").hidden = true;
  },
  filed: (message) => log.filed(message),
  changed: (message) => log.changed(message),
  remark: (message) => log.remark(message),
  answer: (message) => {
    answered(message);
    if (!shown.elsewhere) answers.give(shown.run, message);
  },
  trial: ({ text }) => text && setText(byId("trial-words"), text),
  taken: ({ samples, take: name, seconds }) => {
    if (name === undefined || name === take.name) take.taken(samples, name !== undefined);
    if (seconds) shown.seconds = seconds;
  },
  elsewhere: () => {
    if (!microphone.isOpen) return;
    microphone.stop();
    shown.elsewhere = true;
    states.problem("Another page listens now. To listen here, use “Listen on this page”.");
  },
  refused: ({ said }) => states.notice(said),
};

function receive(message) {
  HANDLERS[message.t]?.(message);
}

function connected(open) {
  states.connection(open);
  if (open && microphone.isOpen) take.claim();
}

function everything(message) {
  const before = shown.phase;
  show(message);
  shown.run = message.run;
  if (message.phase === "ready") ready(message);
  if (message.phase === "running") {
    strip.clear();
    log.clear();
    for (const one of message.log) replay(one);
    strip.update(message.progress);
    log.confirm(message.progress);
    shown.seconds = message.standing.seconds;
    standing(message.standing);
    if (!microphone.wanted) listen();
  }
  if (message.phase === "kept" || message.phase === "broken") over(message, before);
}

/** What happened before this page came is shown, but not answered again. */
function replay(message) {
  if (["said", "filed", "changed", "remark"].includes(message.t)) log[message.t](message);
  if (message.t === "said") words(message.text, true);
}

function show({ phase, said }) {
  shown.phase = phase;
  const screen = { preparing: "preparing", ready: "start", running: "run" }[phase] ?? "over";
  for (const name of SCREENS) byId(name).hidden = name !== screen;
  document.body.dataset.screen = screen;
  if (phase === "preparing") setText(byId("preparing-step"), said || "Starting");
}

function ready({ deaf, runs, checklist, learner }) {
  if (!form.elements.learner.value) form.elements.learner.value = learner ?? "";
  if (checklist !== "complete" && !shown.filled) form.elements.checklist.value = checklist;
  shown.filled = true;
  byId("deaf").hidden = !deaf;
  setText(byId("deaf"), deaf ? `${deaf} Until then, words can only be typed.` : "");
  byId("check").disabled = Boolean(deaf);
  byId("unfinished").hidden = !runs.length;
  byId("unfinished").querySelector("ul").replaceChildren(...runs.map(unfinished));
  if (microphone.isOpen) tryOut();
}

function unfinished({ id, made_at: madeAt, seconds, utterances }) {
  const when = new Date(madeAt).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
  const about = `${when}: ${clock(seconds)} of sound, ${utterances} utterances`;
  return element(
    "li",
    { class: "row" },
    element("button", { type: "button", text: "Go on", "aria-label": `Go on with the run of ${about}`, onclick: () => goOn(id) }),
    element("span", { text: about }),
  );
}

function standing({ paused, finished, counting, seconds, closes_in: closesIn }) {
  if (seconds !== undefined) shown.seconds = Math.max(shown.seconds, seconds);
  if (shown.counting !== counting) shown.rung = false;
  shown.counting = counting;
  shown.closesAt = finished && closesIn !== null ? performance.now() + closesIn * 1000 : null;
  states.run(paused, finished);
  byId("ended").hidden = !finished;
  choose("pausing", paused ? "go_on" : "pause");
  choose("counts", counting === null ? "start_counting" : "stop_counting");
  tick();
}

/** Of buttons that exclude each other, shows the one that makes sense now; the focus stays with them. */
function choose(group, wanted) {
  for (const button of byId(group).children) {
    const had = document.activeElement === button;
    button.hidden = button.dataset.ask !== wanted;
    if (had && button.hidden) byId(group).querySelector(`[data-ask="${wanted}"]`).focus();
  }
}

function words(text, final) {
  const line = byId("words");
  if (final) byId("before").textContent = line.dataset.final ?? "";
  else if (!text) return;
  line.textContent = text;
  line.classList.toggle("partial", !final);
  if (final) line.dataset.final = text;
}

function answered({ text, tone }) {
  byId("answer").hidden = !text;
  byId("answer").dataset.tone = tone;
  setText(byId("answer-text"), text);
  byId("answer-text").classList.toggle("long", text.length > LONG_ANSWER);
  setText(byId("spoken"), text);
}

function over({ phase, said, run }, before) {
  if (microphone.isOpen || microphone.wanted) microphone.stop();
  answers.hush();
  const broken = phase === "broken";
  setText(byId("over-title"), broken ? "The run broke off" : "The run is kept");
  setText(byId("over-said"), broken ? said : "Sound, words and entries are kept on this machine.");
  const review = byId("to-review");
  review.hidden = !review.dataset.pattern;
  if (review.hidden) return;
  review.href = review.dataset.pattern.replace("RUN", encodeURIComponent(run));
  if (before === "running" && !broken && !shown.leaving) {
    shown.leaving = true;
    location.assign(review.href);
  }
}

// ---------------------------------------------------------------- from the person

function ask(name, entry) {
  if (!line.send({ do: "ask", name, entry })) states.notice("There is no connection. It is made again; then ask once more.");
}

function goOn(run) {
  line.send({ do: "go_on_with", run });
}

async function listen() {
  shown.elsewhere = false;
  await microphone.start(form.elements.device.value || options.device, options.answers === "loudspeaker");
}

async function check() {
  byId("trial").hidden = false;
  await listen();
  await devices();
  tryOut();
}

function wanted(what) {
  return { do: what, checklist: form.elements.checklist.value, learner: form.elements.learner.value };
}

function tryOut() {
  line.send(wanted("try"));
}

async function devices() {
  const found = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "audioinput" && one.deviceId);
  const list = form.elements.device;
  const chosen = list.value || options.device;
  list.replaceChildren(...found.map((one, place) => element("option", { value: one.deviceId, text: one.label || `Microphone ${place + 1}` })));
  if (found.some((one) => one.deviceId === chosen)) list.value = chosen;
  list.hidden = found.length < 2;
}

function hear(block) {
  const deaf = answers.deafens;
  levels.hear(block, deaf);
  take.push(deaf ? new Int16Array(block.length) : block);
}

function microphoneIs(state, why) {
  states.microphone(state, why);
  byId("listen").hidden = state !== "closed";
  if (state === "open") take.claim();
  else levels.rest();
  if (state === "open" && "wakeLock" in navigator) navigator.wakeLock.request("screen").catch(() => {});
}

function chosen() {
  Object.assign(options, Object.fromEntries(["checklist", "answers", "device"].map((name) => [name, form.elements[name].value])));
  for (const name of ["left", "large", "keys"]) options[name] = form.elements[name].checked;
  store("practise", options);
  settle();
}

function settle() {
  answers.way = options.answers;
  strip.showsLeft = options.left;
  strip.here();
  document.documentElement.toggleAttribute("data-large", options.large);
  document.body.toggleAttribute("data-keys", options.keys);
}

function fill() {
  const lists = [...form.elements.checklist.options].map((one) => one.value);
  if (lists.includes(options.checklist)) form.elements.checklist.value = options.checklist;
  const way = form.querySelector(`input[name="answers"][value="${options.answers}"]`) ?? form.querySelector('input[value="tones"]');
  way.checked = true;
  for (const name of ["left", "large", "keys"]) form.elements[name].checked = options[name];
  chosen();
}

/** The same choices on the page of the run, so that none of them needs a new run. */
function mirrored() {
  const ways = [...form.querySelectorAll('input[name="answers"]')].map((one) => element("option", { value: one.value, text: one.nextElementSibling.firstChild.textContent.trim() }));
  const list = element("select", { onchange: (event) => pick("answers", event.target.value) }, ...ways);
  list.value = options.answers;
  const box = (name, text) => {
    const input = element("input", { type: "checkbox", onchange: (event) => pick(name, event.target.checked) });
    input.checked = options[name];
    return element("label", {}, input, ` ${text}`);
  };
  byId("settings").replaceChildren(
    element("button", { type: "button", id: "listen", text: "Listen on this page", onclick: listen }),
    element("label", { text: "Answers " }, list),
    box("left", "What is left"),
    box("large", "Larger type"),
    box("keys", "Single keys"),
  );
}

function pick(name, value) {
  if (typeof value === "boolean") form.elements[name].checked = value;
  else form.querySelector(`input[name="${name}"][value="${value}"]`).checked = true;
  chosen();
  if (name === "answers" && microphone.wanted) listen();
}

function tick() {
  setText(byId("clock"), clock(shown.seconds));
  const counting = shown.counting !== null && shown.phase === "running";
  byId("counting").hidden = !counting;
  if (counting) {
    const counted = shown.seconds - shown.counting;
    setText(byId("counted"), clock(counted));
    if (counted >= MINUTE_S && !shown.rung) {
      shown.rung = true;
      answers.tone("minute");
      setText(byId("spoken"), "One minute.");
    }
  }
  if (shown.closesAt !== null) {
    const left = Math.max(0, Math.ceil((shown.closesAt - performance.now()) / 1000));
    setText(byId("ended-in"), `It is closed in ${left} s.`);
  }
  states.waiting(take.waiting, take.lost);
}

form.addEventListener("change", () => {
  chosen();
  if (microphone.isOpen) listen().then(tryOut);
});
form.addEventListener("submit", (event) => {
  event.preventDefault();
  chosen();
  line.send(wanted("begin"));
});
byId("check").addEventListener("click", check);
byId("close").addEventListener("click", () => line.send({ do: "close" }));
byId("another").addEventListener("click", () => {
  shown.leaving = false;
  line.send({ do: "again" });
});
byId("resume").addEventListener("click", () => {
  shown.leaving = false;
  goOn(shown.run);
});
byId("typing").addEventListener("submit", (event) => {
  event.preventDefault();
  const { typed } = event.target.elements;
  if (typed.value.trim() && line.send({ do: "type", text: typed.value })) typed.value = "";
});
document.addEventListener("click", ({ target }) => {
  const name = target.closest("[data-ask]")?.dataset.ask;
  if (name) ask(name);
});
addEventListener("beforeunload", (event) => {
  if (shown.phase === "running" && take.waiting > 2) event.preventDefault();
});
keysOf({ allowed: () => options.keys && shown.phase === "running", ask, hush: () => answers.hush() });
setInterval(tick, 250);
fill();
mirrored();
settle();
