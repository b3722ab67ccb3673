"use strict";
(() => {
  const data = JSON.parse(document.getElementById("lesson-data").textContent);
  const el = (id) => document.getElementById(id);
  const rad = (deg) => (deg * Math.PI) / 180;
  const deg = (r) => (r * 180) / Math.PI;

  // The formulas: the same as the package's, and checked against it by its tests.
  const gapMm = (slopeDeg, intervalM, scale, gaps = 1) => (1000 * gaps * intervalM) / (Math.tan(rad(slopeDeg)) * scale);
  const slopeDeg = (acrossMm, gaps, intervalM, scale) => deg(Math.atan((1000 * gaps * intervalM) / (acrossMm * scale)));
  const lineGradeDeg = (slope, off) => deg(Math.atan(Math.tan(rad(slope)) * Math.cos(rad(off))));
  const bentShare = (bend, height) => {
    const first = 1 + bend;
    return (2 * height) / (first + Math.sqrt(Math.max(0, first * first - 4 * bend * height)));
  };
  const bentSteepestDeg = (mean, bend) => deg(Math.atan(Math.tan(rad(mean)) * (1 + Math.abs(bend))));
  const roundUp = (value, step) => Math.ceil(value / step - 1e-6) / Math.round(1 / step);
  const roundDown = (value, step) => Math.floor(value / step + 1e-6) / Math.round(1 / step);
  const shownDeg = (slope) => roundUp(slope, 0.1);
  const bandAt = (slope) => data.edges_deg.filter((edge) => shownDeg(slope) >= edge).length;
  const oneIn = (slope) => {
    const run = 1 / Math.tan(rad(slope));
    return "1 in " + (run < 10 ? roundDown(run, 0.01).toFixed(2) : roundDown(run, 0.1).toFixed(1));
  };
  // Where a height is crossed in the cells of a grid: pieces [x0, y0, x1, y1] in cells from its lower left corner.
  const crossings = (grid, row, col, level) => {
    const n = grid.n;
    const z = [[col, row], [col + 1, row], [col + 1, row + 1], [col, row + 1]].map(([c, r]) => [c, r, grid.heights[r * n + c]]);
    const met = [];
    for (let k = 0; k < 4; k += 1) {
      const [c0, r0, z0] = z[k];
      const [c1, r1, z1] = z[(k + 1) % 4];
      if (z0 < level === z1 < level) continue;
      const t = (level - z0) / (z1 - z0);
      met.push(c0 + t * (c1 - c0), r0 + t * (r1 - r0));
    }
    const pieces = [];
    for (let k = 0; k + 3 < met.length; k += 4) pieces.push(met.slice(k, k + 4));
    return pieces;
  };
  const levelsIn = (low, high, interval) => {
    const found = [];
    for (let k = Math.ceil(low / interval); k * interval <= high; k += 1) found.push(k);
    return found;
  };
  globalThis.steybraeLesson = { gapMm, slopeDeg, lineGradeDeg, bentShare, bentSteepestDeg, shownDeg, bandAt, oneIn, roundUp, roundDown, crossings };

  // Fresh numbers, the same for all who open the same page (mulberry32, public domain).
  let state = data.seed >>> 0;
  const random = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const shuffled = (list) => {
    const out = [...list];
    for (let k = out.length - 1; k > 0; k -= 1) {
      const other = Math.floor(random() * (k + 1));
      [out[k], out[other]] = [out[other], out[k]];
    }
    return out;
  };

  const degText = (slope) => shownDeg(slope).toFixed(1) + "°";
  const MAGNIFIED = 10; // units of a picture for a millimetre of paper
  const WIDE = 300;

  const svg = (parent, name, attributes, text) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    parent.appendChild(node);
    return node;
  };
  const make = (name, attributes, ...children) => {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    node.append(...children);
    return node;
  };
  const clear = (picture) => {
    for (const node of [...picture.children]) if (node.tagName !== "title") node.remove();
  };
  // What a picture shows now: read aloud, and written below it.
  const called = (id, words) => {
    el(`${id}-title`).textContent = words;
    el(`${id}-caption`).textContent = words;
  };
  const line = (parent, x1, y1, x2, y2, kind) =>
    svg(parent, "line", { x1: x1.toFixed(2), y1: y1.toFixed(2), x2: x2.toFixed(2), y2: y2.toFixed(2), class: kind });
  const showBand = (node, slope) => {
    const band = data.bands[bandAt(slope)];
    node.textContent = band.label.replace(/\+?$/, "°$&");
    node.style.backgroundColor = band.tint;
    node.style.color = band.ink;
  };
  const fill = (select, options) => {
    for (const [value, words] of options) select.appendChild(make("option", { value }, words));
  };
  const map = () => ({ scale: Number(el("scale").value), intervalM: Number(el("interval").value) });
  const mapWords = () => `${el("scale").selectedOptions[0].textContent}, contour every ${el("interval").selectedOptions[0].textContent}`;

  const paperRuler = (picture, y, lengthMm) => {
    for (let mm = 0; mm <= lengthMm; mm += 1) {
      line(picture, mm * MAGNIFIED, y, mm * MAGNIFIED, y + (mm % 5 ? 4 : 8), "tick");
      if (mm % 10 === 0 && mm > 0 && mm < lengthMm) svg(picture, "text", { x: mm * MAGNIFIED, y: y + 17, "text-anchor": "middle" }, mm + " mm");
    }
  };

  // 1. Turn the slope: side view above, map below, one x for both.
  const SIDE = 165;
  function drawTurn() {
    const { scale, intervalM } = map();
    const slope = Number(el("slope").value);
    const gap = gapMm(slope, intervalM, scale);
    const step = gap * MAGNIFIED;
    const picture = el("turn");
    clear(picture);
    const rise = Math.tan(rad(slope));
    const topX = Math.min(WIDE, SIDE / rise);
    svg(picture, "polygon", { points: `0,${SIDE} ${topX},${SIDE - topX * rise} ${WIDE},${SIDE - topX * rise} ${WIDE},${SIDE}`, class: "ground" });
    line(picture, 0, SIDE + 5, WIDE, SIDE + 5, "divide");
    for (let k = 1; k * step < WIDE; k += 1) {
      const x = k * step;
      const thick = k % 5 === 0;
      line(picture, x, SIDE + 5, x, 275, thick ? "thick" : "thin");
      if (x <= topX && (thick || step > 6)) {
        line(picture, 0, SIDE - x * rise, x, SIDE - x * rise, "level");
        line(picture, x, SIDE - x * rise, x, SIDE + 5, "drop");
      }
    }
    paperRuler(picture, 276, 30);
    called("turn", `A slope of ${degText(slope)} from the side, and below it its contours, ${roundUp(gap, 0.01).toFixed(2)} mm apart on paper: 10 times larger here`);
    el("slope-now").textContent = degText(slope);
    el("slope").setAttribute("aria-valuetext", `${slope} degrees, gap ${roundUp(gap, 0.01)} millimetres`);
    el("turn-gap").textContent = roundUp(gap, 0.01).toFixed(2) + " mm";
    el("turn-index").textContent = roundUp(5 * gap, 0.01).toFixed(2) + " mm (5 gaps)";
    el("turn-percent").textContent = `${roundUp(100 * rise, 1).toFixed(0)} %, ${oneIn(slope)}`;
    showBand(el("turn-band"), slope);
    el("turn-say").textContent =
      gap < 0.3
        ? "The lines are closer than 0.3 mm: on paper nobody can read a single gap here. Measure from thick line to thick line."
        : "Twice as steep (as a gradient) is half the gap.";
  }

  let running = 0;
  function sweep() {
    cancelAnimationFrame(running);
    const slider = el("slope");
    const set = (value) => {
      slider.value = String(value);
      drawTurn();
    };
    if (matchMedia("(prefers-reduced-motion: reduce)").matches) {
      set(Number(slider.value) >= 45 ? 10 : Number(slider.value) + 5);
      return;
    }
    const began = performance.now();
    const tick = (now) => {
      const share = Math.min(1, (now - began) / 6000);
      set(10 + 40 * share);
      if (share < 1) running = requestAnimationFrame(tick);
    };
    running = requestAnimationFrame(tick);
  }

  // 2. Real ground: contours as on a map, and the same ground as a block that turns.
  const TILT = 35;
  const COARSER = 2; // the block takes every second height
  const ground = data.ground;
  function contourPath(grid, intervalM, at) {
    const paths = { thin: "", thick: "" };
    for (let row = 0; row + 1 < grid.n; row += 1) {
      for (let col = 0; col + 1 < grid.n; col += 1) {
        const z = [0, 1, grid.n, grid.n + 1].map((k) => grid.heights[row * grid.n + col + k]);
        for (const k of levelsIn(Math.min(...z), Math.max(...z), intervalM)) {
          for (const [a, b, c, d] of crossings(grid, row, col, k * intervalM)) {
            const [x0, y0] = at(a, b);
            const [x1, y1] = at(c, d);
            paths[k % 5 ? "thin" : "thick"] += `M${x0.toFixed(1)} ${y0.toFixed(1)}L${x1.toFixed(1)} ${y1.toFixed(1)}`;
          }
        }
      }
    }
    return paths;
  }
  const [[startX, startY], [endX, endY]] = ground.walk.ends;
  const upDeg = (deg(Math.atan2(endX - startX, endY - startY)) + 360) % 360; // bearing of the line, uphill
  const onMap = (grid) => (col, row) => [(col / (grid.n - 1)) * WIDE, WIDE - (row / (grid.n - 1)) * WIDE];
  const COMPASS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
  function drawGroundMap() {
    const { intervalM } = map();
    const picture = el("ground-map");
    clear(picture);
    const paths = contourPath(ground, intervalM, onMap(ground));
    for (const kind of ["thin", "thick"]) svg(picture, "path", { d: paths[kind], class: kind });
    const [[x0, y0], [x1, y1]] = ground.walk.ends.map(([x, y]) => [x * WIDE, WIDE - y * WIDE]);
    line(picture, x0, y0, x1, y1, "mark");
    svg(picture, "circle", { id: "ground-dot", r: 5, class: "mark-fill" });
    called("ground-map", `${mapWords()}; ${Math.round(ground.side_m)} m from side to side, north up; the line climbs towards the ${COMPASS[Math.round(upDeg / 45) % 8]}`);
  }
  const blockAt = (round) => {
    const c = Math.cos(rad(round));
    const s = Math.sin(rad(round));
    const per = 205 / ground.side_m;
    const middle = (ground.low_m + ground.high_m) / 2;
    return (x, y, z) => {
      // Looking towards `round`: what lies that way is far, and up on the picture.
      const u = (x - 0.5) * ground.side_m;
      const v = (y - 0.5) * ground.side_m;
      const away = u * s + v * c;
      return [150 + per * (u * c - v * s), 155 - per * (away * Math.sin(rad(TILT)) + (z - middle) * Math.cos(rad(TILT))), away];
    };
  };
  function drawBlock() {
    const { intervalM } = map();
    const round = Number(el("round").value);
    const at = blockAt(round);
    const last = ground.n - 1;
    const height = (col, row) => ground.heights[row * ground.n + col];
    const coarse = { n: last / COARSER + 1, heights: [] };
    for (let row = 0; row <= last; row += COARSER) for (let col = 0; col <= last; col += COARSER) coarse.heights.push(height(col, row));
    const cells = [];
    const size = coarse.n - 1;
    for (let row = 0; row < size; row += 1) {
      for (let col = 0; col < size; col += 1) cells.push([at((col + 0.5) / size, (row + 0.5) / size, 0)[2], row, col]);
    }
    cells.sort((a, b) => b[0] - a[0]); // far ones first: near ones hide them
    const step = ground.side_m / size;
    const place = (col, row, z) => at(col / size, row / size, z).slice(0, 2).map((v) => v.toFixed(1)).join(" ");
    const parts = [];
    for (const [, row, col] of cells) {
      const k = row * coarse.n + col;
      const [a, b, c, d] = [coarse.heights[k], coarse.heights[k + 1], coarse.heights[k + 1 + coarse.n], coarse.heights[k + coarse.n]];
      const p = (b - a + c - d) / (2 * step);
      const q = (d - a + c - b) / (2 * step);
      // Light over the left shoulder of who looks.
      const from = rad(round - 60);
      const light = (-(p * Math.sin(from) + q * Math.cos(from)) * -0.6 + 0.8) / Math.sqrt(1 + p * p + q * q);
      const shade = Math.max(0, Math.min(5, Math.round(5 * (light - 0.2) / 0.9)));
      parts.push(`<path class="face s${shade}" d="M${place(col, row, a)}L${place(col + 1, row, b)}L${place(col + 1, row + 1, c)}L${place(col, row + 1, d)}Z"/>`);
      let thin = "";
      let thick = "";
      for (const level of levelsIn(Math.min(a, b, c, d), Math.max(a, b, c, d), intervalM)) {
        for (const [x0, y0, x1, y1] of crossings(coarse, row, col, level * intervalM)) {
          const piece = `M${place(x0, y0, level * intervalM)}L${place(x1, y1, level * intervalM)}`;
          if (level % 5) thin += piece;
          else thick += piece;
        }
      }
      if (thin) parts.push(`<path class="thin" d="${thin}"/>`);
      if (thick) parts.push(`<path class="thick" d="${thick}"/>`);
    }
    for (const [dx, dy] of [[0, -1], [1, 0], [0, 1], [-1, 0]]) {
      // Sides that face who looks.
      if (dx * Math.sin(rad(round)) + dy * Math.cos(rad(round)) > -1e-9) continue;
      const edge = [];
      for (let k = 0; k <= size; k += 1) {
        const [col, row] = dx ? [dx > 0 ? size : 0, k] : [k, dy > 0 ? size : 0];
        edge.push(place(col, row, coarse.heights[row * coarse.n + col]));
      }
      const [first, end] = dx ? [[dx > 0 ? size : 0, 0], [dx > 0 ? size : 0, size]] : [[0, dy > 0 ? size : 0], [size, dy > 0 ? size : 0]];
      const foot = ground.low_m - 0.04 * ground.side_m;
      parts.push(`<path class="ground" d="M${edge.join("L")}L${place(...end, foot)}L${place(...first, foot)}Z"/>`);
    }
    const walk = ground.walk;
    parts.push(`<path class="mark" d="M${walk.heights.map((z, k) => at(...walkPlace(k), z).slice(0, 2).map((v) => v.toFixed(1)).join(" ")).join("L")}"/>`);
    const picture = el("block");
    clear(picture);
    const group = svg(picture, "g", {});
    group.innerHTML = parts.join("");
    svg(picture, "circle", { id: "block-dot", r: 5, class: "mark-fill" });
    const towards = COMPASS[Math.round(round / 45) % 8];
    el("round-now").textContent = `looking ${towards} (${String(round).padStart(3, "0")}° true)`;
    called("block", `The same ground as a block, seen looking ${towards}, from ${TILT}° above; heights are not made taller`);
    drawWalk();
  }
  const walkPlace = (k) => {
    const [[x0, y0], [x1, y1]] = ground.walk.ends;
    const share = k / (ground.walk.heights.length - 1);
    return [x0 + share * (x1 - x0), y0 + share * (y1 - y0)];
  };
  function drawWalk() {
    const k = Number(el("walk").value);
    const walk = ground.walk;
    const [x, y] = walkPlace(k);
    const at = blockAt(Number(el("round").value))(x, y, walk.heights[k]);
    for (const [id, cx, cy] of [["ground-dot", x * WIDE, WIDE - y * WIDE], ["block-dot", at[0], at[1]]]) {
      el(id).setAttribute("cx", cx.toFixed(1));
      el(id).setAttribute("cy", cy.toFixed(1));
    }
    const along = Math.round((walk.length_m * k) / (walk.heights.length - 1));
    el("walk-now").textContent = `${along} m`;
    el("walk").setAttribute("aria-valuetext", `${along} metres along, slope ${shownDeg(walk.slopes_deg[k])} degrees`);
    el("ground-height").textContent = `${Math.round(walk.heights[k])} m`;
    el("ground-slope").textContent = degText(walk.slopes_deg[k]);
    showBand(el("ground-band"), walk.slopes_deg[k]);
    const { scale, intervalM } = map();
    const gap = walk.slopes_deg[k] > 0.5 ? `${roundUp(gapMm(walk.slopes_deg[k], intervalM, scale), 0.01).toFixed(2)} mm apart on your paper` : "far apart";
    el("ground-say").textContent = `Contours round the dot lie ${gap}. A model smooths: small crags are missing on both pictures.`;
  }

  // 3. Know the form.
  let order = [];
  let asked = null;
  const form = { first: 0, right: 0, answered: false };
  function newForm() {
    if (order.length === 0) order = shuffled(data.forms.map((_, k) => k));
    asked = order.pop();
    form.turn = 30 * Math.floor(random() * 12);
    form.answered = false;
    form.choices = shuffled([asked, ...shuffled(data.forms.map((_, k) => k).filter((k) => k !== asked)).slice(0, 3)]);
    const box = el("profiles");
    box.replaceChildren();
    form.choices.forEach((which, number) => {
      const letter = "ABCD"[number];
      const button = make("button", { type: "button", "aria-label": `Profile ${letter}` }, make("strong", {}, letter));
      const picture = svg(button, "svg", { viewBox: "0 -2 100 66", "aria-hidden": "true" });
      const { profile } = data.forms[which];
      const per = 92 / profile[profile.length - 1][0];
      const points = profile.map(([x, z]) => `${(4 + per * x).toFixed(1)},${(60 - per * z).toFixed(1)}`);
      svg(picture, "polygon", { points: `4,60 ${points.join(" ")} 96,60`, class: "ground" });
      button.addEventListener("click", () => answerForm(which, button));
      box.appendChild(button);
    });
    el("form-say").textContent = "";
    drawForm();
  }
  function answerForm(which, button) {
    const right = which === asked;
    if (!form.answered) {
      form.answered = true;
      form.first += 1;
      form.right += right;
    }
    for (const one of el("profiles").children) one.removeAttribute("aria-pressed");
    button.setAttribute("aria-pressed", "true");
    const name = data.forms[asked].name;
    el("form-say").textContent = right
      ? `Right: a ${name}. ${data.forms[asked].words}`
      : `Not that one: it would be a ${data.forms[which].name}. ${data.forms[which].words} Look again.`;
    el("form-score").textContent = `${form.right} of ${form.first} first answers right.`;
    if (right) called("form", `Contours of a ${name}, ${mapWords()}`);
  }
  function drawForm() {
    const { scale, intervalM } = map();
    const grid = data.forms[asked];
    const picture = el("form");
    clear(picture);
    const metres = { n: grid.n, heights: grid.heights.map((z) => 600 + (z * scale) / 1000) };
    const group = svg(picture, "g", { transform: `rotate(${-form.turn} 150 150)` });
    const spread = (v) => 150 + (v - 0.5) * WIDE * 1.42; // turned, it still fills its frame
    const at = (col, row) => [spread(col / (grid.n - 1)), WIDE - spread(row / (grid.n - 1))];
    const paths = contourPath(metres, intervalM, at);
    for (const kind of ["thin", "thick"]) svg(group, "path", { d: paths[kind], class: kind });
    const [[x0, y0], [x1, y1]] = grid.line.map(([x, y]) => [spread(x), WIDE - spread(y)]);
    line(group, x0, y0, x1, y1, "mark");
    const angle = Math.atan2(y1 - y0, x1 - x0);
    const wing = (turn) => `${x1 - 12 * Math.cos(angle + turn)},${y1 - 12 * Math.sin(angle + turn)}`;
    svg(group, "polygon", { points: `${x1},${y1} ${wing(0.35)} ${wing(-0.35)}`, class: "mark-fill" });
    svg(group, "rect", { x: x0 - 4, y: y0 - 4, width: 8, height: 8, class: "mark-fill" });
    for (const [x, y, z] of grid.spots) {
      const [sx, sy] = [spread(x), WIDE - spread(y)];
      const spot = svg(group, "g", { transform: `rotate(${form.turn} ${sx} ${sy})` });
      svg(spot, "rect", { x: sx - 17, y: sy - 9, width: 34, height: 18, rx: 3, class: "plate" });
      svg(spot, "text", { x: sx, y: sy + 4, "text-anchor": "middle" }, `${Math.round(600 + (z * scale) / 1000)} m`);
    }
    called("form", `Contours of a piece of ground, ${mapWords()}; a line runs from a square to an arrow, two heights stand beside it`);
  }

  // 4. By eye first, then with the ruler.
  const START = 10;
  const rule = { truth: 0, eye: null, checked: false, before: null, count: 0, eyeOff: 0, rulerOff: 0 };
  globalThis.steybraeLesson.rule = rule;
  const gaps = () => Number(document.querySelector("input[name=gaps]:checked").value);
  // As large as the gentlest slope that may be hidden allows, so that the size gives nothing away.
  const enlargement = () => {
    const { scale, intervalM } = map();
    return Math.min(60, 280 / gapMm(16, intervalM, scale, gaps()));
  };
  function drawRule(say) {
    const { scale, intervalM } = map();
    const large = enlargement();
    el("reading").max = (Math.floor((10 * (WIDE - START - 2)) / large) / 10).toFixed(1);
    const gap = gapMm(rule.truth, intervalM, scale);
    const reading = Number(el("reading").value);
    const n = gaps();
    const picture = el("rule");
    clear(picture);
    for (let k = 0; START + k * gap * large < WIDE && k <= 60; k += 1) {
      const x = START + k * gap * large;
      line(picture, x, 0, x, 150, k % 5 === 0 ? "thick" : "thin");
      if (k === n && rule.eye !== null) svg(picture, "polygon", { points: `${x},12 ${x - 5},2 ${x + 5},2`, class: "mark-fill" });
    }
    if (rule.eye !== null) {
      const parts = large > 12 ? 10 : 1;
      svg(picture, "rect", { x: START, y: 62, width: reading * large, height: 34, class: "ruler" });
      for (let k = 0; k <= reading * parts + 1e-9; k += 1) {
        const x = START + (k / parts) * large;
        line(picture, x, 62, x, 62 + (k % parts === 0 ? 12 : k % 5 === 0 ? 8 : 5), "tick");
        const every = large > 12 ? parts : 5;
        if (k % every === 0 && x + 14 <= START + reading * large) svg(picture, "text", { x: x + 2, y: 88 }, String(k / parts));
      }
      const end = START + reading * large;
      line(picture, end, 48, end, 110, "mark");
      svg(picture, "circle", { cx: end, cy: 116, r: 8, class: "mark-fill" });
    }
    const answer = slopeDeg(reading, n, intervalM, scale);
    const error = data.ruler_error_mm;
    const steeper = reading > error + 1e-9 ? slopeDeg(reading - error, n, intervalM, scale) : 90;
    const gentler = slopeDeg(reading + error, n, intervalM, scale);
    const shown = rule.eye !== null;
    const over = `${n} gap${n > 1 ? "s" : ""}`;
    called("rule", `Contours of a hidden slope, ${mapWords()}, ${large.toFixed(0)} times larger than on paper${shown ? `; the ruler shows ${reading.toFixed(1)} mm for ${over}` : ""}`);
    el("reading-now").textContent = reading.toFixed(1) + " mm";
    el("reading").setAttribute("aria-valuetext", `${reading.toFixed(1)} millimetres, slope ${shownDeg(answer)} degrees`);
    el("rule-slope").textContent = shown ? degText(answer) : "";
    el("rule-range").textContent = shown ? `${roundDown(gentler, 0.1).toFixed(1)}° to ${steeper >= 90 ? "anything" : degText(steeper)}` : "";
    el("rule-ground").textContent = shown ? `${Math.floor((reading * scale) / 1000)} m of ground` : "";
    if (say !== undefined) el("rule-say").textContent = say;
    else if (rule.before !== null && Math.abs(rule.before - answer) > 0.05) {
      el("rule-say").textContent = `That move changed the answer by ${roundUp(Math.abs(rule.before - answer), 0.1).toFixed(1)}°.`;
    }
    rule.before = answer;
  }
  function drawEye() {
    el("eye-now").textContent = `${el("eye").value}°`;
  }
  function sayEye() {
    rule.eye = Number(el("eye").value);
    el("eye").disabled = el("eye-say").disabled = true;
    el("measure").disabled = el("rule-check").disabled = false;
    drawRule(`You said ${rule.eye}°. Put the ruler's end on the line under the mark: drag it, or use the arrow keys.`);
    el("reading").focus();
  }
  function checkRule() {
    const { scale, intervalM } = map();
    const answer = slopeDeg(Number(el("reading").value), gaps(), intervalM, scale);
    const out = (found) => `${roundUp(Math.abs(found - rule.truth), 0.1).toFixed(1)}° too ${found < rule.truth ? "gentle" : "steep"}`;
    if (!rule.checked) {
      rule.checked = true;
      rule.count += 1;
      rule.eyeOff += Math.abs(rule.eye - rule.truth);
      rule.rulerOff += Math.abs(answer - rule.truth);
    }
    drawRule(`The ground is ${degText(rule.truth)}. By eye ${out(rule.eye)}, by ruler ${out(answer)}.`);
    const mean = (sum) => roundUp(sum / rule.count, 0.1).toFixed(1);
    el("rule-score").textContent = `First answers over ${rule.count} slope${rule.count > 1 ? "s" : ""}: eye ${mean(rule.eyeOff)}° out, ruler ${mean(rule.rulerOff)}°.`;
  }
  function newRule() {
    rule.truth = roundUp(17 + 27 * random(), 0.1);
    rule.eye = rule.before = null;
    rule.checked = false;
    el("eye").disabled = el("eye-say").disabled = false;
    el("eye").value = "15";
    el("measure").disabled = el("rule-check").disabled = true;
    el("reading").value = "1.5";
    drawEye();
    drawRule("How steep is it? Say it before you measure.");
  }
  function dragRule(event) {
    if (rule.eye === null) return;
    const box = el("rule").getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * WIDE;
    const reading = Math.min(Number(el("reading").max), Math.max(0.1, (x - START) / enlargement()));
    el("reading").value = reading.toFixed(1);
    drawRule();
  }

  // 5. Cross it at an angle.
  function drawCross() {
    const { scale, intervalM } = map();
    const slope = Number(el("cross-slope").value);
    const off = Number(el("off").value);
    const step = (12 / gapMm(35, intervalM, scale)) * gapMm(slope, intervalM, scale); // any map: 12 units at 35 degrees
    const picture = el("cross");
    clear(picture);
    for (let k = 1; 200 - k * step > 0; k += 1) line(picture, 0, 200 - k * step, WIDE, 200 - k * step, k % 5 ? "thin" : "thick");
    line(picture, 60, 190, 60, 12, "fall");
    const length = Math.min(175, off > 0 ? 230 / Math.sin(rad(off)) : 175);
    const x = 60 + length * Math.sin(rad(off));
    const y = 188 - length * Math.cos(rad(off));
    line(picture, 60, 188, x, y, "mark");
    svg(picture, "circle", { cx: x, cy: y, r: 5, class: "mark-fill" });
    const grade = lineGradeDeg(slope, off);
    called("cross", `Contours of a slope of ${degText(slope)}, uphill is up; dashed its fall line, and your line ${off}° off it`);
    el("cross-slope-now").textContent = degText(slope);
    el("off-now").textContent = off + "°";
    el("cross-ground").textContent = degText(slope);
    el("cross-line").textContent = degText(grade);
    showBand(el("cross-band"), slope);
    el("cross-say").textContent =
      off > 80
        ? "Your line is almost level. The slope under it is as steep as before."
        : `Your legs feel ${degText(grade)}. What can slide is ${degText(slope)}: measure at right angles to the contours, never along your line.`;
  }

  // 6. Bend it.
  function drawBend() {
    const { scale, intervalM } = map();
    const mean = Number(el("mean").value);
    const bend = Number(el("bend").value);
    const picture = el("bent");
    clear(picture);
    const left = 15;
    const wide = 270;
    const runM = (wide / MAGNIFIED / 1000) * scale;
    const riseM = runM * Math.tan(rad(mean));
    const tall = Math.min(150, wide * Math.tan(rad(mean)));
    const pressed = tall / (wide * Math.tan(rad(mean))) < 0.999;
    const points = [`${left},${SIDE}`];
    for (let k = 0; k <= 60; k += 1) {
      const t = k / 60;
      points.push(`${(left + wide * t).toFixed(2)},${(SIDE - tall * (t + bend * t * (1 - t))).toFixed(2)}`);
    }
    points.push(`${left + wide},${SIDE}`);
    svg(picture, "polygon", { points: points.join(" "), class: "ground" });
    line(picture, left, SIDE, left + wide, SIDE - tall, "fall");
    line(picture, 0, SIDE + 5, WIDE, SIDE + 5, "divide");
    const count = Math.floor(riseM / intervalM);
    for (let k = 1; k <= count; k += 1) {
      const share = (k * intervalM) / riseM;
      const x = left + wide * bentShare(bend, share);
      line(picture, x, SIDE + 5, x, 275, k % 5 ? "thin" : "thick");
      if (k % 5 === 0) line(picture, x, SIDE - tall * share, x, SIDE + 5, "drop");
    }
    paperRuler(picture, 276, 30);
    const words = Math.abs(bend) < 0.05 ? "even" : bend > 0 ? "convex" : "concave";
    const steepest = bentSteepestDeg(mean, bend);
    called("bent", `A slope, ${words}, of ${degText(mean)} on average, ${degText(steepest)} at its steepest, from the side${pressed ? " (heights pressed down to fit)" : ""}, and below it its contours`);
    el("mean-now").textContent = degText(mean);
    el("bend-now").textContent = words;
    el("bend").setAttribute("aria-valuetext", words + (Math.abs(bend) < 0.05 ? "" : `, ${Math.round(Math.abs(bend) * 10)} of 9`));
    el("bend-mean").textContent = degText(mean);
    el("bend-steepest").textContent = degText(steepest);
    showBand(el("bend-band"), steepest);
    el("bend-say").textContent =
      words === "even"
        ? "Even gaps: the average tells the truth."
        : words === "convex"
          ? `Gentle above, steep below: from the top you do not see the foot. The average hides ${degText(steepest)}.`
          : `Steep above, gentle below. The average hides ${degText(steepest)}.`;
  }

  // 7. Questions.
  const quiz = { round: 0, now: 0, first: [] };
  function makeQuiz() {
    quiz.first = data.quiz[quiz.round].map(() => null);
    el("quiz").replaceChildren(...data.quiz[quiz.round].map(quizItem));
    el("score").textContent = "";
    showQuestion(0);
  }
  function quizItem(question, number) {
    const ask = make("p", { id: `ask-${number}` }, `${number + 1} of ${data.quiz[quiz.round].length}. ${question.ask}`);
    const input = make("input", { type: "number", inputmode: "decimal", step: "0.1", min: "0", max: "90", id: `answer-${number}`, "aria-labelledby": ask.id });
    const button = make("button", { type: "submit", "aria-describedby": ask.id }, "Answer");
    const said = make("p", { id: `said-${number}`, "aria-live": "polite", class: "say" });
    const answer = make("form", { class: "row", novalidate: "" }, input, "degrees", button);
    answer.addEventListener("submit", (event) => {
      event.preventDefault();
      judge(number, input.value, said);
    });
    return make("div", { class: "question" }, ask, ...(question.gap_mm === null ? [] : [quizPicture(question)]), answer, said);
  }
  function showQuestion(number) {
    quiz.now = number;
    const items = [...el("quiz").children];
    items.forEach((item, k) => { item.hidden = k !== number; });
    el("quiz-before").disabled = number === 0;
    el("quiz-next").disabled = number === items.length - 1;
  }
  function quizPicture(question) {
    const picture = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    picture.setAttribute("viewBox", "0 0 300 80");
    picture.setAttribute("role", "img");
    const length = question.gap_mm * question.gaps;
    const enlarged = Math.min(60, 250 / (length + 1));
    picture.setAttribute("aria-label", `${question.gaps + 1} contours, ${length.toFixed(1)} millimetres from the first to the last on paper`);
    for (let k = 0; k <= question.gaps; k += 1) {
      const x = 20 + k * question.gap_mm * enlarged;
      line(picture, x, 4, x, 46, k % 5 ? "thin" : "thick");
    }
    const marks = Math.ceil(length + 0.2);
    svg(picture, "rect", { x: 20, y: 46, width: marks * enlarged, height: 26, class: "ruler" });
    const per = enlarged > 12 ? 10 : enlarged > 6 ? 2 : 1;
    for (let tenth = 0; tenth <= marks * per; tenth += 1) {
      const x = 20 + (tenth / per) * enlarged;
      line(picture, x, 46, x, 46 + (tenth % per === 0 ? 11 : tenth % 5 === 0 ? 7 : 4), "tick");
      if (tenth % per === 0 && tenth < marks * per) svg(picture, "text", { x: x + 1.5, y: 68 }, String(tenth / per));
    }
    svg(picture, "text", { x: 24 + marks * enlarged, y: 68 }, "mm");
    return picture;
  }
  function judge(number, typed, said) {
    const question = data.quiz[quiz.round][number];
    const value = Number(typed.replace(",", "."));
    if (typed.trim() === "" || !Number.isFinite(value)) {
      said.replaceChildren(make("span", { class: "verdict" }, "Type a number of degrees."));
      return;
    }
    const right = value >= question.low_deg - 0.05 && value <= question.high_deg + 0.05;
    const verdict = right ? "Accepted. " : value < question.low_deg ? "Too gentle. " : "Too steep. ";
    if (quiz.first[number] === null) quiz.first[number] = right;
    said.replaceChildren(make("span", { class: "verdict" }, verdict), question.worked);
    const done = quiz.first.filter((one) => one !== null).length;
    const good = quiz.first.filter((one) => one === true).length;
    el("score").textContent = `${good} of ${done} first answers accepted; ${quiz.first.length} questions in all.`;
  }

  // One step on the screen at a time.
  const steps = [...document.querySelectorAll("section[data-step]")];
  function show(number) {
    steps.forEach((step, k) => { step.hidden = k !== number; });
    [...el("steps").children].forEach((button, k) => {
      if (k === number) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    });
  }

  function drawAll() {
    rule.before = null;
    drawTurn();
    drawGroundMap();
    drawBlock();
    drawForm();
    drawRule(rule.checked ? undefined : el("rule-say").textContent);
    drawCross();
    drawBend();
  }

  fill(el("scale"), data.scales.map((scale) => [scale, `1:${scale.toLocaleString("en").replace(/,/g, "\u202f")}`]));
  fill(el("interval"), data.intervals.map(([words, metres]) => [metres, words]));
  el("scale").value = String(data.scale);
  el("interval").value = String(data.interval_m);
  for (const id of ["scale", "interval"]) el(id).addEventListener("change", drawAll);
  el("slope").addEventListener("input", () => { cancelAnimationFrame(running); drawTurn(); });
  el("sweep").addEventListener("click", sweep);
  el("round").addEventListener("input", drawBlock);
  el("walk").addEventListener("input", drawWalk);
  el("form-new").addEventListener("click", newForm);
  el("eye").addEventListener("input", drawEye);
  el("eye-say").addEventListener("click", sayEye);
  el("reading").addEventListener("input", () => drawRule());
  for (const radio of document.querySelectorAll("input[name=gaps]")) radio.addEventListener("change", () => { rule.before = null; drawRule(""); });
  el("rule-check").addEventListener("click", checkRule);
  el("rule-new").addEventListener("click", newRule);
  let dragging = false;
  el("rule").addEventListener("pointerdown", (event) => { dragging = true; el("rule").setPointerCapture(event.pointerId); dragRule(event); });
  el("rule").addEventListener("pointermove", (event) => { if (dragging) dragRule(event); });
  for (const name of ["pointerup", "pointercancel"]) el("rule").addEventListener(name, () => { dragging = false; });
  for (const id of ["cross-slope", "off"]) el(id).addEventListener("input", drawCross);
  for (const id of ["mean", "bend"]) el(id).addEventListener("input", drawBend);
  el("quiz-before").addEventListener("click", () => showQuestion(quiz.now - 1));
  el("quiz-next").addEventListener("click", () => showQuestion(quiz.now + 1));
  el("quiz-new").addEventListener("click", () => { quiz.round = (quiz.round + 1) % data.quiz.length; makeQuiz(); });
  steps.forEach((step, k) => {
    const button = make("button", { type: "button" }, `${k + 1}. ${step.dataset.step}`);
    button.addEventListener("click", () => show(k));
    el("steps").appendChild(button);
  });
  for (const node of [document.querySelector(".choice"), el("steps")]) node.hidden = false;
  el("round").value = String((Math.round(upDeg / 5) * 5) % 360);
  newForm();
  newRule();
  makeQuiz();
  drawAll();
  show(0);
})();
