"use strict";
(() => {
  const one = (query, within = document) => within.querySelector(query);
  const all = (query, within = document) => [...within.querySelectorAll(query)];
  document.documentElement.classList.add("js");

  // --- the points of the line, joined end to end --------------------------------------------
  const data = JSON.parse(one("#points").textContent);
  const points = data.legs.flatMap((leg) => leg.at.map((at, row) => ({ leg, row, at, along: leg.start_dm + at })));
  const whole = points[points.length - 1].along;
  const column = (point, name) => point.leg[name][point.row];
  const tenths = (value) => `${(value / 10).toFixed(1)}°`;
  const figure = (value, open) => value === null ? "unknown" : `${open ? `${data.least} ` : ""}${tenths(value)}`;
  const metres = (dm) => `${Math.floor(dm / 10).toLocaleString("en").replace(/,/g, "\u202f")} m`;

  function nearestAlong(dm) {
    let low = 0;
    let high = points.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (points[middle].along <= dm) low = middle;
      else high = middle;
    }
    return dm - points[low].along <= points[high].along - dm ? low : high;
  }

  function nearestOnMap(x, y, reach) {
    let best = -1;
    let least = reach * reach;
    points.forEach((point, k) => {
      const dx = column(point, "x") - x;
      const dy = column(point, "y") - y;
      const square = dx * dx + dy * dy;
      if (square < least) [best, least] = [k, square];
    });
    return best;
  }

  function readingNear(point) {
    let best = null;
    point.leg.reading.forEach(([at, name, text]) => {
      const away = Math.abs(at - point.at);
      if (!best || away < best.away) best = { away, name, text };
    });
    if (!best) return "none on this leg";
    return `${best.name}: ${best.text}, ${best.away < 50 ? "here" : `${metres(best.away)} along the line`}`;
  }

  function words(point) {
    const slope = column(point, "slope");
    const [low, high] = [column(point, "low"), column(point, "high")];
    const [aspect, band, corridor] = [column(point, "aspect"), column(point, "band"), column(point, "corridor")];
    const height = column(point, "height");
    return {
      leg: String(point.leg.leg),
      at: metres(point.at),
      height: height === null ? "unknown" : `${height} m`,
      slope: figure(slope, high === null),
      interval: low === null ? "not known" : `${(low / 10).toFixed(1)} to ${high === null ? "unknown" : tenths(high)}`,
      band: band < 0 ? "unknown" : data.bands[band],
      aspect: aspect === null ? "not known" : `${String(aspect).padStart(3, "0")}° true`,
      corridor: figure(corridor, point.leg.open),
      overhead: point.leg.above[point.row],
      reading: readingNear(point),
    };
  }

  // --- one place, shown on map, profile and in words ----------------------------------------
  const profile = one("#profile");
  const cursors = all(".cursor");
  const here = one("#here");
  const fields = Object.fromEntries(all("[data-at]").map((node) => [node.dataset.at, node]));
  const rows = new Map(all(".sortable tbody tr").map((row) => [row.dataset.leg, row]));
  let shown = 0;

  function show(k) {
    shown = Math.max(0, Math.min(points.length - 1, k));
    const point = points[shown];
    const text = words(point);
    one("#readout dl").hidden = false;
    one("#readout .hint").hidden = true;
    Object.entries(text).forEach(([name, value]) => { fields[name].textContent = value; });
    const share = `${((100 * point.along) / whole).toFixed(3)}%`;
    cursors.forEach((cursor) => { cursor.setAttribute("x1", share); cursor.setAttribute("x2", share); });
    here.setAttribute("transform", `translate(${column(point, "x")} ${column(point, "y")})`);
    rows.forEach((row, leg) => row.classList.toggle("here", leg === text.leg));
    profile.setAttribute("aria-valuenow", String(Math.round(point.along / 10)));
    profile.setAttribute("aria-valuetext",
      `Leg ${text.leg}, ${text.at}: slope ${text.slope}, ${text.interval}; height ${text.height}; faces ${text.aspect}`);
  }

  let waiting = null;
  function soon(task) {
    if (waiting === null) requestAnimationFrame(() => { const now = waiting; waiting = null; now(); });
    waiting = task;
  }

  const panel = one(".panel");
  profile.addEventListener("pointermove", (event) => {
    const box = panel.getBoundingClientRect();
    soon(() => show(nearestAlong(((event.clientX - box.left) / box.width) * whole)));
  });
  profile.addEventListener("pointerdown", (event) => {
    const box = panel.getBoundingClientRect();
    show(nearestAlong(((event.clientX - box.left) / box.width) * whole));
  });
  profile.addEventListener("keydown", (event) => {
    const page = Math.max(1, Math.round(points.length / 40));
    const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: page, PageDown: -page, Home: -Infinity, End: Infinity };
    if (!(event.key in steps)) return;
    event.preventDefault();
    show(shown + steps[event.key]);
  });

  // --- zoom and pan --------------------------------------------------------------------------
  const frame = one("#map");
  const picture = one("svg", frame);
  const [, , width, height] = picture.getAttribute("viewBox").split(" ").map(Number);
  const view = { x: 0, y: 0, zoom: 1 };
  let drawn = { ...view };
  let settling = 0;
  const MOST = 16;

  // While the map moves the last drawing of it is moved, which is cheap; when it rests it is drawn anew.
  function draw() {
    view.zoom = Math.max(1, Math.min(MOST, view.zoom));
    view.x = Math.max(0, Math.min(width - width / view.zoom, view.x));
    view.y = Math.max(0, Math.min(height - height / view.zoom, view.y));
    frame.classList.toggle("zoomed", view.zoom > 1);
    const perUnit = (frame.clientWidth / width) * view.zoom;
    picture.style.transform =
      `translate(${(drawn.x - view.x) * perUnit}px, ${(drawn.y - view.y) * perUnit}px) scale(${view.zoom / drawn.zoom})`;
    clearTimeout(settling);
    settling = setTimeout(settle, 140);
  }

  function settle() {
    clearTimeout(settling);
    drawn = { ...view };
    const [w, h] = [width / view.zoom, height / view.zoom];
    picture.style.removeProperty("transform");
    picture.setAttribute("viewBox", `${view.x} ${view.y} ${w} ${h}`);
    if (!frame.clientWidth) return;
    const perPixel = w / frame.clientWidth;
    frame.style.setProperty("--k", perPixel);
    thinLabels(perPixel);
    drawBar(w, h);
  }

  // Numbers that would cover one before them wait until there is room: legs first, then places, then readings.
  const labels = all(".label", picture)
    .map((node) => {
      const [x, y, dx, dy, room] = ["x", "y", "dx", "dy", "room"].map((key) => Number(node.dataset[key] || 0));
      return { node, x, y, dx, dy, room };
    })
    .sort((a, b) => b.room - a.room);
  const apart = (one, other, perPixel) =>
    Math.hypot(one.x - other.x + (one.dx - other.dx) * perPixel, one.y - other.y + (one.dy - other.dy) * perPixel);
  function thinLabels(perPixel) {
    const kept = [];
    labels.forEach((label) => {
      const free = kept.every((other) => apart(other, label, perPixel) > label.room * perPixel);
      label.node.classList.toggle("crowded", !free);
      if (free) kept.push(label);
    });
  }

  const bar = one("#bar");
  const barUnits = Number(bar.dataset.units) / Number(bar.dataset.m);
  function drawBar(w, h) {
    const most = w / 4 / barUnits;
    const power = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].map((step) => step * power).find((step) => step <= most * 1.000001);
    const tall = w / 84;
    all("path", bar).forEach((path) => path.setAttribute("d", `M0 ${-tall}V0H${length * barUnits}V${-tall}`));
    one("text", bar).textContent = length >= 1000 ? `${length / 1000} km` : `${length} m`;
    one("g", bar).setAttribute("transform", `translate(0 ${-1.5 * tall})`);
    bar.setAttribute("transform", `translate(${bar.dataset.right ? view.x + w - w / 40 - length * barUnits : view.x + w / 40} ${view.y + h - w / 40})`);
  }

  function toUnits(event) {
    const box = frame.getBoundingClientRect();
    const perPixel = width / view.zoom / frame.clientWidth;
    const [left, top] = [box.left + frame.clientLeft, box.top + frame.clientTop];
    return { x: view.x + (event.clientX - left) * perPixel, y: view.y + (event.clientY - top) * perPixel, perPixel };
  }

  function zoomAbout(place, factor) {
    const before = view.zoom;
    view.zoom = Math.max(1, Math.min(MOST, view.zoom * factor));
    const share = before / view.zoom;
    view.x = place.x - (place.x - view.x) * share;
    view.y = place.y - (place.y - view.y) * share;
    draw();
  }
  const middle = () => ({ x: view.x + width / view.zoom / 2, y: view.y + height / view.zoom / 2 });
  function showAll() { view.zoom = 1; draw(); settle(); }

  // The place last pointed at keeps its place on the screen, or comes into the middle where it was out of view.
  function chosen() {
    const point = picked < 0 ? null : points[picked];
    if (!point) return middle();
    const [x, y, w, h] = [column(point, "x"), column(point, "y"), width / view.zoom, height / view.zoom];
    if (x < view.x || y < view.y || x > view.x + w || y > view.y + h) Object.assign(view, { x: x - w / 2, y: y - h / 2 });
    return { x, y };
  }
  one("#zoom-in").addEventListener("click", () => { zoomAbout(chosen(), 1.6); settle(); });
  one("#zoom-out").addEventListener("click", () => { zoomAbout(chosen(), 1 / 1.6); settle(); });
  one("#zoom-all").addEventListener("click", showAll);
  frame.addEventListener("keydown", (event) => {
    if (event.target !== frame) return;
    const step = 0.15 / view.zoom;
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (event.key in moves) {
      view.x += moves[event.key][0] * width * step;
      view.y += moves[event.key][1] * height * step;
      draw();
    } else if (event.key === "+" || event.key === "=") zoomAbout(middle(), 1.6);
    else if (event.key === "-") zoomAbout(middle(), 1 / 1.6);
    else if (event.key === "0") showAll();
    else return;
    event.preventDefault();
  });
  // The wheel scrolls the page until the map was clicked, or with Ctrl held.
  picture.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && document.activeElement !== frame) return;
    event.preventDefault();
    zoomAbout(toUnits(event), Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0016)));
  }, { passive: false });

  const tip = one("#tip");
  let picked = -1;
  frame.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse") tip.hidden = true; });
  const fingers = new Map();
  let pinch = null;
  picture.addEventListener("pointerdown", (event) => {
    frame.focus({ preventScroll: true });
    fingers.set(event.pointerId, event);
    if (fingers.size > 1 || view.zoom > 1) picture.setPointerCapture(event.pointerId);
    pinch = null;
    point(event);
  });
  function point(event) {
    const place = toUnits(event);
    const k = nearestOnMap(place.x, place.y, 60 * place.perPixel);
    if (k < 0) {
      tip.hidden = true;
      return;
    }
    picked = k;
    show(k);
    told(event);
  }
  // What was pointed at is told beside the finger: on a phone the table of it is out of view.
  function told(event) {
    const text = words(points[picked]);
    tip.textContent = `Leg ${text.leg}, ${text.at}: ${text.slope} (95 % ${text.interval}), in the corridor ${text.corridor}; height ${text.height}`;
    tip.hidden = false;
    const box = frame.getBoundingClientRect();
    const [left, top] = [event.clientX - box.left, event.clientY - box.top];
    tip.style.left = `${Math.max(4, Math.min(box.width - tip.offsetWidth - 4, left - tip.offsetWidth / 2))}px`;
    tip.style.top = `${top > tip.offsetHeight + 28 ? top - tip.offsetHeight - 24 : top + 28}px`;
  }
  picture.addEventListener("pointermove", (event) => {
    const last = fingers.get(event.pointerId);
    if (!last) {
      soon(() => point(event));
      return;
    }
    const before = toUnits(last);
    const now = toUnits(event);
    fingers.set(event.pointerId, event);
    if (fingers.size === 1) {
      view.x -= now.x - before.x;
      view.y -= now.y - before.y;
      draw();
    } else if (fingers.size === 2) {
      const [a, b] = [...fingers.values()].map(toUnits);
      const apart = Math.hypot(a.x - b.x, a.y - b.y) / a.perPixel;
      const centre = { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
      if (pinch) {
        view.x -= centre.x - pinch.x;
        view.y -= centre.y - pinch.y;
        zoomAbout({ x: pinch.x, y: pinch.y }, apart / pinch.apart);
      }
      const [c, d] = [...fingers.values()].map(toUnits);
      pinch = { apart, x: (c.x + d.x) / 2, y: (c.y + d.y) / 2 };
    }
  });
  const lift = (event) => { fingers.delete(event.pointerId); pinch = null; };
  ["pointerup", "pointercancel", "lostpointercapture"].forEach((name) => picture.addEventListener(name, lift));
  addEventListener("resize", settle);
  addEventListener("beforeprint", () => { Object.assign(view, { x: 0, y: 0, zoom: 1 }); settle(); frame.style.removeProperty("--k"); });
  addEventListener("afterprint", settle);
  settle();

  // --- legs, lesser places and legend: folded where the screen is narrow, never on paper ----------
  const narrow = matchMedia("(max-width: 40rem)");
  const folds = all(".legs details, .folds");
  const fold = () => folds.forEach((part) => { part.open = !narrow.matches; });
  narrow.addEventListener("change", fold);
  addEventListener("beforeprint", () => folds.forEach((part) => { part.open = true; }));
  addEventListener("afterprint", fold);
  fold();

  // --- a forecast that ends while the page lies about: its levels would be read as today's ----
  const ends = () => all("[data-ends]").forEach((node) => {
    node.hidden = Date.now() <= Date.parse(node.dataset.ends);
    node.textContent = node.hidden ? "" : node.dataset.ended;
  });
  ends();
  setInterval(ends, 60000);

  // --- tables that sort ----------------------------------------------------------------------
  all(".sortable").forEach((table) => {
    const body = table.tBodies[0];
    all("thead th", table).forEach((head, k) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      const key = (row) => row.cells[k].dataset.value ?? row.cells[k].textContent;
      const number = (row) => { const text = key(row); return text === "inf" ? Infinity : Number.parseFloat(text); };
      const compare = head.dataset.kind === "text"
        ? (a, b) => key(a).localeCompare(key(b))
        : (a, b) => { const [m, n] = [number(a), number(b)]; return m === n ? 0 : m - n; };
      button.addEventListener("click", () => {
        const down = head.getAttribute("aria-sort") === (head.dataset.kind === "text" || k === 0 ? "ascending" : "none")
          || head.getAttribute("aria-sort") === "ascending";
        all("thead th", table).forEach((other) => other.setAttribute("aria-sort", "none"));
        head.setAttribute("aria-sort", down ? "descending" : "ascending");
        const sorted = [...body.rows].sort(compare);
        body.append(...(down ? sorted.reverse() : sorted));
      });
    });
  });
})();
