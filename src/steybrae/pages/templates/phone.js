'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const {rule, words, bands} = data;
  const by = (id) => document.getElementById(id);

  // The rule, as in Python: steybrae.field.readings, agreement, reasons, poles.
  const RAD = Math.PI / 180;
  const gradient = (deg) => (deg >= 90 ? Infinity : Math.tan(deg * RAD));
  const angle = (m) => Math.atan(m) / RAD;
  const mean = (list) => list.reduce((a, b) => a + b, 0) / list.length;
  const up = (deg) => Math.ceil(deg / 0.1 - 1e-6) / 10 + 0;
  const figure = (deg) => `${up(deg).toFixed(1)}°`;
  const fill = (text, parts) => text.replace(/\{(\w+)\}/g, (_, name) => parts[name] ?? '');
  const bandAt = (deg) => bands.edges.filter((edge) => up(deg) >= edge).length;

  function readingSet(ups, downs, error, units) {
    const groups = [ups, downs].filter((group) => group.length);
    const count = ups.length + downs.length;
    const effective = groups.length < 2 ? count : 4 / (1 / ups.length + 1 / downs.length);
    const freedom = count - groups.length;
    let scatter = null;
    let scattered = false;
    if (freedom > 0) {
      const squares = groups.map((group) => {
        const middle = mean(group);
        return group.reduce((sum, value) => sum + (value - middle) ** 2, 0);
      });
      scatter = Math.sqrt(squares.reduce((a, b) => a + b, 0) / freedom);
      const ninth = 2 / (9 * freedom);
      const root = 1 - ninth + rule.scatter_quantile * Math.sqrt(ninth);
      scattered = scatter > ((rule.random_share * error) / 2) * Math.sqrt(root ** 3);
    }
    const random = Math.max(rule.random_share * error, scattered ? 2 * scatter : 0);
    const index = groups.length < 2 ? 0 : Math.abs(mean(ups) - mean(downs)) / 2;
    const widely = index > error;
    return {
      ups, downs, error, units, scatter, scattered, index, widely,
      values: [...ups, ...downs],
      mean: mean(groups.map(mean)),
      mixed: new Set(units).size > 1,
      uncertainty: Math.hypot(rule.bias_share * error, random / Math.sqrt(effective), widely ? index : 0),
    };
  }

  function compare(value, uncertainty, at) {
    const apart = value - at.slope;
    const sides = [[1, at.high], [-1, at.low]];
    const faces = sides
      .filter(([way, end]) => end !== null && (apart === 0 || way === Math.sign(apart)))
      .map(([, end]) => Math.abs(end - at.slope));
    if (!faces.length) return {apart, en: null, notice: null, result: 'cannot tell'};
    const notice = Math.hypot(uncertainty, Math.max(...faces));
    const en = Math.abs(apart) / notice;
    let result = notice <= rule.band ? 'consistent' : notice <= 2 * rule.band ? 'consistent, weakly' : 'tells little';
    if (en > 1) result = 'different';
    return {apart, en, notice, result};
  }

  function agrees(value, uncertainty, at) {
    const found = compare(value, uncertainty, at);
    return found.en === null ? Math.abs(found.apart) <= uncertainty : found.en <= 1;
  }

  function saidOf(found, at) {
    const text = words.comparison[found.result] ?? words.comparison.other;
    return fill(text, {
      source: at.source, apart: figure(Math.abs(found.apart)), limit: found.notice === null ? '' : figure(found.notice),
      result: found.result[0].toUpperCase() + found.result.slice(1),
    });
  }

  function leads(set, at) {
    const own = set.scattered || set.widely ? Math.max(...set.values) : set.mean;
    const steeper = at ? Math.max(own, at.slope) : own;
    const open = Boolean(at) && at.high === null;
    const highest = Math.max(Math.min(90, set.mean + set.uncertainty), at?.high ?? 0, steeper);
    const first = bandAt(steeper);
    const last = Math.max(first, bandAt(highest));
    const sight = at?.quantity === 'sight';
    const band = open && last === first && first < bands.labels.length - 1 ? 'band_open' : 'band';
    return fill(words.comparison.leads, {
      shown: open ? `${words.at_least} ${figure(steeper)}` : figure(steeper),
      band: sight ? '' : fill(words.comparison[band], {band: bands.labels[first]}),
      possibly: !sight && last > first ? fill(words.comparison.possibly, {band: bands.labels[last]}) : '',
      open: open ? words.comparison.open : '',
    });
  }

  function aboutReadings(set) {
    const out = [];
    const say = words.reasons;
    if (set.scattered) out.push(fill(say.scatter, {scatter: figure(set.scatter), error: figure(set.error)}));
    if (set.index > set.error / 2) {
      const more = set.widely ? say['index_error apart'] : '';
      out.push(fill(say.index_error + more, {
        twice: figure(2 * set.index), once: figure(set.index), error: figure(set.error),
      }));
    }
    if (set.mixed) out.push(say.mixed_units);
    return out;
  }

  function otherUnit(set, at) {
    if (set.mixed || agrees(set.mean, set.uncertainty, at)) return null;
    const percent = set.units[0] === 'percent';
    const swap = (deg) => (percent ? Math.min(90, 100 * gradient(deg)) : angle(deg / 100));
    const other = readingSet(set.ups.map(swap), set.downs.map(swap), set.error, []);
    if (!agrees(other.mean, other.uncertainty, at)) return null;
    const [taken, meant] = percent ? ['percent', 'degrees'] : ['degrees', 'percent'];
    const text = fill(words.reasons.other_unit, {meant, taken, other: figure(other.mean)});
    return percent ? text : `${text} ${words.reasons.stands}`;
  }

  function baseline(set, at, apart) {
    const said = {
      Source: at.source[0].toUpperCase() + at.source.slice(1), source: at.source, length: at.length_text,
      slope: figure(at.slope), piece: `${at.piece_text} m at ${figure(set.mean)}`, piece_m: at.piece_text,
    };
    const say = words.reasons;
    if (apart < 0) return fill(say['baseline gentler'], said);
    const piece = Math.min(rule.piece, at.baseline / 2);
    const rise = at.baseline * gradient(at.slope) - piece * gradient(set.mean);
    if (!(rise >= 0)) return fill(say['baseline alone'], said);
    const text = fill(say.baseline, {...said, rest: figure(angle(rise / (at.baseline - piece)))});
    const gentler = Math.max(0, at.slope - rule.band);
    const hidden = angle((at.baseline * gradient(at.slope) - (at.baseline - piece) * gradient(gentler)) / piece);
    if (hidden <= set.mean) return text;
    return `${text} ${fill(say['baseline hidden'], {...said, gentler: figure(gentler), hidden: figure(hidden)})}`;
  }

  function reasonsFor(set, at, found) {
    const out = aboutReadings(set);
    if (!at || (found.result !== 'different' && Math.abs(found.apart) < rule.band)) return out;
    const say = words.reasons;
    out.push(otherUnit(set, at));
    if (at.baseline === null) return out.filter(Boolean); // a sight averages over no ground
    out.push(baseline(set, at, found.apart));
    if (found.apart > 0) {
      const phase = (2 * Math.PI) / rule.roll_cells;
      const seen = angle((gradient(set.mean) * Math.sin(phase)) / phase);
      out.push(say.convexity);
      out.push(fill(say.coarse_cells, {cell: at.cell_text, roll: at.roll_text, reading: figure(set.mean), seen: figure(seen)}));
    }
    out.push(fill(say[found.apart > 0 ? 'snow steeper' : 'snow gentler'], {source: at.source}));
    return out.filter(Boolean);
  }

  function judge(set, at) {
    const found = at ? compare(set.mean, set.uncertainty, at) : null;
    return {
      ...found, leads: leads(set, at), sentence: found ? saidOf(found, at) : '', reasons: reasonsFor(set, at, found),
    };
  }

  const turned = {
    level: {to: angle, error: () => 0},
    slope: {to: (sine) => Math.asin(Math.min(1, Math.max(0, sine))) / RAD, error: (deg) => deg},
  };
  function joined(kind, value, shares, turn) {
    const half = Math.hypot(...shares);
    const to = (ratio) => turned[kind].to(Math.max(0, ratio));
    const slope = to(value);
    const low = Math.max(0, slope - Math.hypot(slope - to(value - half), turn));
    const high = Math.min(90, slope + Math.hypot(to(value + half) - slope, turn));
    return {slope, low, high, uncertainty: Math.max(high - slope, slope - low)};
  }
  function byHand(how, first, second, own) {
    if (!(first > 0) || !(second >= 0) || !Number.isFinite(first + second)) return null;
    if (how === 'level' || how === 'slope') {
      const ratio = second / first;
      const shares = [rule.length_error / first, (ratio * rule.length_error) / first];
      const held = [Math.tan(rule.level_error * RAD), ratio ** 2 * Math.tan(rule.plumb_error * RAD)];
      if (how === 'level') return joined('level', ratio, [...shares, ...held], 0);
      return ratio > 1 ? null : joined('slope', ratio, shares, rule.level_error);
    }
    if (!(second > 0)) return null;
    if (how === 'equal') {
      const sine = second / (2 * first);
      const shares = [rule.length_error / (2 * first), (sine * rule.length_error) / first];
      return sine > 1 ? null : joined('slope', sine, shares, rule.plumb_error);
    }
    const eye = own?.eye ?? rule.eye_height;
    const ratio = (first * eye) / (second * (own?.pace ?? rule.pace));
    const shares = [ratio * rule.pace_error, (ratio * rule.eye_height_error) / eye];
    return ratio > 1 ? null : joined('slope', ratio, shares, rule.level_error);
  }

  const fromTrue = (magnetic, declination) => (((magnetic + declination) % 360) + 360) % 360;
  function facing(magnetic, at) {
    const measured = fromTrue(magnetic, at.declination);
    const apart = ((((measured - at.aspect + 540) % 360) + 360) % 360) - 180;
    const tolerance = at.aspect_within;
    if (tolerance === null || tolerance > rule.aspect_most) return {measured, apart, result: 'cannot tell'};
    return {measured, apart, result: Math.abs(apart) <= tolerance ? 'fits' : 'does not fit'};
  }

  const quoted = (text) => `"${String(text).replaceAll('"', '""')}"`;
  function defused(text) {
    const formula = data.formula.some((sign) => text.trimStart().startsWith(sign));
    return formula && !(text.trim() && Number.isFinite(Number(text))) ? `'${text}` : text;
  }
  function row(time, set, at, who, magneticAspect) {
    const faced = magneticAspect === null ? null : fromTrue(magneticAspect, at?.declination ?? data.declinations[leg - 1]);
    return {
      time, observer: defused(who.observer), instrument: defused(who.instrument),
      lat_deg: at?.lat ?? '', lon_deg: at?.lon ?? '', reference_source: at?.source ?? '',
      reference_slope_deg: at?.slope ?? '', aspect_true_deg: faced ?? at?.aspect ?? '', plan: at ? defused(data.plan) : '',
      check: at?.name ?? '', note: '', readings_deg: set.values.join(';'), mean_deg: set.mean,
      uncertainty_95_deg: set.uncertainty,
    };
  }
  const line = (cells) => `${data.columns.map((name) => quoted(cells[name])).join(',')}\n`;
  const csv = (rows) => data.columns.map(quoted).join(',') + '\n' + rows.map(line).join('');

  window.steybraePhone = {readingSet, compare, judge, byHand, facing, row, csv, angle, data};

  // What is kept. A browser may keep nothing of a local file, and says so only by refusing.
  const KEY = `steybrae ${data.key}`;
  let keeps = true;
  function recall() {
    try {
      const found = JSON.parse(localStorage.getItem(KEY) ?? '{}');
      localStorage.setItem(KEY, JSON.stringify(found));
      return found;
    } catch {
      keeps = false;
      return {};
    }
  }
  const kept = {rows: [], start: null, observer: '', instrument: '', look: '', ...recall()};
  function keep() {
    try {
      localStorage.setItem(KEY, JSON.stringify(kept));
    } catch {
      keeps = false;
    }
    tellStorage();
  }
  function tellStorage() {
    by('storage').textContent = keeps
      ? 'Rows are kept in this browser, on this phone alone. Take them out before the browser is cleared.'
      : 'This browser keeps nothing of this page: take the rows out before you close it.';
  }

  // Screens.
  document.documentElement.classList.toggle('sun', kept.look === 'sun');
  document.documentElement.classList.toggle('night', kept.look === 'night');
  document.body.classList.add('live-page');
  document.querySelectorAll('.live').forEach((node) => { node.hidden = false; });
  by('larger')?.removeAttribute('hidden');
  const screens = [...document.querySelectorAll('.screen')];
  const walk = screens.filter((node) => node.id !== 'reading' && node.id !== 'log');
  let leg = 1;
  let wish = location.hash.slice(1);
  function show() {
    const wanted = by(wish)?.closest('.screen') ?? by('day');
    screens.forEach((node) => node.classList.toggle('now', node === wanted));
    document.body.classList.toggle('at-day', wanted.id === 'day');
    const at = walk.indexOf(wanted);
    const here = at < 0 ? walk.indexOf(by(`leg-${leg}`)) : at;
    if (wanted.classList.contains('leg')) leg = Number(wanted.id.slice(4));
    by('back').href = `#${at < 0 ? walk[here].id : walk[Math.max(0, here - 1)].id}`;
    by('next').href = `#${walk[Math.min(walk.length - 1, at < 0 ? here : here + 1)].id}`;
    document.querySelectorAll('nav a').forEach((link) => {
      const now = link.hash === `#${wanted.id}` && !['back', 'next'].includes(link.id);
      link.toggleAttribute('aria-current', now);
      if (now) link.setAttribute('aria-current', 'page');
    });
    if (by(wish) === wanted) window.scrollTo(0, 0);
    if (wanted.id === 'reading' && !chosen) choose(data.checks.find((one) => one.leg === leg)?.name ?? '');
  }
  function go(name) {
    wish = name;
    show();
    document.querySelector('.screen.now').focus({preventScroll: true});
  }
  window.addEventListener('hashchange', () => go(location.hash.slice(1)));
  document.addEventListener('click', (event) => {
    const link = event.target.closest('a[href^="#"]');
    // A viewer that gives a local file no origin lets its address not change: the screen changes all the same.
    if (link) setTimeout(() => { if (location.hash !== link.hash) go(link.hash.slice(1)); });
  });
  by('larger')?.addEventListener('click', () => {
    const large = document.querySelector('.map').classList.toggle('large');
    by('larger').textContent = large ? 'Whole map' : 'Larger';
  });
  by('look').addEventListener('click', () => {
    const next = {'': 'sun', sun: 'night', night: ''}[kept.look];
    document.documentElement.classList.toggle('sun', next === 'sun');
    document.documentElement.classList.toggle('night', next === 'night');
    by('look').textContent = {'': 'Sun', sun: 'Night', night: 'Usual'}[next];
    kept.look = next;
    keep();
  });
  by('look').textContent = {'': 'Sun', sun: 'Night', night: 'Usual'}[kept.look];

  // The day: is this page of today, and do its bulletins still hold?
  const two = (n) => String(n).padStart(2, '0');
  const dayOf = (time) => `${time.getFullYear()}-${two(time.getMonth() + 1)}-${two(time.getDate())}`;
  function warn() {
    const now = new Date();
    const lines = [];
    if (there(now).slice(0, 10) > data.last_day) lines.push(`This page is of ${data.date}, and that day is over. Make it anew.`);
    if (data.bulletin_end && new Date(data.bulletin_end) < now) {
      lines.push(data.bulletin_ended);
    }
    by('warning').hidden = !lines.length;
    by('warning').textContent = lines.join(' ');
  }
  const clock = (time) => `${two(time.getHours())}:${two(time.getMinutes())}`;
  // Times stand beside those of the card, so they are in its zone, whatever that of the phone.
  const local = (time) => `${dayOf(time)} ${clock(time)}`;
  function there(time) {
    try {
      return data.zone ? time.toLocaleString('sv-SE', {timeZone: data.zone}).slice(0, 16) : local(time);
    } catch {
      return local(time);
    }
  }
  const told = (time) => `${there(time).slice(11)}${there(time).startsWith(data.date) ? '' : ` on ${there(time).slice(0, 10)}`}`;
  function times() {
    if (kept.start === null) return;
    const start = new Date(kept.start);
    const zone = there(start) === local(start) ? '' : ` (${data.zone})`;
    by('started').textContent = `Started ${told(start)}${zone}; times count from then.`;
    by('start').textContent = 'Start again now';
    let minutes = 0;
    let least = false;
    document.querySelectorAll('.arrive').forEach((node, k) => {
      if (minutes === null || data.minutes[k] === null) {
        minutes = null;
        node.textContent = 'arrival not known';
        return;
      }
      minutes += data.minutes[k];
      least ||= data.minutes_at_least[k];
      const arrival = new Date(Math.ceil((start.getTime() / 60000) + minutes - 1e-6) * 60000);
      const after = (end) => end !== null && arrival > new Date(end);
      const said = [
        `there ${least ? `${words.at_least} ` : ''}${told(arrival)}`,
        after(data.dark_from) && 'AFTER SUNSET',
        data.dark_till !== null && arrival < new Date(data.dark_till) && 'BEFORE SUNRISE',
        after(data.bulletin_end) && 'AFTER THE BULLETIN ENDS',
        after(data.overdue) && 'AFTER THE TIME TO CALL',
      ];
      node.textContent = said.filter(Boolean).join(', ');
    });
  }
  by('start').addEventListener('click', () => { kept.start = Date.now(); keep(); times(); });

  // A reading.
  let chosen = null;
  let ups = [];
  let downs = [];
  let order = [];
  let another = false;
  const at = () => data.checks.find((one) => one.name === by('at').value) ?? null;
  data.checks.forEach((one) => {
    const what = one.quantity === 'sight' ? 'sight' : 'slope';
    by('at').append(new Option(`${one.name}, ${what}`, one.name));
  });
  for (let deg = 15; deg <= 56; deg += 1) {
    const button = document.createElement('button');
    button.type = 'button';
    button.textContent = String(deg);
    button.addEventListener('click', () => put(deg));
    by('pad').append(button);
  }
  // A reading is of one place: what was typed for it goes with it.
  function clear() {
    ups = [];
    downs = [];
    order = [];
    ['typed', 'first', 'second', 'faces'].forEach((id) => { by(id).value = ''; });
    redraw();
  }
  function choose(name) {
    chosen = name || 'here';
    by('at').value = name;
    clear();
  }
  function put(value, percent = by('percent').checked, down = by('down').checked) {
    const deg = percent ? angle(value / 100) : value;
    (down ? downs : ups).push({deg, unit: percent ? 'percent' : 'degrees'});
    order.push(down ? downs : ups);
    another = false;
    by('kept').textContent = '';
    by('how').value = by('how').value === 'compass' ? 'compass' : 'instrument';
    redraw();
  }
  function nudge(step) {
    const last = order.at(-1)?.at(-1);
    if (!last) return;
    last.deg = Math.min(90, Math.max(0, last.deg + step));
    redraw();
  }
  const number = (id) => Number(by(id).value.trim().replace(',', '.') || NaN);
  function currentSet() {
    const how = by('how').value;
    if (how !== 'instrument' && how !== 'compass') {
      const eye = number('eye');
      const pace = number('pace');
      const own = {eye: eye > 0 ? eye : undefined, pace: pace > 0 ? pace : undefined};
      const found = byHand(how, number('first'), number('second'), own);
      return found && found.uncertainty <= 45 && found.uncertainty > 0
        ? readingSet([found.slope], [], found.uncertainty, ['degrees'])
        : null;
    }
    if (!order.length) return null;
    const units = [...ups, ...downs].map((one) => one.unit);
    const error = how === 'compass' ? rule.compass_error : rule.error;
    return readingSet(ups.map((one) => one.deg), downs.map((one) => one.deg), error, units);
  }
  function paragraph(text, lead) {
    const node = document.createElement('p');
    node.textContent = text;
    if (lead) node.className = 'lead';
    return node;
  }
  function redraw() {
    const check = at();
    const how = by('how').value;
    const hand = how !== 'instrument' && how !== 'compass';
    by('two').hidden = !hand;
    by('own').hidden = how !== 'paces';
    by('first-of').textContent = how === 'paces' ? 'Sights' : 'Pole, m';
    by('second-of').textContent = {level: 'Drop, m', slope: 'Rise, m', equal: 'Apart, m', paces: 'Paces'}[how] ?? '';
    by('at-words').textContent = check
      ? document.querySelector(`[data-check="${check.name}"]`).closest('.check').querySelector('.judged').textContent
      : 'Compared with nothing: a slope where you stand. It lowers nothing on the map.';
    const set = currentSet();
    const read = hand && set ? [figure(set.mean)] : [...ups.map((one) => figure(one.deg)), ...downs.map((one) => `↓${figure(one.deg)}`)];
    by('read').textContent = read.join(' ') || 'none yet';
    by('change').hidden = hand;
    by('found').hidden = !set;
    by('figures').hidden = (Boolean(set) && !another) || hand;
    by('answer').replaceChildren();
    if (set) {
      const found = judge(set, check);
      const spread = `Mean ${figure(set.mean)}, ± ${figure(set.uncertainty)} in 95 of 100 cases.`;
      by('answer').append(paragraph(found.sentence || spread, true), paragraph(found.leads, true));
      if (found.sentence) by('answer').append(paragraph(spread));
      found.reasons.forEach((text) => by('answer').append(paragraph(text)));
    }
    const degrees = number('faces');
    by('faces-words').textContent = Number.isFinite(degrees) && degrees >= 0 && degrees <= 360 ? faced(degrees, check) : '';
  }
  function faced(degrees, check) {
    if (!check || check.aspect === null || check.quantity !== 'slope') return 'Kept with the reading; there is no aspect to compare with.';
    const found = facing(degrees, check);
    const model = Math.round((((check.aspect - check.declination) % 360) + 360) % 360);
    const apart = `${Math.ceil(Math.abs(found.apart) - 1e-6)}° apart from the ${String(model % 360).padStart(3, '0')}° magnetic of the model`;
    if (found.result === 'cannot tell') return `Cannot tell: ${apart}, and the model hardly knows which way it faces.`;
    return found.result === 'fits' ? `It fits: ${apart}.` : `It does not fit: ${apart}. You may stand on other ground.`;
  }
  by('at').addEventListener('change', () => choose(by('at').value));
  by('less').addEventListener('click', () => nudge(-0.5));
  by('more').addEventListener('click', () => nudge(0.5));
  by('undo').addEventListener('click', () => { order.pop()?.pop(); redraw(); });
  by('add').addEventListener('click', () => {
    const [, minus, digits, unit] = /^([-−]?)(\d+(?:[.,]\d+)?) *(°|deg|%|)$/.exec(by('typed').value.trim()) ?? [];
    const value = Number(digits?.replace(',', '.'));
    const percent = unit === '%' || (unit === '' && by('percent').checked);
    if (!(percent ? Number.isFinite(value) : value <= 90)) {
      by('kept').textContent = 'No reading: write degrees from 0 to 90, like 34 or 34.5, or percent, like 62%.';
      return;
    }
    put(value, percent, minus !== '' || by('down').checked);
    by('typed').value = '';
  });
  ['first', 'second', 'eye', 'pace', 'faces'].forEach((id) => by(id).addEventListener('input', redraw));
  by('another').addEventListener('click', () => { another = true; redraw(); });
  by('how').addEventListener('change', redraw);
  document.querySelectorAll('[data-check]').forEach((link) => link.addEventListener('click', () => choose(link.dataset.check)));

  // The log.
  function moment() {
    const now = new Date();
    const off = -now.getTimezoneOffset();
    const zone = `${off < 0 ? '-' : '+'}${two(Math.floor(Math.abs(off) / 60))}:${two(Math.abs(off) % 60)}`;
    return `${dayOf(now)}T${clock(now)}:${two(now.getSeconds())}${zone}`;
  }
  by('keep').addEventListener('click', () => {
    const set = currentSet();
    if (!set) return;
    const degrees = number('faces');
    const who = {observer: kept.observer, instrument: kept.instrument};
    kept.rows.push(row(moment(), set, at(), who, Number.isFinite(degrees) && degrees >= 0 && degrees <= 360 ? degrees : null));
    keep();
    by('kept').textContent = `Kept: ${figure(set.mean)}${at() ? ` at ${at().name}` : ''}. ${kept.rows.length} in the log.${keeps ? '' : ' This browser keeps nothing: take the rows out before you close the page.'}`;
    clear();
    listed();
  });
  function listed() {
    by('rows').replaceChildren(...kept.rows.map((cells) => {
      const node = document.createElement('li');
      node.textContent = `${cells.time.slice(11, 16)}  ${cells.check || 'here'}: ${figure(Number(cells.mean_deg))}`;
      return node;
    }));
    const text = csv(kept.rows);
    by('text').value = text;
    by('file').href = URL.createObjectURL(new Blob([text], {type: 'text/csv'}));
    by('share').hidden = !(navigator.canShare && navigator.canShare({files: [sharedFile()]}));
  }
  const sharedFile = () => new File([csv(kept.rows)], 'rows.csv', {type: 'text/csv'});
  by('share').addEventListener('click', () => { navigator.share({files: [sharedFile()]}).catch(() => {}); });
  by('copy').addEventListener('click', () => {
    by('text').hidden = false;
    by('text').focus();
    by('text').select();
  });
  ['observer', 'instrument'].forEach((id) => {
    by(id).value = kept[id];
    by(id).addEventListener('input', () => { kept[id] = by(id).value; keep(); });
  });

  tellStorage();
  warn();
  setInterval(warn, 60000);
  times();
  redraw();
  listed();
  show();
})();
