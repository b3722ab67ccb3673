// The lines and points in words, beside the map: all that the map can do, without a pointer.

import { all, el, one } from "./dom.js";
import { post, Refused } from "./talk.js";

export class PointList {
  #lines; #hooks; #names = "";

  /** @param hooks tells: (sentence or ""), pressed: (event, index), seen: (point) */
  constructor(lines, hooks) {
    this.#lines = lines;
    this.#hooks = hooks;
    const on = (id, what, task) => one(id).addEventListener(what, task);
    on("#which", "change", (event) => lines.activate(Number(event.target.value)));
    on("#line-name", "change", (event) => lines.named(event.target.value));
    on("#role", "change", (event) => lines.given(event.target.value));
    on("#reverse", "click", () => lines.reverse());
    on("#join", "click", () => lines.join(Number(one("#other").value)));
    on("#drop-line", "click", () => lines.dropLine());
    on("#insert", "click", () => lines.insertAfter(lines.chosen));
    on("#split", "click", () => lines.split(lines.chosen));
    on("#drop", "click", () => { lines.remove(lines.chosen); this.focus(); });
    on("#typed", "submit", (event) => { event.preventDefault(); this.#typed(); });
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
    if (names.join("\n") !== this.#names) {  // an open list of lines stays open
      this.#names = names.join("\n");
      one("#which").replaceChildren(...names.map((text, k) => el("option", { value: k }, text)));
      one("#other").replaceChildren();
    }
    const others = names.map((text, k) => el("option", { value: k }, text)).toSpliced(active, 1);
    if (one("#other").dataset.active !== `${active}` || one("#other").options.length !== others.length) {
      one("#other").replaceChildren(...others);
      one("#other").dataset.active = active;
      if (active < lines.length - 1) one("#other").value = active + 1;
    }
    one("#which").value = active;
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
