// The list of kept runs: files that are dropped or chosen go in one after another; a run is removed when that is sure.

import { ask } from "/static/asking.js";
import { byId, element, setText } from "/static/dom.js";

const LARGEST = 2 * 1024 ** 3;
const EVERY_MS = 400;
const token = document.querySelector('meta[name="crownsole-token"]').content;

/** Sends a file, telling its share that is sent; the job that takes it. */
function send(file, tell) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", `/taking?name=${encodeURIComponent(file.name)}`);
    request.setRequestHeader("X-Crownsole-Token", token);
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.addEventListener("progress", ({ loaded, total }) => tell(total ? loaded / total : 0));
    request.addEventListener("error", () => reject(new Error("Crownsole does not answer. Is it still running?")));
    request.addEventListener("load", () => {
      let said = {};
      try {
        said = JSON.parse(request.responseText);
      } catch {
        // Refused before it was read: told below.
      }
      if (request.status === 200) resolve(said);
      else reject(new Error(said.error ?? (request.responseText.trim() || "This file could not be taken.")));
    });
    request.send(file);
  });
}

class Row {
  constructor(name) {
    this.name = name;
    this.said = element("span", { class: "said", text: "waiting to be sent" });
    this.bar = element("progress", { max: "1", value: "0", "aria-label": `How far ${name} is` });
    this.end = element("span", { class: "end" });
    this.node = element("li", {}, element("b", { text: name }), this.said, this.bar, this.end);
    byId("jobs").append(this.node);
  }

  tell(said, share) {
    setText(this.said, said);
    if (share === null || share === undefined) this.bar.removeAttribute("value");
    else this.bar.value = share;
  }

  finish(said, link) {
    this.bar.hidden = true;
    setText(this.said, said);
    if (link) this.end.append(element("a", { href: link, text: "Review it", "aria-label": `Review ${this.name}` }));
    setText(byId("told"), `${this.name}: ${said}`);
  }

  fail(said) {
    this.node.classList.add("failed");
    this.finish(`Not taken. ${said}`);
  }
}

async function take(file, row) {
  if (!file.size) throw new Error("It is empty.");
  if (file.size > LARGEST) throw new Error("It is larger than 2 GB. Cut it into parts.");
  await follow(await send(file, (share) => row.tell("being sent", share)), row);
}

/** Tells how far a file is until it is in the archive. */
async function follow(first, row) {
  let job = first;
  while (job.state === "waiting" || job.state === "working") {
    row.tell(job.said, job.done);
    await new Promise((resolve) => setTimeout(resolve, EVERY_MS));
    const answer = await fetch(`/taking/${job.id}`);
    if (!answer.ok) throw new Error("Crownsole does not answer. Is it still running?");
    job = await answer.json();
  }
  if (job.state === "failed") throw new Error(job.said);
  row.finish("kept", `/runs/${job.run}`);
}

let last = Promise.resolve();

function takeAll(files) {
  for (const file of files) {
    const row = new Row(file.name);
    last = last.then(() => take(file, row).catch((error) => row.fail(error.message)));
  }
}

/** Files that were on their way in when this page was opened. */
for (const node of [...document.querySelectorAll("[data-job]")]) {
  const row = new Row(node.textContent);
  follow({ id: node.dataset.job, state: "waiting", said: "waiting for its turn", done: null }, row).catch((error) => row.fail(error.message));
  node.remove();
}

byId("files").addEventListener("change", ({ target }) => {
  takeAll([...target.files]);
  target.value = "";
});

const holdsFiles = (event) => event.dataTransfer?.types.includes("Files");
addEventListener("dragover", (event) => {
  if (!holdsFiles(event)) return;
  event.preventDefault();
  byId("taking").classList.add("over");
});
addEventListener("dragleave", (event) => {
  if (!event.relatedTarget) byId("taking").classList.remove("over");
});
addEventListener("drop", (event) => {
  if (!holdsFiles(event)) return;
  event.preventDefault();
  byId("taking").classList.remove("over");
  takeAll([...event.dataTransfer.files]);
});

const removal = byId("removal");
let chosen = null;
for (const button of document.querySelectorAll("[data-remove]")) {
  button.addEventListener("click", () => {
    chosen = button;
    setText(byId("removal-source"), button.dataset.source);
    setText(byId("removal-about"), button.dataset.about);
    setText(byId("removal-error"), "");
    removal.showModal();
  });
}
byId("removal-no").addEventListener("click", () => removal.close());
byId("removal-yes").addEventListener("click", async () => {
  const run = chosen.dataset.remove;
  try {
    const { said } = await ask(`/runs/${run}/remove`, { remove: run });
    removal.close();
    byId(`run-${run}`).remove();
    setText(byId("told"), said);
    byId("main").focus();
  } catch (error) {
    setText(byId("removal-error"), error.message);
  }
});
