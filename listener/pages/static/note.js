// The note: printing is asked of the browser.

document.getElementById("print").addEventListener("click", () => window.print());
