// The review of one run: stations, record, words, remarks and sound, in step.

import { Again } from "/static/again.js";
import { ask } from "/static/asking.js";
import { Changes } from "/static/changes.js";
import { byId, element, setText, stored, store } from "/static/dom.js";
import { Player } from "/static/player.js";
import { RecordPane } from "/static/record.js";
import { RemarksPane } from "/static/remarks.js";
import { reviewKeys } from "/static/reviewkeys.js";
import { WordsPane } from "/static/words.js";

const desk = byId("desk");
const { run, status, sound } = desk.dataset;
const state = {};
/** Word of the run -> the first line that stands on it. */
let lineOfWord = [];

const changes = new Changes(run, {
  state,
  onchange(answer, said) {
    changes.tell("");
    changes.form = null;
    record.update(answer);
    remarks.build({ ...answer, front: state.front });
    record.compute(answer.computed ?? []);
    stations(answer.heads);
    know(answer);
    setText(byId("told"), said);
  },
  async onstale(message) {
    await open();
    changes.tell(message);
  },
});

const record = new RecordPane({
  tools: (line) => (status === "finished" ? changes.tools(line) : element("div", { class: "tools" })),
  onchoose(line, how) {
    if (changes.form && !byId(`line-${line.id}`).contains(changes.form)) changes.close();
    words.show(line.moment.words);
    if (how === "click") play(line);
  },
});

const words = new WordsPane({
  onpick(word, said) {
    const line = lineOfWord[word];
    if (line) record.choose(line, "jump");
    else words.show([word, word]);
    const times = said.words?.[word - (said.first ?? 0)];
    if (times?.[2] !== null && times?.[2] !== undefined && !player.playing) player.seek(times[2]);
  },
  onplay(said) {
    const first = said.first ?? 0;
    hear([first, first + said.words.length - 1]);
  },
});

const remarks = new RemarksPane({ onmoment: (moment) => go(moment) });

const player = new Player(run, Number(sound), {
  ontime(seconds) {
    const word = words.follow(seconds);
    if (word !== null) record.sound(lineOfWord[word] ?? null);
  },
  onstop() {
    words.unfollow();
    record.sound(null);
  },
});

function play(line) {
  if (player.playing && player.part?.startsWith("clip") && play.line === line.id) {
    player.stop();
    return;
  }
  play.line = line.id;
  hear(line.moment.words);
}

/** Hear exactly these words of the run. */
function hear(range) {
  const span = words.spanOf(range);
  if (span) player.clip(span);
}

/** To a moment that a remark is about: its line, its words, its sound. */
function go(moment) {
  show("record");
  const line = moment.line ?? lineOfWord[moment.words[0]];
  if (line) record.choose(line, "jump");
  words.show(moment.words);
  if (moment.end !== undefined) hear(moment.words);
  else if (moment.start !== undefined) player.seek(moment.start);
}

function know({ revision, undoable, waiting }) {
  Object.assign(state, { revision, undoable });
  byId("undo").disabled = !undoable || status !== "finished";
  setText(byId("waiting"), waiting ? `· ${waiting} to confirm` : "");
  lineOfWord = [];
  for (const line of record.lines.values()) {
    const [first, last] = line.moment.words;
    for (let word = first; word <= last; word += 1) if (!line.withdrawn) lineOfWord[word] ??= line.id;
  }
}

function stations(heads) {
  byId("stations").replaceChildren(...heads.map(({ id, title, coverage, missing }) => {
    const how = coverage === "partial" ? `${missing?.length ?? 0} left` : coverage === "missing" ? "none" : "all";
    return element("li", { "data-how": coverage },
      element("span", { class: `fill ${coverage}`, "aria-hidden": "true" }),
      element("button", { type: "button", class: "title", "data-station": id, text: title }),
      element("span", { class: "how", text: how, title: missing ? `Not heard: ${missing.join("; ")}` : "All that is usual was heard" }));
  }));
  const done = heads.filter(({ coverage }) => coverage === "documented").length;
  setText(byId("stations-sum"), `${done} of ${heads.length} documented`);
}

byId("stations").addEventListener("click", ({ target }) => {
  const chosen = target.closest("[data-station]");
  if (!chosen) return;
  show("record");
  const section = byId(`at-${chosen.dataset.station}`);
  const first = section.querySelector(".line");
  if (first) record.choose(first.dataset.line, "jump");
  else section.focus();
});

byId("record").addEventListener("click", ({ target }) => {
  const loose = target.closest("[data-words]");
  if (!loose) return;
  const [first, last] = loose.dataset.words.split("-").map(Number);
  words.show([first, last]);
  hear([first, last]);
});

/** On a narrow screen one pane is shown at a time. */
function show(view) {
  desk.dataset.view = view;
  for (const button of document.querySelectorAll("[data-view][aria-pressed]")) {
    button.setAttribute("aria-pressed", String(button.dataset.view === view));
  }
}
for (const button of document.querySelectorAll("button[data-view]")) button.addEventListener("click", () => show(button.dataset.view));

async function open() {
  const answer = await fetch(`/runs/${run}/view.json`).catch(() => null);
  const view = await answer?.json().catch(() => null);
  if (!answer?.ok || !view) {
    changes.tell(view?.error ?? "Crownsole does not answer. Is it still running?");
    return;
  }
  const before = record.chosen;
  state.front = view.front;
  words.build(view.utterances ?? []);
  record.chosen = null;
  record.build({ ...view, stations: view.stations ?? [] });
  remarks.build({ ...view, marks: view.marks ?? [] });
  stations(view.stations ?? []);
  setText(byId("record-sum"), `${record.lines.size} ${record.lines.size === 1 ? "line" : "lines"}`);
  know(view);
  byId("packs").replaceChildren(...(view.packs ?? []).map((text) => element("p", { class: "notice", text })));
  byId("changed").hidden = !view.changed_lexicon;
  if (status === "interrupted") unfinished();
  const wanted = record.lineOf(before ?? location.hash.slice(1));
  if (wanted) record.choose(wanted, "jump");
  desk.dataset.ready = "";
}

/** A run that broke off takes changes once it is ended. */
function unfinished() {
  const notice = byId("notice");
  notice.hidden = false;
  notice.replaceChildren(
    "This run broke off. It can be gone on with on the page of practice; to change it here, end it as it stands. ",
    element("button", { type: "button", text: "End it as it stands", onclick: async () => {
      try {
        await ask(`/runs/${run}/end`);
        location.reload();
      } catch (error) {
        changes.tell(error.message);
      }
    } }),
  );
}

byId("undo").addEventListener("click", () => changes.undo());

const help = byId("keys-dialog");
const openHelp = () => help.showModal();
byId("help").addEventListener("click", openHelp);
byId("keys-close").addEventListener("click", () => help.close());
byId("keys-on").checked = stored("review-keys", true);
const showKeys = () => document.body.toggleAttribute("data-keys", byId("keys-on").checked);
byId("keys-on").addEventListener("change", ({ target }) => {
  store("review-keys", target.checked);
  showKeys();
});
showKeys();
reviewKeys({ allowed: () => byId("keys-on").checked, record, changes, player, play, help: openHelp });
new Again(run, { onstale: (message) => changes.onstale(message) });
addEventListener("click", ({ target }) => {
  for (const menu of document.querySelectorAll("details.menu[open]")) if (!menu.contains(target)) menu.open = false;
});
await open();
