// What the line meets, in the server's words: headline, facts, places, profile, legs, cautions.

import { all, el, one, table } from "./dom.js";

const PINNED = 2; // paragraphs of the headline that stay in view, whatever else is shown

const list = (texts, tag = "p") => texts.map((text) => el(tag, {}, text));

function folded(head, ...content) {
  return content.length ? [el("details", { "data-fold": head }, el("summary", {}, head), ...content)] : [];
}

export class AnswerPanel {
  #found = null; #profile; #hooks; #metres = 0;

  /** @param hooks marks: (path or null), goes: (path), here: (metres or null) */
  constructor(hooks) {
    this.#hooks = hooks;
    this.#profile = el("div", {
      class: "profile", id: "profile", role: "slider", tabindex: "0", hidden: true,
      "aria-label": "Place along the line. Arrow keys move it.", "aria-valuemin": "0", "aria-valuemax": "0", "aria-valuenow": "0",
    });
    one("#along").append(this.#profile);
    this.#profile.addEventListener("pointermove", (event) => this.#pointed(event));
    this.#profile.addEventListener("pointerdown", (event) => this.#pointed(event));
    this.#profile.addEventListener("pointerleave", () => this.#show(null));
    this.#profile.addEventListener("keydown", (event) => this.#pressed(event));
  }

  /** While a newer answer is awaited the one shown says that it is for the earlier line. */
  old(is, without = "The answer is being worked out") {
    one("#pending").hidden = !is;
    one("#pending").textContent = this.#found ? "Answer for the earlier line" : without;
    document.body.classList.toggle("old", is);
  }

  show(found) {
    this.#found = found.refused ? null : found;
    const open = new Set(all("#found details[open]").map((node) => node.dataset.fold));
    one("#findings").replaceChildren(...list(found.refused ? [] : found.findings));
    one("#headline").replaceChildren(...list(found.refused ? [found.refused] : found.headline.slice(0, PINNED)));
    one("#found").replaceChildren(...(found.refused ? [] : this.#content(found)));
    all("#found details").forEach((node) => { node.open = open.has(node.dataset.fold); });
    if (found.cautions) this.cautions(found.cautions);
    this.#draw(found.profile);
    one("#panel").dataset.sequence = found.sequence;
  }

  cautions(texts) {
    one("#cautions").replaceChildren(el("h2", {}, "Cautions"), el("ul", {}, ...list(texts, "li")));
  }

  #content(found) {
    const [long, short] = [found.places.filter((place) => place.long), found.places.filter((place) => !place.long)];
    return [
      ...list(found.headline.slice(PINNED)),
      el("dl", { class: "facts" }, ...found.facts.map(([name, text]) => el("div", {}, el("dt", {}, name), el("dd", {}, text)))),
      ...(found.places.length ? [el("h2", {}, "Places that matter"), this.#places(long)] : []),
      ...(short.length ? folded(`${short.length} more, a line each`, this.#places(short)) : []),
      ...list(found.notes ?? []),
      ...(found.beside ? [table(found.beside, "Lines side by side")] : []),
      ...(found.forecast.length ? [el("h2", {}, "Forecast"), ...list(found.forecast)] : []),
      ...(found.overhead.length ? folded("Overhead", el("ul", {}, ...found.overhead.map((line) => el("li", {}, line.words)))) : []),
      ...folded("Legs", table(found.legs, "Legs")),
    ];
  }

  #places(places) {
    return el("ul", { class: "places" }, ...places.map((place) => {
      const button = el("button", { type: "button", class: "letter", "aria-label": `Show place ${place.name} on the map` }, place.name);
      const item = el("li", { "data-place": place.name }, button, el("p", {}, el("b", {}, place.head), " ", place.words));
      button.addEventListener("click", () => this.#hooks.goes(place.path));
      for (const [when, path] of [["pointerenter", place.path], ["pointerleave", null], ["focusin", place.path], ["focusout", null]]) {
        item.addEventListener(when, () => this.#hooks.marks(path));
      }
      return item;
    }));
  }

  /** Show the words of a place that was chosen on the map. */
  place(name) {
    const item = all("[data-place]").find((node) => node.dataset.place === name);
    if (!item) return;
    item.closest("details")?.setAttribute("open", "");
    item.scrollIntoView({ block: "nearest" });
    one("button", item).focus();
  }

  // --- profile --------------------------------------------------------------------------------
  #draw(profile) {
    this.#profile.hidden = !profile;
    if (!profile) return;
    // Drawn by the server; it holds no text that somebody else wrote, and no script would run.
    const drawn = new DOMParser().parseFromString(profile.html, "text/html");
    this.#profile.replaceChildren(...drawn.body.childNodes);
    this.#profile.setAttribute("aria-valuemax", Math.round(profile.length_m));
  }

  #pointed(event) {
    const panel = one(".panel", this.#profile);
    if (!panel) return;
    const { left, width } = panel.getBoundingClientRect();
    this.#show(Math.max(0, Math.min(1, (event.clientX - left) / width)) * this.#found.profile.length_m);
  }

  #pressed(event) {
    const step = (this.#found?.profile.length_m ?? 0) / 100;
    const steps = { ArrowRight: step, ArrowUp: step, ArrowLeft: -step, ArrowDown: -step, Home: -Infinity, End: Infinity };
    if (!(event.key in steps)) return;
    event.preventDefault();
    this.#show(Math.max(0, Math.min(this.#found.profile.length_m, this.#metres + steps[event.key])));
  }

  #show(metres) {
    this.cursor(metres);
    this.#hooks.here(metres);
  }

  /** Put the profile's line at a chainage; null takes it away. */
  cursor(metres) {
    if (!this.#found?.profile) return;
    const share = metres === null ? -1 : (100 * metres) / this.#found.profile.length_m;
    all(".cursor", this.#profile).forEach((line) => { line.setAttribute("x1", `${share}%`); line.setAttribute("x2", `${share}%`); });
    if (metres === null) return;
    this.#metres = metres;
    this.#profile.setAttribute("aria-valuenow", Math.round(metres));
  }
}
