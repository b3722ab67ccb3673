// The desk: joins the lines, the map, the words beside it, and the server.

import { AnswerPanel } from "./answer.js";
import { DayForm } from "./day.js";
import { all, el, later, one } from "./dom.js";
import { Lines } from "./lines.js";
import { DeskMap, swatch } from "./map.js";
import { PointList } from "./points.js";
import { Draft, get, Newest, plain, post, postGpx, Refused } from "./talk.js";

// Steps of the pointer within this are one: a point let go so soon asks once.
const ON_THE_WAY_MS = 40;

function tell(sentence) {
  one("#notice").textContent = sentence;
  one("#notice").hidden = !sentence;
}

/** Do it, and tell what the server refuses. */
async function trying(task) {
  try {
    await task();
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    tell(error.message);
  }
}

// --- tabs and drawer --------------------------------------------------------------------------
function turnTo(tab) {
  document.body.dataset.tab = tab.id;
  all("[role=tab]").forEach((each) => {
    each.setAttribute("aria-selected", each === tab);
    each.tabIndex = each === tab ? 0 : -1;
    document.getElementById(each.getAttribute("aria-controls")).hidden = each !== tab;
  });
}

function wireTabs() {
  const tabs = all("[role=tab]");
  tabs.forEach((tab, k) => {
    tab.addEventListener("click", () => turnTo(tab));
    tab.addEventListener("keydown", (event) => {
      const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!step) return;
      const next = tabs[(k + step + tabs.length) % tabs.length];
      turnTo(next);
      next.focus();
    });
  });
  one("#handle").addEventListener("click", () => {
    const large = document.body.classList.toggle("large");
    one("#handle").setAttribute("aria-expanded", large);
    one("#handle").setAttribute("aria-label", large ? "Larger map" : "Larger answer");
  });
}

function showLegend(model, map) {
  one("#layers").append(...map.layers.map((layer) => {
    const box = el("input", { type: "checkbox", checked: layer.on || layer.always, disabled: layer.always });
    box.addEventListener("change", () => map.turn(layer.key, box.checked));
    return el("label", {}, box, " ", layer.title);
  }));
  one("#legend").append(...model.legend.map((entry) => el("li", {}, swatch(entry), " ", el("span", { id: `is-${entry.pattern}` }, entry.label))));
  map.zoomed((zoom) => {
    one("#is-contour").textContent = model.intervals[zoom];
    one("#coarse").hidden = zoom >= model.zones_from;
  });
  one("#key").open = matchMedia("(min-width: 60rem)").matches;
}

/** Coarse tiles show the steepest only once the whole model has been read: until then they are asked for again. */
async function follow(map) {
  for (let last = 0; ;) {
    const { done, tick, words } = await get("looked");
    one("#looked").textContent = words;
    one("#looked").hidden = done;
    if (tick === last || map.renew(tick)) {
      if (done) return;
      last = tick;
    }
    await new Promise((ready) => { setTimeout(ready, 1000); });
  }
}

