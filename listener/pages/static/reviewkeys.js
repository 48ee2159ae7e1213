// Single keys of the review. Nothing depends on them; they can be switched off, and never act where one types.

export function reviewKeys({ allowed, record, changes, player, play, help }) {
  const chosen = () => record.lines.get(record.chosen);
  const does = {
    j: () => record.step(1),
    k: () => record.step(-1),
    n: () => record.nextWaiting() || changes.say("No line waits to be confirmed."),
    c: () => changes.confirm(chosen()),
    a: () => changes.amend(chosen()),
    w: () => changes.withdraw(chosen()),
    u: () => changes.undo(),
    "?": help,
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.defaultPrevented) return;
    if (document.querySelector("dialog[open]") || event.target.closest("input, select, textarea")) return;
    if (event.key === "Escape") {
      if (!changes.close()) player.stop();
      return;
    }
    if (!allowed()) return;
    const inRecord = Boolean(event.target.closest("#record"));
    if ((event.key === "ArrowDown" || event.key === "ArrowUp") && (inRecord || event.target === document.body)) {
      event.preventDefault();
      record.step(event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === " " && event.target === document.body && chosen()) {
      event.preventDefault();
      play(chosen());
    } else if (!event.repeat || event.key === "j" || event.key === "k") {
      const act = does[event.key.length === 1 ? event.key.toLowerCase() : ""];
      if (!act) return;
      event.preventDefault();
      act();
    }
  });
}
