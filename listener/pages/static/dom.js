// Small helpers to build a page from values. Text is always set as text, never as markup.

export const byId = (id) => document.getElementById(id);

/** An element with properties (class, text, data-*, on...) and children. */
export function element(name, properties = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(properties)) {
    if (value === undefined || value === null || value === false) continue;
    if (key === "text") made.textContent = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/** Sets the text when it differs, so that nothing is read out twice or drawn again. */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** A long list in pieces, each of which the browser draws only when it comes into view. */
export function chunks(values, size = 40) {
  return Array.from({ length: Math.ceil(values.length / size) }, (_, i) => values.slice(i * size, (i + 1) * size));
}

/** Seconds as m:ss. */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

/** A value kept in this browser, or what stands in for it. */
export function stored(name, otherwise) {
  try {
    return JSON.parse(localStorage.getItem(`crownsole-${name}`)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

export function store(name, value) {
  try {
    localStorage.setItem(`crownsole-${name}`, JSON.stringify(value));
  } catch {
    // Storage may be switched off; the choice then lasts as long as the page.
  }
}