// --- the page ---------------------------------------------------------------------------------
function openDesk({ draft: kept = { revision: 0, lines: [] }, ...model }) {
  let drawing = false;
  let ends = null; // of the forecast, which expires while nobody draws
  let asked = 0;
  let shape = "";
  let unanswered = ""; // what was told where an answer failed
  let onTheWay; // of a point that is dragged
  let way = 0;
  const day = new DayForm(kept.day, {
    content: () => ({ lines: lines.lines, active: lines.active }), tells: tell, changed: () => draft.changed(),
  });

  // The answer: asked again after each change, and while a point is dragged.
  const asking = new Newest(async (state, number, signal) => {
    try {
      const message = { sequence: number, lines: plain(state), active: lines.active };
      const found = await (await post("answer", message, { signal })).json();
      // A point let go where it was dragged to is another object at the same place.
      const same = JSON.stringify(plain(lines.lines)) === JSON.stringify(plain(state));
      for (const one of same ? [state, lines.lines] : [state]) lines.settle(one, found.points ?? []);
      panel.show(found);
      if (one("#notice").textContent === unanswered) tell("");
      ends = found.forecast_ends ?? null;
      map.answer(found.refused ? null : found);
      list.show();
    } catch (error) {
      if (signal.aborted) return;
      shape = "";
      panel.old(true, "No answer for this line");
      if (!(error instanceof Refused)) throw error;
      unanswered = error.message;
      tell(unanswered);
      return; // what is shown stays that of the earlier line
    }
    panel.old(number !== asked);
  });

  /** Ask about lines; `atOnce`: in place of what is being worked out, which else is waited for. */
  function answer(state = lines.lines, atOnce = false) {
    const wanted = JSON.stringify([plain(state), lines.active]);
    if (wanted !== shape) {
      shape = wanted;
      asked += 1;
      panel.old(true);
      asking.ask(state, asked);
    }
    if (atOnce) asking.hurry(); // a point is let go where its last step was asked about, too
  }

  setInterval(() => {
    if (ends === null || !lines.points.length || Date.now() <= Date.parse(ends)) return;
    [ends, shape] = [null, ""];
    answer();
  }, 30000);

  function draw(on) {
    drawing = on;
    document.body.classList.toggle("drawing", on);
    one("#draw").setAttribute("aria-pressed", on);
    if (on) lines.choose(-1);
  }

  function refresh() {
    map.show(lines.lines, lines.active, lines.chosen);
    list.show();
    one("#undo").disabled = !lines.canUndo;
    one("#redo").disabled = !lines.canRedo;
  }

  const lines = new Lines(kept.lines, (what) => {
    refresh();
    if (what === "chosen") return;
    one("#shifted").replaceChildren(); // it was of the line before
    clearTimeout(way); // a line put in place of the one that is dragged is not asked about as that was
    way = 0;
    if (what === "changed") draft.changed();
    answer();
  });

  /** Keys on a point, on the map or in the list. */
  function pressed(event, index) {
    const point = lines.points[index];
    const stepped = map.stepped(point, event);
    if (stepped) lines.move(index, stepped);
    else if (event.key === "Delete" || event.key === "Backspace") lines.remove(index);
    else if (event.key === "Insert") lines.insertAfter(index);
    else return;
    event.preventDefault();
    event.stopPropagation();
    if (event.target.closest("#points")) list.focus();
    else map.focus(lines.chosen);
  }

  const pointing = new Newest((point) => trying(async () => {
    await asking.rest; // what is under the pointer has time: the answer has the processor
    const said = await (await post("place", point)).json();
    one("#under").replaceChildren(...[said.written, ...said.lines].map((text) => el("span", {}, text)));
  }));
  const under = later(120, (point) => pointing.ask(point));

  const map = new DeskMap(model, {
    clicked: (point) => {
      if (!drawing) { lines.choose(-1); under(point); }
      else if (lines.last?.row !== point.row || lines.last.col !== point.col) lines.add(point);  // not twice by a double click
    },
    added: (point) => lines.add(point),
    inserted: (point, leg) => lines.add(point, leg),
    activated: (index) => lines.activate(index),
    chosen: (index) => { if (lines.chosen !== index) lines.choose(index); },
    dragged: (index, point) => {
      const state = lines.dragged(index, point);
      map.show(state, lines.active, index);
      onTheWay = state;
      way ||= setTimeout(() => { way = 0; answer(onTheWay); }, ON_THE_WAY_MS);
    },
    dropped: (index, point) => {
      answer(lines.dragged(index, point), true);
      lines.move(index, point);
    },
    pressed,
    pointed: (point) => { if (matchMedia("(hover: hover)").matches) under(point); },
    moved: (point) => { if (document.activeElement === one("#map")) under(point); },
    near: (metres) => { panel.cursor(metres); map.here(metres); },
    placed: (name) => { turnTo(one("#tab-answer")); panel.place(name); },
  });
  const panel = new AnswerPanel({ marks: (path) => map.mark(path), goes: (path) => map.fit(path), here: (metres) => map.here(metres) });
  const list = new PointList(lines, { tells: tell, pressed, seen: () => map.fit() });

  // What the server keeps for the next time, and what another page wrote meanwhile.
  let theirs = null;
  const draft = new Draft(kept.revision, {
    content: () => ({ lines: plain(lines.lines), day: day.values }),
    told: (text, kept) => { one("#kept").textContent = text; document.body.classList.toggle("unkept", !kept); },
    conflict: (found) => { theirs = found; one("#conflict").showModal(); },
  });
  one("#conflict").addEventListener("cancel", (event) => event.preventDefault());
  one("#take-theirs").addEventListener("click", () => resolve(theirs.lines, theirs.day));
  one("#keep-mine").addEventListener("click", () => {
    const mine = lines.lines.filter((line) => line.points.length)
      .map((line) => ({ ...line, role: "alternative", name: `${line.name || line.role} (this page)` }));
    const typed = Object.entries(day.values).filter(([, text]) => text);
    resolve([...theirs.lines, ...mine], { ...theirs.day, ...Object.fromEntries(typed) });
  });

  function resolve(both, values) {
    one("#conflict").close();
    draft.accept(theirs.revision);
    day.fill(values);
    lines.replace(both);
  }

  for (const [id, task] of Object.entries({
    draw: () => draw(!drawing), undo: () => lines.undo(), redo: () => lines.redo(), whole: () => map.fit(),
    "new-line": () => { lines.newLine(); draw(true); }, open: () => one("#file").click(),
  })) one(`#${id}`).addEventListener("click", task);
  one("#file").addEventListener("change", ({ target }) => trying(async () => {
    const [file] = target.files;
    if (!file) return;
    const { lines: found, refused } = await postGpx(file);
    target.value = "";
    tell(refused ?? "");
    lines.addLines(found ?? []);
    map.fit();
  }));
  document.addEventListener("pointerdown", () => document.body.classList.remove("keys"));
  document.addEventListener("keydown", (event) => {
    document.body.classList.add("keys");
    if (event.key === "Escape") { draw(false); return; }
    if (event.target.matches("input, select")) return;
    const key = event.key.toLowerCase();
    const control = event.ctrlKey || event.metaKey;
    if (control && key === "z") (event.shiftKey ? lines.redo() : lines.undo());
    else if (control && key === "y") lines.redo();
    else if (!control && key === "d") draw(!drawing);
    else return;
    event.preventDefault();
  });

  wireTabs();
  showLegend(model, map);
  panel.cautions(model.cautions);
  refresh();
  map.fit();
  tell(kept.notice ?? "");
  follow(map).catch(() => {});
  if (lines.points.length) {
    one("#headline").replaceChildren();
    answer();
  } else draw(true);
}

trying(async () => openDesk(await get("model")));
