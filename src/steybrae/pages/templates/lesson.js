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
    if (Math.abs(bend) < 1e-9) return height;
    const first = 1 + bend;
    return (first - Math.sqrt(Math.max(0, first * first - 4 * bend * height))) / (2 * bend);
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
  globalThis.steybraeLesson = { gapMm, slopeDeg, lineGradeDeg, bentShare, bentSteepestDeg, shownDeg, bandAt, oneIn, roundUp, roundDown };

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
  const clear = (picture) => {
    for (const node of [...picture.children]) if (node.tagName !== "title") node.remove();
  };
  const line = (parent, x1, y1, x2, y2, kind) =>
    svg(parent, "line", { x1: x1.toFixed(2), y1: y1.toFixed(2), x2: x2.toFixed(2), y2: y2.toFixed(2), class: kind });
  const showBand = (node, slope) => {
    const band = data.bands[bandAt(slope)];
    node.textContent = band.label + "°";
    node.style.backgroundColor = band.tint;
    node.style.color = band.ink;
  };
  const fill = (select, options) => {
    for (const [value, words] of options) {
      const option = document.createElement("option");
      option.value = value;
      option.textContent = words;
      select.appendChild(option);
    }
  };
  const map = () => ({ scale: Number(el("scale").value), intervalM: Number(el("interval").value) });

  const paperRuler = (picture, y, lengthMm) => {
    for (let mm = 0; mm <= lengthMm; mm += 1) {
      line(picture, mm * MAGNIFIED, y, mm * MAGNIFIED, y + (mm % 5 ? 4 : 8), "tick");
      if (mm % 10 === 0 && mm > 0 && mm < lengthMm) svg(picture, "text", { x: mm * MAGNIFIED + 2, y: y + 17 }, mm + " mm");
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
    svg(picture, "text", { x: 8, y: 16, class: "soft" }, "from the side");
    svg(picture, "text", { x: 8, y: 30 }, degText(slope));
    svg(picture, "text", { x: 8, y: SIDE + 20, class: "soft" }, "on the map, 10 times larger");
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

  // 2. Feel the ruler.
  const START = 10;
  let hidden = 0;
  let before = null;
  let revealed = false;
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
    const truth = data.hidden_deg[hidden];
    const gap = gapMm(truth, intervalM, scale);
    const reading = Number(el("reading").value);
    const n = gaps();
    const picture = el("rule");
    clear(picture);
    for (let k = 0; START + k * gap * large < WIDE && k <= 60; k += 1) {
      const x = START + k * gap * large;
      line(picture, x, 0, x, 150, k % 5 === 0 ? "thick" : "thin");
      if (k === n) svg(picture, "polygon", { points: `${x},12 ${x - 5},2 ${x + 5},2`, class: "mark-fill" });
    }
    svg(picture, "rect", { x: START, y: 62, width: reading * large, height: 34, class: "ruler" });
    const parts = large > 12 ? 10 : 1;
    for (let k = 0; k <= reading * parts + 1e-9; k += 1) {
      const x = START + (k / parts) * large;
      line(picture, x, 62, x, 62 + (k % parts === 0 ? 12 : k % 5 === 0 ? 8 : 5), "tick");
      const every = large > 12 ? parts : 5;
      if (k % every === 0 && x + 14 <= START + reading * large) svg(picture, "text", { x: x + 2, y: 88 }, String(k / parts));
    }
    svg(picture, "text", { x: 8, y: 143, class: "soft" }, `${large.toFixed(0)} times larger than on paper`);
    const end = START + reading * large;
    line(picture, end, 48, end, 110, "mark");
    svg(picture, "circle", { cx: end, cy: 116, r: 8, class: "mark-fill" });
    const answer = slopeDeg(reading, n, intervalM, scale);
    const steeper = reading > 0.1 + 1e-9 ? slopeDeg(reading - 0.1, n, intervalM, scale) : 90;
    const gentler = slopeDeg(reading + 0.1, n, intervalM, scale);
    el("reading-now").textContent = reading.toFixed(1) + " mm";
    el("reading").setAttribute("aria-valuetext", `${reading.toFixed(1)} millimetres, slope ${shownDeg(answer)} degrees`);
    el("rule-slope").textContent = degText(answer);
    el("rule-range").textContent = `${roundDown(gentler, 0.1).toFixed(1)}° to ${steeper >= 90 ? "anything" : degText(steeper)}`;
    el("rule-ground").textContent = `${Math.floor((reading * scale) / 1000)} m of ground`;
    if (say !== undefined) el("rule-say").textContent = say;
    else if (before !== null && Math.abs(before - answer) > 0.05) {
      el("rule-say").textContent = `That move changed the answer by ${roundUp(Math.abs(before - answer), 0.1).toFixed(1)}°.`;
    }
    before = answer;
  }
  function checkRule() {
    const { scale, intervalM } = map();
    const truth = data.hidden_deg[hidden];
    const answer = slopeDeg(Number(el("reading").value), gaps(), intervalM, scale);
    const off = roundUp(Math.abs(answer - truth), 0.1).toFixed(1);
    const which = answer < truth ? "too gentle" : "too steep";
    const rest = gaps() === 1 ? "Now try it over 5 gaps." : "See how little 0.1 mm does over more gaps.";
    revealed = true;
    drawRule(`The ground is ${degText(truth)}. You are ${off}° ${which}. ${rest}`);
  }
  function newRule() {
    hidden = (hidden + 1) % data.hidden_deg.length;
    revealed = false;
    before = null;
    drawRule("A new slope. Where is its last line?");
  }
  function dragRule(event) {
    const box = el("rule").getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * WIDE;
    const reading = Math.min(Number(el("reading").max), Math.max(0.1, (x - START) / enlargement()));
    el("reading").value = reading.toFixed(1);
    drawRule();
  }

  // 3. Cross it at an angle.
  function drawCross() {
    const { scale, intervalM } = map();
    const slope = Number(el("cross-slope").value);
    const off = Number(el("off").value);
    const step = (12 / gapMm(35, intervalM, scale)) * gapMm(slope, intervalM, scale); // any map: 12 units at 35 degrees
    const picture = el("cross");
    clear(picture);
    for (let k = 1; 200 - k * step > 0; k += 1) line(picture, 0, 200 - k * step, WIDE, 200 - k * step, k % 5 ? "thin" : "thick");
    line(picture, 60, 190, 60, 12, "fall");
    svg(picture, "text", { x: 66, y: 22, class: "soft" }, "fall line, uphill");
    const length = Math.min(175, off > 0 ? 230 / Math.sin(rad(off)) : 175);
    const x = 60 + length * Math.sin(rad(off));
    const y = 188 - length * Math.cos(rad(off));
    line(picture, 60, 188, x, y, "mark");
    svg(picture, "circle", { cx: x, cy: y, r: 5, class: "mark-fill" });
    const grade = lineGradeDeg(slope, off);
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

  // 4. Bend it.
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
    const per = tall / (wide * Math.tan(rad(mean)));
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
    svg(picture, "text", { x: 8, y: 16, class: "soft" }, per < 0.999 ? "from the side, heights pressed down to fit" : "from the side");
    const steepest = bentSteepestDeg(mean, bend);
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

  // 5. Six questions.
  const results = data.quiz.map(() => null);
  function makeQuiz() {
    data.quiz.forEach((question, number) => {
      const item = document.createElement("li");
      const ask = document.createElement("p");
      ask.id = `ask-${number}`;
      ask.textContent = question.ask;
      item.appendChild(ask);
      if (question.gap_mm !== null) item.appendChild(quizPicture(question));
      const form = document.createElement("form");
      form.className = "row";
      form.noValidate = true;
      const input = document.createElement("input");
      input.type = "number";
      input.inputMode = "decimal";
      input.step = "0.1";
      input.min = "0";
      input.max = "90";
      input.id = `answer-${number}`;
      input.setAttribute("aria-labelledby", ask.id);
      const button = document.createElement("button");
      button.type = "submit";
      button.textContent = "Answer";
      button.setAttribute("aria-describedby", ask.id);
      const said = document.createElement("p");
      said.id = `said-${number}`;
      said.setAttribute("aria-live", "polite");
      form.append(input, document.createTextNode("degrees"), button);
      item.append(form, said);
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        judge(number, input.value, said);
      });
      el("quiz").appendChild(item);
    });
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
    for (let tenth = 0; tenth <= marks * (enlarged > 12 ? 10 : enlarged > 6 ? 2 : 1); tenth += 1) {
      const per = enlarged > 12 ? 10 : enlarged > 6 ? 2 : 1;
      const x = 20 + (tenth / per) * enlarged;
      line(picture, x, 46, x, 46 + (tenth % per === 0 ? 11 : tenth % 5 === 0 ? 7 : 4), "tick");
      if (tenth % per === 0) svg(picture, "text", { x: x + 1.5, y: 68 }, String(tenth / per));
    }
    svg(picture, "text", { x: 24 + marks * enlarged + 8, y: 68 }, "mm");
    return picture;
  }
  function judge(number, typed, said) {
    const question = data.quiz[number];
    const value = Number(typed.replace(",", "."));
    said.textContent = "";
    const strong = document.createElement("span");
    strong.className = "verdict";
    if (typed.trim() === "" || !Number.isFinite(value)) {
      strong.textContent = "Type a number of degrees.";
      said.append(strong);
      return;
    }
    const right = value >= question.low_deg - 0.05 && value <= question.high_deg + 0.05;
    results[number] = right;
    strong.textContent = right ? "Accepted. " : value < question.low_deg ? "Too gentle. " : "Too steep. ";
    said.append(strong, document.createTextNode(question.worked));
    const done = results.filter((one) => one !== null).length;
    const good = results.filter((one) => one === true).length;
    el("score").textContent = `${good} of ${done} answered so far are accepted; ${data.quiz.length} in all.`;
  }

  function drawAll() {
    before = null;
    drawTurn();
    drawRule(revealed ? undefined : "");
    drawCross();
    drawBend();
  }

  fill(el("scale"), data.scales.map((scale) => [scale, `1:${scale.toLocaleString("en").replace(/,/g, "\u202f")}`]));
  fill(el("interval"), data.intervals.map(([words, metres]) => [metres, words]));
  el("scale").value = "25000";
  el("interval").value = "10";
  for (const id of ["scale", "interval"]) el(id).addEventListener("change", drawAll);
  el("slope").addEventListener("input", () => { cancelAnimationFrame(running); drawTurn(); });
  el("sweep").addEventListener("click", sweep);
  el("reading").addEventListener("input", () => drawRule());
  for (const radio of document.querySelectorAll("input[name=gaps]")) radio.addEventListener("change", () => { before = null; drawRule(""); });
  el("rule-check").addEventListener("click", checkRule);
  el("rule-new").addEventListener("click", newRule);
  let dragging = false;
  el("rule").addEventListener("pointerdown", (event) => { dragging = true; el("rule").setPointerCapture(event.pointerId); dragRule(event); });
  el("rule").addEventListener("pointermove", (event) => { if (dragging) dragRule(event); });
  for (const name of ["pointerup", "pointercancel"]) el("rule").addEventListener(name, () => { dragging = false; });
  for (const id of ["cross-slope", "off"]) el(id).addEventListener("input", drawCross);
  for (const id of ["mean", "bend"]) el(id).addEventListener("input", drawBend);
  makeQuiz();
  drawAll();
})();
