// Runs before the page is drawn, so that a chosen appearance does not flash the other one first.
(() => {
  const names = { system: "as the system", light: "light", dark: "dark" };
  const order = Object.keys(names);
  const stored = () => {
    try {
      const name = localStorage.getItem("crownsole-theme");
      return order.includes(name) ? name : "system";
    } catch {
      return "system";
    }
  };
  let theme = stored();
  const apply = () => {
    const root = document.documentElement;
    if (theme === "system") delete root.dataset.theme;
    else root.dataset.theme = theme;
    const button = document.getElementById("theme");
    if (button) button.textContent = `Appearance: ${names[theme]}`;
  };
  apply();
  document.addEventListener("DOMContentLoaded", () => {
    apply();
    document.getElementById("theme")?.addEventListener("click", () => {
      theme = order[(order.indexOf(theme) + 1) % order.length];
      try {
        localStorage.setItem("crownsole-theme", theme);
      } catch {
        // Storage may be switched off; the choice then lasts as long as the page.
      }
      apply();
    });
  });
})();
