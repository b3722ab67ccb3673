// The lines of the plan, and every change that can be made to them: no page, no server.
//
// A line is {name, role, points}; a point {row, col, name} in cells of the model's grid, with lat, lon
// and written once the server has said them. Nothing here is changed in place but those three, so that
// an earlier state is kept by keeping its array. A point that moves is another point.

const EMPTY = { name: "", role: "main", points: [] };
const MOST_STEPS = 500;

export class Lines {
  #past = []; #future = []; #told;

  constructor(lines, told) {
    this.lines = lines.length ? lines : [EMPTY];
    this.active = 0;
    this.chosen = -1;
    this.#told = told;
  }

  get line() { return this.lines[this.active]; }
  get points() { return this.line.points; }
  get last() { return this.points[this.points.length - 1] ?? null; }
  get canUndo() { return this.#past.length > 0; }
  get canRedo() { return this.#future.length > 0; }

  // --- steps ---------------------------------------------------------------------------------
  #state() { return { lines: this.lines, active: this.active, chosen: this.chosen }; }

  #step(change) {
    this.#past = [...this.#past.slice(1 - MOST_STEPS), this.#state()];
    this.#future = [];
    Object.assign(this, change);
    this.#told("changed");
  }

  undo() { this.#swap(this.#past, this.#future); }
  redo() { this.#swap(this.#future, this.#past); }

  #swap(from, to) {
    const state = from.pop();
    if (!state) return;
    to.push(this.#state());
    Object.assign(this, state);
    this.#told("changed");
  }

  choose(index) {
    this.chosen = index >= 0 && index < this.points.length ? index : -1;
    this.#told("chosen");
  }

  activate(index) {
    this.active = index;
    this.chosen = -1;
    this.#told("activated");
  }

  // --- points of the active line -------------------------------------------------------------
  #withLine(line) { return this.lines.with(this.active, { ...this.line, ...line }); }
  #withPoints(points, chosen = this.chosen) { this.#step({ lines: this.#withLine({ points }), chosen }); }

  /** Lines as they are while a point is dragged: shown and asked about, but no step of its own. */
  dragged(index, at) {
    const points = this.points.with(index, { ...at, name: this.points[index].name });
    return this.#withLine({ points });
  }

  add(point, after = this.points.length - 1) {
    this.#withPoints(this.points.toSpliced(after + 1, 0, { name: "", ...point }), after + 1);
  }

  move(index, at) { this.#withPoints(this.points.with(index, { ...at, name: this.points[index].name }), index); }

  rename(index, name) { this.#withPoints(this.points.with(index, { ...this.points[index], name })); }

  remove(index) {
    if (!this.points[index]) return;
    this.#withPoints(this.points.toSpliced(index, 1), Math.min(index, this.points.length - 2));
  }

  /** A point in the middle of the leg after `index`; after the last one there is no leg. */
  insertAfter(index) {
    const [one, two] = [this.points[index], this.points[index + 1]];
    if (one && two) this.add({ row: (one.row + two.row) / 2, col: (one.col + two.col) / 2 }, index);
  }

  // --- lines ---------------------------------------------------------------------------------
  named(name) { this.#step({ lines: this.#withLine({ name }) }); }

  /** Give the active line a role; there is one main line, so the former becomes an alternative. */
  given(role) {
    const others = role === "main"
      ? this.lines.map((line) => line.role === "main" ? { ...line, role: "alternative" } : line)
      : this.lines;
    this.#step({ lines: others.with(this.active, { ...this.line, role }) });
  }

  reverse() { this.#withPoints(this.points.toReversed(), -1); }

  #freeRole(role) { return role === "main" && this.lines.some((line) => line.role === "main") ? "alternative" : role; }

  addLines(lines) {
    if (!lines.length) return;
    const kept = this.lines.filter((line) => line.points.length || line.name);
    const hasMain = kept.some((line) => line.role === "main");
    const added = lines.map((line) => hasMain && line.role === "main" ? { ...line, role: "alternative" } : line);
    this.#step({ lines: [...kept, ...added], active: kept.length, chosen: -1 });
  }

  newLine() {
    const line = { ...EMPTY, role: this.#freeRole("main") };
    this.#step({ lines: [...this.lines, line], active: this.lines.length, chosen: -1 });
  }

  dropLine() {
    const lines = this.lines.toSpliced(this.active, 1);
    this.#step({ lines: lines.length ? lines : [EMPTY], active: Math.max(0, this.active - 1), chosen: -1 });
  }

  split(index) {
    if (index < 1 || index > this.points.length - 2) return;
    const rest = { name: this.line.name, role: this.#freeRole(this.line.role), points: this.points.slice(index) };
    const lines = this.#withLine({ points: this.points.slice(0, index + 1) }).toSpliced(this.active + 1, 0, rest);
    this.#step({ lines });
  }

  /** Another line goes on where this one ends; a point that both have stands once. */
  join(index) {
    const next = this.lines[index];
    if (!next || index === this.active) return;
    const [end, start] = [this.last, next.points[0]];
    const same = end && start && end.row === start.row && end.col === start.col;
    const points = [...this.points, ...next.points.slice(same ? 1 : 0)];
    const active = this.active - (index < this.active);
    this.#step({ lines: this.#withLine({ points }).toSpliced(index, 1), active, chosen: -1 });
  }

  /** All lines anew, as after another page has written; can be undone. */
  replace(lines) { this.#step({ lines: lines.length ? lines : [EMPTY], active: 0, chosen: -1 }); }

  /** What the server said about points of lines as they were sent: position and words of each. */
  settle(lines, said) {
    lines.forEach((line, k) => line.points.forEach((point, n) => {
      const { lat, lon, row, col, written } = said[k]?.[n] ?? {};
      if (lat !== undefined) Object.assign(point, { lat, lon, row, col, written });
    }));
  }
}
