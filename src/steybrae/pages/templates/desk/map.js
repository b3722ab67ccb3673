// The map: the model's own grid as a plane of pixels, its tiles, and the lines drawn on it.

import { el, later, svg } from "./dom.js";
import { get } from "./talk.js";
import { Tiles, underWay } from "./tiles.js";

/* global L */
const at = ({ row, col }) => L.latLng(-row, col);
const place = (latlng) => ({ row: -latlng.lat, col: latlng.lng });
const path = (rows) => rows.map(([row, col]) => L.latLng(-row, col));

const TILE = "tiles/{layer}/{z}/{x}/{y}.png?tick={tick}";
const MOST_HANDLES = 300; // more in view would be neither told apart nor quick
const LABEL_PX = [52, 14]; // labels of grid lines nearer than this lie on each other
const LETTER_PX = 28; // letters nearer to each other cover one another
const STEP_M = 10;
const DASH = { main: null, "way off": "9 6", alternative: "2 6" };
const ARROWS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };
const STRETCH_DASH = [null, "1 7", "6 5", "12 4", "3 3", "9 3 2 3", "15 3"]; // one a band, repeated

export class DeskMap {
  #hooks; #model; #handles = new Map(); #lines; #said; #letters; #grid; #here; #labels;

  /** @param hooks what the page does: add, insert, drag, drop, choose, remove, pointed, near */
  constructor(model, hooks) {
    this.#model = model;
    this.#hooks = hooks;
    const [across, down] = model.cell_m;
    const crs = L.extend({}, L.CRS.Simple, {
      distance: (one, two) => Math.hypot((one.lng - two.lng) * across, (one.lat - two.lat) * down),
    });
    const whole = L.latLngBounds([-model.rows, 0], [0, model.cols]);
    this.map = L.map("map", {
      crs, attributionControl: false, doubleClickZoom: false, zoomControl: false,
      minZoom: model.zooms[0], maxZoom: model.zooms[1], maxBounds: whole.pad(0.5),
    });
    L.control.zoom({ zoomInTitle: "Larger", zoomOutTitle: "Smaller" }).addTo(this.map);
    L.control.scale({ imperial: false, maxWidth: 160 }).addTo(this.map);
    ["grid", "lines", "said", "over"].forEach((name, k) => { this.map.createPane(name).style.zIndex = 350 + 20 * k; });
    this.#grid = L.layerGroup().addTo(this.map);
    this.#labels = L.layerGroup().addTo(this.map);
    this.#lines = L.layerGroup().addTo(this.map);
    this.#said = L.layerGroup().addTo(this.map);
    this.#letters = L.layerGroup().addTo(this.map);
    this.#here = L.circleMarker([0, 0], { radius: 8, className: "here", interactive: false, pane: "over" });
    this.map.fitBounds(whole, { animate: false });
    this.layers = model.layers.map((layer) => ({ ...layer, tiles: this.#tiles(layer, whole) }));
    this.layers.forEach(({ key, on, always }) => this.turn(key, on || always));
    this.#listen();
  }

  #tiles({ key }, bounds) {
    const [minZoom, maxZoom] = this.#model.zooms;
    return new Tiles(TILE, { layer: key, tick: 0, bounds, noWrap: true, tileSize: 256, minZoom, maxZoom, className: `tiles-${key}`, keepBuffer: 1 });
  }

  // Tiles lie in the order of the list, whichever was switched on last.
  turn(key, on) {
    const layer = this.layers.find((one) => one.key === key);
    if (on) layer.tiles.addTo(this.map);
    else if (!layer.always) layer.tiles.remove();
    this.layers.forEach(({ tiles }, k) => tiles.setZIndex(k + 1));
    // Without bands the relief has the map to itself, in a stronger light.
    if (key === "bands") this.layers.find((one) => one.key === "relief").tiles.setUrl(on ? TILE : TILE.replace("{layer}", "{layer}-alone"));
  }

  /** Ask for the coarse tiles again, once they are there: more of the model has been looked at. */
  renew(tick) {
    if (underWay()) return false;
    for (const { tiles } of this.layers) {
      tiles.options.tick = tick;
      if (this.map.getZoom() <= this.#model.overviews) tiles.redraw();
    }
    return true;
  }

  #listen() {
    const { map } = this;
    const box = map.getContainer();
    map.on("click", (event) => this.#hooks.clicked(place(event.latlng)));
    // From the page itself, since lines and points keep their own events from the map.
    box.addEventListener("mousemove", (event) => {
      if (event.buttons) return; // while a point is dragged its answer has the processor
      this.#hooks.pointed(place(map.mouseEventToLatLng(event)));
      this.#hooks.near(this.#nearest(map.mouseEventToLayerPoint(event)));
    });
    box.addEventListener("mouseleave", () => this.#hooks.near(null));
    const moved = later(150, () => this.#drawGrid());
    map.on("movestart", () => document.getElementById("under").replaceChildren());
    map.on("moveend", () => { this.#drawHandles(); this.#drawSaid(); moved(); this.#hooks.moved(place(map.getCenter())); });
    box.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || event.target !== box) return;
      event.preventDefault();
      this.#hooks.added(place(map.getCenter()));
    });
    new ResizeObserver(later(80, () => map.invalidateSize())).observe(box);
    moved();
  }

  /** Call at once and whenever the map has another scale. */
  zoomed(task) {
    this.map.on("zoomend", () => task(this.map.getZoom()));
    task(this.map.getZoom());
  }

  // --- map grid -------------------------------------------------------------------------------
  async #drawGrid() {
    const view = this.map.getBounds();
    const asked = new URLSearchParams({
      top: -view.getNorth(), left: view.getWest(), bottom: -view.getSouth(), right: view.getEast(), zoom: this.map.getZoom(),
    });
    let lines = [];
    try { ({ lines } = await get(`gridlines?${asked}`)); } catch { /* the map does without */ }
    this.#grid.clearLayers();
    this.#labels.clearLayers();
    const taken = [];
    for (const line of lines) {
      const points = path(line.path);
      this.#grid.addLayer(L.polyline(points, { pane: "grid", className: "grid-line", interactive: false }));
      const entry = points.map((point) => this.map.latLngToContainerPoint(point))
        .reduce((best, point) => Math.min(point.x, point.y) < Math.min(best.x, best.y) ? point : best);
      const size = this.map.getSize();
      const shown = L.point(Math.max(2, Math.min(size.x - 60, entry.x + 2)), Math.max(2, Math.min(size.y - 16, entry.y + 1)));
      if (taken.some(({ x, y }) => Math.abs(x - shown.x) < LABEL_PX[0] && Math.abs(y - shown.y) < LABEL_PX[1])) continue;
      taken.push(shown);
      this.#labels.addLayer(this.#label(this.map.containerPointToLatLng(shown), line.label, "grid-label"));
    }
  }

  #label(latlng, text, className, more = {}) {
    const icon = L.divIcon({ className, html: el("span", {}, text), iconSize: null });
    return L.marker(latlng, { icon, interactive: false, keyboard: false, ...more });
  }

  // --- lines and the points of the active one -------------------------------------------------
  show(lines, active, chosen) {
    this.shown = { lines, active, chosen };
    this.#drawLines();
    this.#drawHandles();
  }

  #drawLines() {
    const { lines, active } = this.shown;
    this.#lines.clearLayers();
    lines.forEach((line, k) => {
      const points = line.points.map(at);
      const mine = k === active;
      const role = `line-${line.role.replace(" ", "-")}`;
      const draw = (options) => L.polyline(points, { pane: "lines", interactive: false, ...options }).addTo(this.#lines);
      draw({ className: `casing ${mine ? "mine" : ""}` });
      draw({ className: `drawn ${role} ${mine ? "mine" : ""}`, dashArray: DASH[line.role] });
      const hit = draw({ className: "hit", interactive: true, weight: 22, bubblingMouseEvents: false });
      hit.on("click", (event) => {
        if (mine) this.#hooks.inserted(place(event.latlng), this.#legAt(points, event.layerPoint));
        else this.#hooks.activated(k);
      });
      // In its middle: where a line ends another often has a point.
      if (!mine && line.name && points.length) this.#lines.addLayer(this.#label(points[points.length >> 1], line.name, "line-label"));
    });
  }

  #legAt(points, pixel) {
    const placed = points.map((point) => this.map.latLngToLayerPoint(point));
    const away = placed.slice(1).map((end, k) => L.LineUtil.pointToSegmentDistance(pixel, placed[k], end));
    return away.indexOf(Math.min(...away));
  }

  #drawHandles() {
    if (!this.shown) return;
    const { lines, active, chosen } = this.shown;
    const { points } = lines[active];
    const view = this.map.getBounds().pad(0.1);
    const seen = new Set([...points.keys()].filter((k) => view.contains(at(points[k]))));
    const wanted = seen.size > MOST_HANDLES ? new Set([chosen]) : seen.add(chosen);
    for (const [k, handle] of this.#handles) {
      if (points[k] && wanted.has(k)) continue;
      handle.remove();
      this.#handles.delete(k);
    }
    for (const k of wanted) {
      if (!points[k]) continue;
      if (!this.#handles.has(k)) this.#handles.set(k, this.#handle(k));
      const handle = this.#handles.get(k);
      if (!handle.dragged) handle.setLatLng(at(points[k]));
      const node = handle.getElement();
      node.classList.toggle("chosen", k === chosen);
      node.classList.toggle("first", k === 0);
      node.setAttribute("aria-label", `Point ${k + 1} of ${points.length}${points[k].name ? `, ${points[k].name}` : ""}`);
      node.setAttribute("aria-pressed", k === chosen);
    }
  }

  #handle(index) {
    const icon = L.divIcon({ className: "point", html: el("span", {}, String(index + 1)), iconSize: null });
    const handle = L.marker([0, 0], { icon, draggable: true, keyboard: true, autoPanOnFocus: false, bubblingMouseEvents: false });
    handle.addTo(this.map);
    handle.on("click", () => this.#hooks.chosen(index));
    handle.on("dragstart", () => { handle.dragged = true; this.#hooks.chosen(index); });
    handle.on("drag", () => this.#hooks.dragged(index, place(handle.getLatLng())));
    handle.on("dragend", () => { handle.dragged = false; this.#hooks.dropped(index, place(handle.getLatLng())); });
    const node = handle.getElement();
    node.addEventListener("focus", () => this.#hooks.chosen(index));
    node.addEventListener("keydown", (event) => this.#hooks.pressed(event, index));
    return handle;
  }

  focus(index) { this.#handles.get(index)?.getElement().focus(); }

  /** Where a point comes to by an arrow key: 10 m, with Shift 100 m. */
  stepped(point, event) {
    const way = ARROWS[event.key];
    if (!way) return null;
    const metres = event.shiftKey ? 10 * STEP_M : STEP_M;
    const [across, down] = this.#model.cell_m;
    return { row: point.row + (way[0] * metres) / down, col: point.col + (way[1] * metres) / across };
  }

  // --- what the answer says on the map --------------------------------------------------------
  answer(found) {
    this.found = found;
    this.#drawSaid();
  }

  #drawSaid() {
    this.#said.clearLayers();
    this.#letters.clearLayers();
    if (!this.found) return;
    const colours = new Map(this.#model.legend.map((entry) => [entry.pattern, entry.colour]));
    // One path for all stretches of a band: a line over fine cells has hundreds. The steeper lie on top, unknown on all.
    const runs = new Map();
    for (const stretch of this.found.stretches) {
      if (!runs.has(stretch.pattern)) runs.set(stretch.pattern, []);
      runs.get(stretch.pattern).push(path(stretch.path));
    }
    const rank = ([pattern]) => (pattern === "unknown" ? Infinity : Number(pattern));
    for (const [pattern, points] of [...runs].sort((a, b) => rank(a) - rank(b))) {
      const draw = (options) => L.polyline(points, { pane: "said", interactive: false, lineCap: "butt", ...options }).addTo(this.#said);
      if (pattern === "unknown") {
        draw({ className: "stretch-unknown", weight: 12 });
        L.polyline(points.flatMap((run) => this.#crosses(run)), { pane: "said", interactive: false, className: "crosses" }).addTo(this.#said);
        continue;
      }
      const band = Number(pattern);
      draw({ className: "stretch-edge", weight: 7 + band });
      draw({ color: colours.get(pattern) ?? "#000", weight: 4 + band, opacity: 1 });
      draw({ className: band > 3 ? "stretch-dash light" : "stretch-dash", dashArray: STRETCH_DASH[band % STRETCH_DASH.length], weight: band ? 2 : 0 });
    }
    for (const one of this.found.overhead) {
      L.polyline(path(one.path), { pane: "said", interactive: false, className: "overhead-casing" }).addTo(this.#said);
      const line = L.polyline(path(one.path), { pane: "said", className: "overhead" }).addTo(this.#said);
      line.bindTooltip(() => el("span", {}, one.words), { sticky: true });
    }
    this.#drawLetters();
  }

  // Letters of places told at length, then those of others that find room beside them.
  #drawLetters() {
    const taken = [];
    for (const one of this.found.places.toSorted((a, b) => b.long - a.long)) {
      const [at] = path([one.at]); // where the other outputs have it
      const pixel = this.map.latLngToLayerPoint(at);
      const covers = () => taken.some((other) => other.distanceTo(pixel) < LETTER_PX);
      if (!one.long && covers()) continue;
      while (covers()) pixel.x += LETTER_PX;
      taken.push(pixel);
      const icon = L.divIcon({ className: "letter", html: el("span", {}, one.name), iconSize: null });
      const letter = L.marker(this.map.layerPointToLatLng(pixel), { icon, keyboard: true, zIndexOffset: -500, autoPanOnFocus: false, bubblingMouseEvents: false });
      letter.on("click", () => this.#hooks.placed(one.name));
      this.#letters.addLayer(letter);
      letter.getElement().setAttribute("aria-label", `Place ${one.name}`);
    }
  }

  /** Short strokes across each other, every 12 pixels along a path. */
  #crosses(points) {
    const pixels = points.map((point) => this.map.latLngToLayerPoint(point));
    const strokes = [];
    const back = (x, y) => this.map.layerPointToLatLng(L.point(x, y));
    let left = 6;
    for (let k = 1; k < pixels.length; k += 1) {
      const [from, to] = [pixels[k - 1], pixels[k]];
      const long = from.distanceTo(to);
      for (; left < long && strokes.length < 4000; left += 12) {
        const x = from.x + ((to.x - from.x) * left) / long;
        const y = from.y + ((to.y - from.y) * left) / long;
        strokes.push([back(x - 4, y - 4), back(x + 4, y + 4)], [back(x - 4, y + 4), back(x + 4, y - 4)]);
      }
      left -= long;
    }
    return strokes;
  }

  /** Mark a stretch of the line, as long as its words are pointed at. */
  mark(rows) {
    this.marked?.remove();
    this.marked = rows && L.polyline(path(rows), { pane: "over", className: "marked", interactive: false }).addTo(this.map);
  }

  /** Mark the place at a chainage; null marks none. */
  here(metres) {
    const along = this.found?.chainage ?? [];
    if (metres === null || along.length < 2) { this.#here.remove(); return; }
    const k = Math.max(1, along.findIndex(([m]) => m >= metres));
    const [[m0, row0, col0], [m1, row1, col1]] = [along[k - 1], along[k]];
    const share = m1 > m0 ? Math.min(1, (metres - m0) / (m1 - m0)) : 0;
    this.#here.setLatLng([-(row0 + (row1 - row0) * share), col0 + (col1 - col0) * share]).addTo(this.map);
  }

  /** Chainage of the place on the answered line nearest to a pixel; null beyond 24 pixels. */
  #nearest(pixel) {
    const along = this.found?.chainage ?? [];
    let [best, least] = [null, 24];
    for (let k = 1; k < along.length; k += 1) {
      const [one, two] = [along[k - 1], along[k]].map(([, row, col]) => this.map.latLngToLayerPoint([-row, col]));
      const on = L.LineUtil.closestPointOnSegment(pixel, one, two);
      const away = on.distanceTo(pixel);
      if (away >= least) continue;
      const long = one.distanceTo(two);
      least = away;
      best = along[k - 1][0] + (along[k][0] - along[k - 1][0]) * (long ? one.distanceTo(on) / long : 0);
    }
    return best;
  }

  /** Show a path, or the lines on the model, or those off it, or the whole model where there is none. */
  fit(rows = null) {
    const on = ({ row, col }) => row >= 0 && row <= this.#model.rows && col >= 0 && col <= this.#model.cols;
    const { lines } = this.shown;
    const here = lines.filter((line) => line.points.some(on));
    const points = rows ? path(rows) : (here.length ? here : lines).flatMap((line) => line.points.map(at));
    const key = document.getElementById("key");
    const free = key.open ? key.offsetWidth : 0;
    const beside = { animate: false, paddingTopLeft: [20, 30], paddingBottomRight: [free + 20, 30] };
    if (points.length) { this.map.fitBounds(L.latLngBounds(points), { ...beside, maxZoom: 2 }); return; }
    const whole = L.latLngBounds([-this.#model.rows, 0], [0, this.#model.cols]);
    const same = this.map.getBoundsZoom(whole) === this.map.getBoundsZoom(whole, false, L.point(free + 40, 60));
    this.map.fitBounds(whole, same ? beside : { animate: false });
  }
}

/** The sign of a legend entry. */
export function swatch({ pattern, colour }) {
  const box = svg("svg", { width: 34, height: 18, "aria-hidden": "true" });
  const known = document.getElementById(`h-${pattern}`);
  box.append(svg("rect", { width: 34, height: 18, fill: known ? `url(#h-${pattern})` : "#fff" }));
  if (!known) box.append(svg("path", { d: "M2 9H32", stroke: colour, class: `sign-${pattern}` }));
  box.append(svg("rect", { width: 34, height: 18, class: "frame" }));
  return box;
}
