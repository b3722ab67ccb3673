// Elements made by hand: text only ever becomes text, never markup.

export const one = (query, within = document) => within.querySelector(query);
export const all = (query, within = document) => [...within.querySelectorAll(query)];

// A number is not parted from its unit, nor degrees from their plus: as in pages written whole.
const APART = /(\d) (?=(?:{{ units }})(?!\w))|(°)(?=\+)/g;
const unbroken = (child) => (typeof child === "string" ? child.replace(APART, (_, figure, sign) => (figure ? `${figure}\u00a0` : `${sign}\u2060`)) : child);

/** An element with attributes and children; a string among the children is text. */
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== null && value !== false) node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.map(unbroken));
  return node;
}

const SVG = "http://www.w3.org/2000/svg";

export function svg(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  node.append(...children);
  return node;
}

/** A table of texts, as the server words them: {columns, rows}. */
export function table({ columns, rows }, caption) {
  return el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": caption },
    el("table", {},
      el("caption", {}, caption),
      el("thead", {}, el("tr", {}, ...columns.map((text) => el("th", { scope: "col" }, text)))),
      el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((text, k) =>
        k === 0 ? el("th", { scope: "row" }, text) : el("td", {}, text)))))));
}

export function later(delay, task) {
  let waiting = 0;
  return (...given) => {
    clearTimeout(waiting);
    waiting = setTimeout(task, delay, ...given);
  };
}
