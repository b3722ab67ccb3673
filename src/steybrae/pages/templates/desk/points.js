// The lines and points in words, beside the map: all that the map can do, without a pointer.

import { all, el, one } from "./dom.js";
import { post, Refused } from "./talk.js";

export class PointList {
  #lines; #hooks; #names = "";

  /** @param hooks tells: (sentence or ""), pressed: (event, index), seen: (point) */
  constructor(lines, hooks) {
    this.#lines = lines;
    this.#hooks = hooks;
    const on = (what, tasks) => Object.entries(tasks).forEach(([id, task]) => one(id).addEventListener(what, (event) => task(event.target.value, event)));
    on("change", { "#which": (k) => lines.activate(Number(k)), "#line-name": (name) => lines.named(name), "#role": (role) => lines.given(role) });
    on("click", {
      "#reverse": () => lines.reverse(), "#drop-line": () => lines.dropLine(), "#join": () => lines.join(Number(one("#other").value)),
      "#insert": () => lines.insertAfter(lines.chosen), "#split": () => lines.split(lines.chosen),
      "#drop": () => { lines.remove(lines.chosen); this.focus(); },
    });
    on("submit", { "#typed": (_, event) => { event.preventDefault(); this.#typed(); } });
  }

  async #typed() {
    const field = one("#typed-text");
    const { last } = this.#lines;
    try {
      const after = last && (last.lat === undefined ? { row: last.row, col: last.col } : { lat: last.lat, lon: last.lon });
      const { point, note = "", refused = note } = await (await post("typed", { text: field.value, after })).json();
      this.#hooks.tells(refused);
      if (!point) return;
      this.#lines.add({ ...point, name: point.name ?? "" });
      this.#hooks.seen(point);
      field.value = "";
      field.focus();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.#hooks.tells(error.message);
    }
  }

  show() {
    const { lines, active, line, points, chosen } = this.#lines;
    const names = lines.map((each, k) => `${k + 1}: ${each.name || each.role}`);
    const shown = [active, ...names].join("\n");
    if (shown !== this.#names) {  // an open list of lines stays open
      this.#names = shown;
      const options = () => names.map((text, k) => el("option", { value: k, selected: k === active }, text));
      one("#which").replaceChildren(...options());
      one("#other").replaceChildren(...options().toSpliced(active, 1));
      if (active < lines.length - 1) one("#other").value = active + 1;
    }
    one("#line-name").value = line.name;
    one("#role").value = line.role;
    one("#joining").hidden = lines.length < 2;
    one("#reverse").disabled = points.length < 2;
    one("#insert").disabled = chosen < 0 || chosen === points.length - 1;
    one("#split").disabled = chosen < 1 || chosen > points.length - 2;
    one("#drop").disabled = chosen < 0;
    this.#rows(points, chosen);
  }

  // Rows stay the same elements as long as they can, so that the keyboard's place is not lost.
  #rows(points, chosen) {
    const list = one("#points");
    while (list.children.length > points.length) list.lastElementChild.remove();
    while (list.children.length < points.length) list.append(this.#row(list.children.length));
    points.forEach((point, k) => {
      const [button, name] = list.children[k].children;
      button.setAttribute("aria-pressed", k === chosen);
      one("span", button).textContent = point.written ?? "…";
      if (name !== document.activeElement) name.value = point.name;
    });
  }

  #row(index) {
    const button = el("button", { type: "button", class: "point-row" }, el("b", {}, String(index + 1)), " ", el("span"));
    button.addEventListener("click", () => this.#lines.choose(index));
    button.addEventListener("focus", () => { if (this.#lines.chosen !== index) this.#lines.choose(index); });
    button.addEventListener("keydown", (event) => this.#hooks.pressed(event, index));
    const name = el("input", { "aria-label": `Name of point ${index + 1}`, placeholder: "name", autocomplete: "off", maxlength: "200" });
    name.addEventListener("change", () => this.#lines.rename(index, name.value));
    return el("li", {}, button, name);
  }

  /** Put the keyboard on the chosen point's row. */
  focus() { all("#points > li > button")[this.#lines.chosen]?.focus(); }
}
