// What is taken along: the fields of the day, the files made from the lines, and the line moved aside.

import { all, el, one, table } from "./dom.js";
import { plain, post, Refused } from "./talk.js";

export class DayForm {
  /** @param hooks content: () => {lines, active}, tells: (sentence or ""), changed: () => void */
  constructor(values, hooks) {
    this.fields = all("#day input");
    this.hooks = hooks;
    this.fill(values);
    one("#day").addEventListener("input", () => hooks.changed());
    one("#day").addEventListener("submit", (event) => event.preventDefault());
    all("[data-make]").forEach((button) => button.addEventListener("click", () => this.#busy(button, () => this.#make(button.dataset.make))));
    one("#shift").addEventListener("click", (event) => this.#busy(event.target, () => this.#shift()));
  }

  fill(values) { this.fields.forEach((field) => { field.value = values?.[field.name] ?? ""; }); }

  get values() { return Object.fromEntries(this.fields.map((field) => [field.name, field.value])); }

  async #busy(button, task) {
    button.disabled = true;
    button.classList.add("busy");
    try {
      await task();
      this.hooks.tells("");
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.hooks.tells(error.message);
    } finally {
      button.disabled = false;
      button.classList.remove("busy");
      button.focus();
    }
  }

  #asked() {
    const { lines, active } = this.hooks.content();
    return { lines: plain(lines), active, day: this.values };
  }

  async #make(what) {
    const response = await post(`make/${what}`, this.#asked());
    const said = /filename="([^"]+)"/.exec(response.headers.get("Content-Disposition") ?? "");
    const href = URL.createObjectURL(await response.blob());
    const link = el("a", { href, download: said?.[1] ?? what });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(href), 60_000);
  }

  async #shift() {
    const line = () => { const { lines, active } = this.#asked(); return JSON.stringify([lines, active]); };
    const before = line();
    const found = await (await post("shift", this.#asked())).json();
    if (line() !== before) throw new Refused("The line has changed meanwhile: shift it again.");
    one("#shifted").replaceChildren(table(found, "The line moved to either side"));
    one("#shifted").scrollIntoView({ block: "nearest" });
  }
}
