// SPDX-License-Identifier: Apache-2.0
// Checking the points of a foot on its photo.
import {get, NoWay, post} from './ask.js';
import {dayWords, el, keptIs, kViewWords, numbers, say, show, sorry, svg, upper,
  verdict} from './parts.js';
import {bend, handles, isCurve, kPoints, Points} from './points.js';

// CHOSEN: no faster than an eye follows.
const kFollowMs = 70;
const kMostZoom = 12;
const kFirst = {
  solar: ['bearing_width', 'bearing_length', 'toe_to_frog_apex'],
  lateral: ['toe_angle', 'heel_angle', 'dorsal_wall_length'],
};

const kStateWords = {
  person: 'checked',
  hidden: 'can’t be seen',
  missing: 'not found: put it in its place',
  unsure: 'the program isn’t sure',
  sure: 'found by the program',
};

/** The photo on the screen: where a place of it is, and the other way round. */
class Look {
  constructor(width, height) {
    this.photo = {width, height};
    this.box = {width: 1, height: 1};
    this.scale = 1;
    this.x = 0;
    this.y = 0;
  }

  /** Into a window of that size; what is to be seen stays to be seen. */
  fit(box) {
    if (box.width === this.box.width && box.height === this.box.height) return;
    this.box = box;
    this.show(this.wanted);
  }

  /** Shows all of these places, or, without any, the whole photo. */
  show(places) {
    this.whole();
    this.wanted = places;
    if (!places || places.length === 0) return;
    const xs = places.map(([x]) => x);
    const ys = places.map(([, y]) => y);
    const width = Math.max(...xs) - Math.min(...xs);
    const height = Math.max(...ys) - Math.min(...ys);
    // CHOSEN: a fifth more, so that a finger has room around the points.
    const scale = Math.min(this.box.width / (1.2 * width + 1),
      this.box.height / (1.2 * height + 1), kMostZoom);
    this.centre([(Math.max(...xs) + Math.min(...xs)) / 2,
      (Math.max(...ys) + Math.min(...ys)) / 2], scale);
  }

  get least() {
    return Math.min(this.box.width / this.photo.width,
      this.box.height / this.photo.height);
  }

  whole() {
    this.wanted = null;
    this.scale = this.least;
    this.x = (this.box.width - this.photo.width * this.scale) / 2;
    this.y = (this.box.height - this.photo.height * this.scale) / 2;
  }

  toScreen([x, y]) {
    return [this.x + x * this.scale, this.y + y * this.scale];
  }

  toPhoto([x, y]) {
    return [(x - this.x) / this.scale, (y - this.y) / this.scale];
  }

  move(dx, dy) {
    this.wanted = null;
    this.x += dx;
    this.y += dy;
    this.keepIn();
  }

  zoom(times, at) {
    this.wanted = null;
    const scale = Math.min(Math.max(this.scale * times, this.least),
      Math.max(kMostZoom, this.least));
    const [x, y] = this.toPhoto(at);
    this.scale = scale;
    this.x = at[0] - x * scale;
    this.y = at[1] - y * scale;
    this.keepIn();
  }

  centre([x, y], scale) {
    this.scale = Math.max(scale, this.least);
    this.x = this.box.width / 2 - x * this.scale;
    this.y = this.box.height / 2 - y * this.scale;
    this.keepIn();
  }

  keepIn() {
    const hold = (at, box, size) => size <= box ? (box - size) / 2 :
      Math.min(Math.max(at, box - size), 0);
    this.x = hold(this.x, this.box.width, this.photo.width * this.scale);
    this.y = hold(this.y, this.box.height, this.photo.height * this.scale);
  }

  inside([x, y]) {
    return [Math.min(Math.max(x, 0), this.photo.width),
      Math.min(Math.max(y, 0), this.photo.height)];
  }
}

export async function showEditor(visit, key, wanted, here) {
  keptIs('Looking at the foot …');
  const path = `/api/visits/${visit}/feet/${key}`;
  const state = await get(path);
  if (!here()) return undefined;
  const points = new Points(state);
  const views = Object.keys(kPoints).filter((view) => state.photos[view]);
  const view = views.includes(wanted) ? wanted : views[0];
  const infos = new Map(kPoints[view].map(([name, title, where]) =>
    [name, {title, where}]));
  const size = state.sizes[view] || {width: 1, height: 1};
  const look = new Look(size.width, size.height);

  // What is being looked at.
  let current = points.order(view)[0];
  let dragging = null;

  // --- Keeping: one request at a time, the newest state wins. ---
  let saving = false;
  let unsaved = false;
  let retry = null;
  const box = `plumbfoot ${visit} ${key}`;

  function remember() {
    // The network may be gone, and the page closed before it is back.
    try {
      if (unsaved) {
        localStorage.setItem(box, JSON.stringify(
          {revision: points.revision, given: points.given}));
      } else localStorage.removeItem(box);
    } catch {
      // A browser that keeps nothing: the line at the top says so.
    }
  }

  async function save() {
    unsaved = true;
    remember();
    if (saving) return;
    saving = true;
    clearTimeout(retry);
    keptIs('Keeping …');
    while (unsaved) {
      unsaved = false;
      const sent = points.given;
      try {
        const now = await post(`${path}/points`, {
          revision: points.revision, points: sent});
        const newer = points.given !== sent;
        const mine = points.given;
        points.take(now);
        if (newer) points.given = mine;
        if (!unsaved) {
          remember();
          keptIs('Kept', 'good');
        }
      } catch (refused) {
        saving = false;
        if (refused instanceof NoWay) {
          unsaved = true;
          remember();
          keptIs('Not kept yet: no network. Trying again …', 'bad');
          say('Not kept yet: the network is gone. It will be tried again.');
          retry = setTimeout(() => here() && save(), 2500);
          return;
        }
        if (refused.status === 409 && refused.answer.now) {
          points.take(refused.answer.now);
          points.past = [];
          points.future = [];
        }
        remember();
        keptIs('Not kept', 'bad');
        trouble.replaceChildren(sorry(refused));
        draw();
        return;
      }
      if (!here()) break;
    }
    saving = false;
    if (here()) {
      trouble.replaceChildren();
      draw();
    }
  }

  // --- Numbers that follow. ---
  let asking = null;
  let next = null;
  let last = 0;
  function follow(changes) {
    next = changes;
    if (asking) return;
    const wait = Math.max(0, last + kFollowMs - performance.now());
    asking = setTimeout(async () => {
      const what = next;
      next = null;
      last = performance.now();
      try {
        const answer = await post(`${path}/follow`,
          {points: points.with(view, what)});
        if (here() && (dragging || next)) drawNumbers(answer.shown, true);
      } catch {
        // The next one, or the keeping, tells.
      }
      asking = null;
      if (next && here()) follow(next);
    }, wait);
  }

  // --- The photo. ---
  const picture = el('img', {class: 'picture', draggable: 'false',
    src: `/photo/${visit}/${state.photos[view]}`,
    alt: `Photo of the ${state.foot_words}, ${kViewWords[view]}`});
  const over = svg('svg', {class: 'over', 'aria-hidden': 'true'});
  const dots = el('div', {class: 'dots'});
  const glass = el('canvas', {class: 'glass', width: 320, height: 320,
    'aria-hidden': 'true', hidden: true});
  const stage = el('div', {class: 'stage'}, picture, over, dots, glass);

  function changesFor(name, place) {
    const changes = {[name]: place};
    // The wall is followed anew on the photo between toe points that moved.
    if (name === 'toe_ground' || name === 'toe_hairline') {
      changes.dorsal_wall = undefined;
    }
    return changes;
  }

  function drawOver() {
    over.replaceChildren();
    over.setAttribute('viewBox', `0 0 ${look.box.width} ${look.box.height}`);
    const curve = view === 'solar' ? 'outline' : 'dorsal_wall';
    const line = dragging && dragging.name === curve ? dragging.place :
      points.at(view, curve);
    if (line) {
      const path = line.map((p) => look.toScreen(p).map(
        (v) => v.toFixed(1)).join(' ')).join('L');
      for (const layer of ['under', 'line']) {
        over.append(svg('path', {class: layer,
          d: `M${path}${view === 'solar' ? 'Z' : ''}`}));
      }
    }
    for (const [name] of kPoints[view]) {
      if (isCurve(name)) continue;
      const place = dragging && dragging.name === name ? dragging.place :
        points.at(view, name);
      if (!place) continue;
      const [x, y] = look.toScreen(place);
      const state = points.stateOf(view, name);
      const r = name === current ? 15 : 9;
      const cross = `M${x - r} ${y}h${r - 3}M${x + 3} ${y}h${r - 3}` +
        `M${x} ${y - r}v${r - 3}M${x} ${y + 3}v${r - 3}`;
      over.append(svg('path', {class: 'under', d: cross}),
        svg('path', {class: `cross ${state}`, d: cross}));
      if (name === current) {
        over.append(svg('circle', {class: 'under', cx: x, cy: y, r: 21}),
          svg('circle', {class: `ring ${state}`, cx: x, cy: y, r: 21}));
      } else if (state === 'unsure') {
        over.append(svg('circle', {class: 'under', cx: x, cy: y, r: 13}),
          svg('circle', {class: 'ring unsure dashed', cx: x, cy: y, r: 13}));
      }
    }
  }

  /** The buttons over the points: what a finger, a key or a reader takes. */
  function drawDots() {
    const wanted = [];
    for (const [name, title] of kPoints[view]) {
      if (isCurve(name)) {
        const line = dragging && dragging.name === name ? dragging.place :
          points.at(view, name);
        if (name !== current || !line) continue;
        handles(points.at(view, name), view === 'solar').forEach(
          (index, number) => wanted.push({key: `${name} ${index}`, name, index,
            place: line[index], grip: true,
            words: `${title}, handle ${number + 1}`}));
        continue;
      }
      const place = dragging && dragging.name === name ? dragging.place :
        points.at(view, name);
      if (!place) continue;
      wanted.push({key: name, name, place, grip: false,
        words: `${title}, ${kStateWords[points.stateOf(view, name)]}`});
    }
    const have = new Map([...dots.children].map((dot) =>
      [dot.dataset.key, dot]));
    for (const one of wanted) {
      let dot = have.get(one.key);
      have.delete(one.key);
      if (!dot) {
        dot = el('button', {'data-key': one.key, 'data-name': one.name,
          'data-index': one.index, onkeydown: onKey,
          onfocus: () => choose(one.name, false)});
        dots.append(dot);
      }
      const [x, y] = look.toScreen(one.place);
      dot.at = [x, y];
      dot.className = 'dot' + (one.grip ? ' grip' : '') +
        (one.name === current ? ' current' : '');
      dot.style.transform = `translate(${x}px, ${y}px)`;
      dot.setAttribute('aria-label', one.words);
      dot.title = one.words;
    }
    for (const dot of have.values()) dot.remove();
  }

  function drawPhoto() {
    picture.style.transform =
      `translate(${look.x}px, ${look.y}px) scale(${look.scale})`;
    drawOver();
    drawDots();
  }

  /** What lies under the finger, larger, beside it. */
  function drawGlass(at, place) {
    glass.hidden = false;
    const side = 150;
    const context = glass.getContext('2d');
    const zoom = Math.max(look.scale * 3, 1.2);
    const [x, y] = place;
    const across = glass.width / 2 / zoom / (glass.width / side / 2);
    context.imageSmoothingEnabled = zoom < 3;
    context.fillStyle = '#777';
    context.fillRect(0, 0, glass.width, glass.height);
    context.drawImage(picture, x - across, y - across, 2 * across, 2 * across,
      0, 0, glass.width, glass.height);
    const middle = glass.width / 2;
    for (const [colour, width] of [['#000', 7], ['#ffe14d', 3]]) {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.beginPath();
      for (const [a, b] of [[-60, -12], [12, 60]]) {
        context.moveTo(middle + a, middle);
        context.lineTo(middle + b, middle);
        context.moveTo(middle, middle + a);
        context.lineTo(middle, middle + b);
      }
      context.stroke();
    }
    const left = at[0] > look.box.width / 2 ? at[0] - side - 60 : at[0] + 60;
    const top = at[1] - side - 40;
    const held = (v, most) => Math.min(Math.max(v, 4), most - side - 4);
    glass.style.transform = `translate(${held(left, look.box.width)}px, ` +
      `${held(top, look.box.height)}px)`;
  }

  // --- Fingers, mouse and keys on the photo. ---
  const touching = new Map();
  let pinch = null;

  const where = (event) => {
    const box = stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };

  /** The point, or the handle, under a finger: points may lie side by side. */
  function nearest(at) {
    let best = null;
    // CHOSEN: half of a fingertip, some 8 mm on a phone.
    let least = 32;
    for (const dot of dots.children) {
      const off = Math.hypot(dot.at[0] - at[0], dot.at[1] - at[1]) -
        (dot.dataset.name === current ? 8 : 0);
      if (off < least) {
        best = dot;
        least = off;
      }
    }
    return best;
  }

  function grab(dot, at) {
    const name = dot.dataset.name;
    choose(name, false);
    const place = points.at(view, name);
    dragging = {name, from: at, start: place, place, moved: false};
    if (isCurve(name)) {
      dragging.index = Number(dot.dataset.index);
      dragging.handle = place[dragging.index];
    }
  }

  function dragTo(at) {
    const dx = (at[0] - dragging.from[0]) / look.scale;
    const dy = (at[1] - dragging.from[1]) / look.scale;
    // CHOSEN: a finger that only taps trembles by so much.
    if (!dragging.moved && Math.hypot(at[0] - dragging.from[0],
      at[1] - dragging.from[1]) < 4) return;
    dragging.moved = true;
    if (isCurve(dragging.name)) {
      dragging.place = bend(dragging.start, view === 'solar', dragging.index,
        dx, dy).map((p) => look.inside(p));
      drawGlass(at, dragging.place[dragging.index]);
    } else {
      dragging.place = look.inside(
        [dragging.start[0] + dx, dragging.start[1] + dy]);
      drawGlass(at, dragging.place);
    }
    drawOver();
    drawDots();
    follow(changesFor(dragging.name, dragging.place));
  }

  function drop() {
    const done = dragging;
    dragging = null;
    glass.hidden = true;
    if (!done || !done.moved) return;
    const {title} = infos.get(done.name);
    points.change(view, changesFor(done.name, done.place), `${title} moved`);
    save();
    draw();
    say(`${title} moved.`);
  }

  stage.addEventListener('pointerdown', (event) => {
    if (event.button > 0) return;
    const at = where(event);
    touching.set(event.pointerId, at);
    event.preventDefault();
    stage.setPointerCapture(event.pointerId);
    if (touching.size === 2) {
      dragging = null;
      glass.hidden = true;
      pinch = [...touching.values()];
      return;
    }
    const dot = nearest(at);
    if (dot) {
      grab(dot, at);
      dot.focus({preventScroll: true});
    } else if (points.at(view, current) === null && !isCurve(current)) {
      // A point that isn't anywhere is put where the finger is.
      const place = look.inside(look.toPhoto(at));
      dragging = {name: current, from: at, start: place, place, moved: true};
      drawGlass(at, place);
      drawPhoto();
    }
  });
  stage.addEventListener('pointermove', (event) => {
    if (!touching.has(event.pointerId)) return;
    const before = touching.get(event.pointerId);
    const at = where(event);
    touching.set(event.pointerId, at);
    if (touching.size === 2 && pinch) {
      const [a, b] = pinch;
      const [c, d] = [...touching.values()];
      const middle = [(c[0] + d[0]) / 2, (c[1] + d[1]) / 2];
      look.move(middle[0] - (a[0] + b[0]) / 2, middle[1] - (a[1] + b[1]) / 2);
      look.zoom(Math.hypot(c[0] - d[0], c[1] - d[1]) /
        Math.max(Math.hypot(a[0] - b[0], a[1] - b[1]), 1), middle);
      pinch = [c, d];
      drawPhoto();
    } else if (dragging) {
      dragTo(at);
    } else if (touching.size === 1) {
      look.move(at[0] - before[0], at[1] - before[1]);
      drawPhoto();
    }
  });
  const lift = (event) => {
    if (!touching.delete(event.pointerId)) return;
    pinch = null;
    if (event.type === 'pointerup') drop();
    else {
      dragging = null;
      glass.hidden = true;
      drawPhoto();
    }
  };
  stage.addEventListener('pointerup', lift);
  stage.addEventListener('pointercancel', lift);
  stage.addEventListener('wheel', (event) => {
    event.preventDefault();
    look.zoom(Math.exp(-event.deltaY / 400), where(event));
    drawPhoto();
  }, {passive: false});

  const kArrows = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1],
    ArrowDown: [0, 1]};
  let settle = null;
  let nudged = null;

  /** Several nudges of one point are one step to undo, and are kept once. */
  function keepNudge() {
    clearTimeout(settle);
    settle = null;
    if (!nudged) return;
    const {name, place} = nudged;
    nudged = null;
    dragging = null;
    points.change(view, changesFor(name, place),
      `${infos.get(name).title} moved`);
    save();
    draw();
  }

  function onKey(event) {
    const arrow = kArrows[event.key];
    const name = event.target.dataset.name;
    if (arrow) {
      event.preventDefault();
      const step = (event.shiftKey ? 10 : 1) *
        Math.max(1, Math.round(size.width / 2000));
      const start = nudged && nudged.name === name ? nudged.place :
        points.at(view, name);
      let place;
      let at;
      if (isCurve(name)) {
        const index = Number(event.target.dataset.index);
        place = bend(start, view === 'solar', index, arrow[0] * step,
          arrow[1] * step).map((p) => look.inside(p));
        at = place[index];
      } else {
        place = look.inside([start[0] + arrow[0] * step,
          start[1] + arrow[1] * step]);
        at = place;
      }
      nudged = {name, place};
      dragging = {name, place, moved: true};
      drawPhoto();
      follow(changesFor(name, place));
      say(`${Math.round(at[0])}, ${Math.round(at[1])}`);
      clearTimeout(settle);
      settle = setTimeout(keepNudge, 500);
    } else if (event.key === 'Enter' || event.key === ' ') {
      event.preventDefault();
      keepNudge();
      accept(name);
    } else if (event.key === 'Delete' || event.key === 'Backspace') {
      event.preventDefault();
      keepNudge();
      cantBeSeen(name);
    }
  }

  function onAnyKey(event) {
    if (!(event.ctrlKey || event.metaKey) ||
        event.key.toLowerCase() !== 'z') return;
    event.preventDefault();
    if (event.shiftKey) redo();
    else undo();
  }
  document.addEventListener('keydown', onAnyKey);

  // --- What can be done with a point. ---
  function focusCurrent() {
    const dot = [...dots.children].find(
      (one) => one.dataset.name === current);
    if (dot) dot.focus({preventScroll: true});
  }

  function choose(name, move = true) {
    if (name === current && !move) return;
    if (nudged && nudged.name !== name) keepNudge();
    current = name;
    const place = points.at(view, name);
    if (move && place && !isCurve(name)) {
      look.centre(place, Math.max(look.least * 2.2, look.scale));
    } else if (move && isCurve(name) && place) look.show(place);
    draw();
  }

  function goOn() {
    const left = points.order(view).filter((name) =>
      ['missing', 'unsure', 'sure'].includes(points.stateOf(view, name)));
    if (left.length > 0) {
      choose(left[0]);
      const {title, where} = infos.get(current);
      say(`Next: ${title}, ${kStateWords[points.stateOf(view, current)]}. ` +
        where);
    } else {
      say(`Every point of the ${kViewWords[view]} is checked.`);
      draw();
    }
  }

  function accept(name = current) {
    const place = points.at(view, name);
    const {title} = infos.get(name);
    if (!place) {
      say(`${title} isn’t anywhere yet: tap its place on the photo.`);
      return;
    }
    if (points.stateOf(view, name) !== 'person') {
      points.change(view, {[name]: place}, `${title} accepted`);
      save();
    }
    const by = document.activeElement;
    goOn();
    if (by && by.classList.contains('dot')) focusCurrent();
  }

  function cantBeSeen(name = current) {
    if (isCurve(name)) return;
    const {title} = infos.get(name);
    points.change(view, changesFor(name, null), `${title} can’t be seen`);
    save();
    say(`${title} can’t be seen.`);
    goOn();
  }

  function putHere() {
    // Without a pointer: into the middle of what is on the screen.
    const place = look.inside(look.toPhoto(
      [look.box.width / 2, look.box.height / 2]));
    const {title} = infos.get(current);
    points.change(view, changesFor(current, place), `${title} placed`);
    save();
    draw();
    focusCurrent();
    say(`${title} stands in the middle of the photo. Move it with the arrows.`);
  }

  function acceptAll() {
    const changes = {};
    for (const [name] of kPoints[view]) {
      const place = points.at(view, name);
      if (place && points.stateOf(view, name) !== 'person') {
        changes[name] = place;
      }
    }
    if (Object.keys(changes).length === 0) return;
    points.change(view, changes, 'All accepted');
    save();
    goOn();
  }

  function again() {
    const {title} = infos.get(current);
    points.change(view, {[current]: undefined}, `${title} looked for again`);
    save();
    draw();
  }

  function undo() {
    keepNudge();
    const words = points.undo();
    if (!words) return;
    save();
    draw();
    say(`Undone: ${words}.`);
  }

  function redo() {
    const words = points.redo();
    if (!words) return;
    save();
    draw();
    say(`Done again: ${words}.`);
  }

  // --- What stands beside the photo. ---
  const tally = el('dl', {class: 'tally', 'aria-label': 'The main numbers'});
  const strip = el('div', {class: 'strip'});
  const all = el('ol', {class: 'list'});
  const trouble = el('div', {});
  const figures = el('div', {class: 'figures-panel'});
  const words = el('div', {});

  const button = (label, act, options = {}) =>
    el('button', {class: 'big ' + (options.how || ''), id: options.id,
      disabled: options.disabled, onclick: act}, label);

  function drawStrip() {
    const {title, where} = infos.get(current);
    const state = points.stateOf(view, current);
    const placed = points.at(view, current) !== null;
    const undoStep = points.past[points.past.length - 1];
    const redoStep = points.future[points.future.length - 1];
    const focused = document.activeElement && strip.contains(
      document.activeElement) ? document.activeElement.id : '';
    strip.replaceChildren(
      el('p', {class: `what ${state}`}, el('strong', {}, title), ' ',
        el('span', {class: 'state'}, kStateWords[state])),
      el('p', {class: 'hint'}, where),
      el('div', {class: 'acts'},
        placed ? button(state === 'person' ? 'Next' : 'It is right',
          () => accept(), {id: 'right'}) :
          !isCurve(current) && button('Put it in the middle', putHere,
            {id: 'put'}),
        !isCurve(current) && state !== 'hidden' &&
          button('Can’t be seen', () => cantBeSeen(),
            {how: 'quiet', id: 'unseen'}),
        (state === 'hidden' || state === 'person') &&
          button('Let it be looked for', again, {how: 'quiet', id: 'again'})),
      el('div', {class: 'acts small-ones'},
        button('Undo', undo, {how: 'quiet', id: 'undo', disabled: !undoStep}),
        button('Redo', redo, {how: 'quiet', id: 'redo', disabled: !redoStep}),
        button('All are right', acceptAll, {how: 'quiet', id: 'all-right',
          disabled: points.left(view) === 0})));
    if (focused) {
      const same = document.getElementById(focused);
      if (same && !same.disabled) same.focus({preventScroll: true});
      else strip.querySelector('button:not([disabled])')?.focus(
        {preventScroll: true});
    }
  }

  function drawList() {
    const focused = document.activeElement &&
      document.activeElement.dataset.pick;
    all.replaceChildren(...points.order(view).map((name) => {
      const state = points.stateOf(view, name);
      return el('li', {}, el('button', {class: `pick ${state}`,
        'data-pick': name, 'aria-current': name === current ? 'true' : null,
        onclick: () => {
          choose(name);
          focusCurrent();
        }}, infos.get(name).title,
      el('span', {class: 'state'}, kStateWords[state])));
    }));
    if (focused) all.querySelector(`[data-pick="${focused}"]`)?.focus();
  }

  /** The numbers that a farrier asks for first, under the photo. */
  function drawTally(shown, moving) {
    tally.classList.toggle('moving', moving);
    tally.replaceChildren(...kFirst[view].map((wanted) => {
      const one = shown.find((each) => each.measure === wanted);
      if (!one) return null;
      const [value, spread] = one.measured ? one.text.split(' ± ') : ['–'];
      return el('div', {}, el('dt', {}, one.name),
        el('dd', {}, el('strong', {}, value), ' ',
          spread && el('span', {}, `± ${spread}`)));
    }).filter(Boolean));
  }

  function drawNumbers(shown, moving = false) {
    drawTally(shown, moving);
    figures.classList.toggle('moving', moving);
    figures.replaceChildren(...numbers(shown, [view]),
      ...numbers(shown, views.filter((other) => other !== view)));
  }

  function draw() {
    drawPhoto();
    drawStrip();
    drawList();
    if (!dragging) {
      drawNumbers(points.state.shown);
      words.replaceChildren(...(points.state.report ?
        verdict(points.state.report) : []));
    }
    for (const tab of tabs.children) {
      const left = points.left(tab.dataset.view);
      tab.querySelector('.count').textContent = left === 0 ? '✓' : ` ${left}`;
    }
  }

  const tabs = el('nav', {class: 'tabs', 'aria-label': 'Photo'},
    views.map((one) => el('a', {href: `#/visit/${visit}/${key}/${one}`,
      'data-view': one, 'aria-current': one === view ? 'page' : null},
    upper(kViewWords[one]), ' ', el('span', {class: 'count'}))));
  const zooms = el('div', {class: 'zooms'},
    [['+', 'Closer', 1.5], ['−', 'Farther', 1 / 1.5]].map(
      ([sign, title, times]) => el('button', {'aria-label': title, title,
        onclick: () => {
          look.zoom(times, [look.box.width / 2, look.box.height / 2]);
          drawPhoto();
        }}, sign)),
    el('button', {'aria-label': 'All of the photo', title: 'All of the photo',
      onclick: () => {
        look.whole();
        drawPhoto();
      }}, '▢'));

  const shod = el('input', {type: 'checkbox', id: 'shod', checked: state.shod,
    onchange: async () => {
      try {
        points.take(await post(`${path}/points`, {revision: points.revision,
          points: points.given, shod: shod.checked}));
        keptIs('Kept', 'good');
        draw();
      } catch (refused) {
        trouble.replaceChildren(sorry(refused));
      }
    }});
  const check = state.checks[view];
  const main = show(`${upper(state.foot_words)}, ${state.stage_words}`,
    el('p', {class: 'under'}, el('a', {href: `#/visit/${visit}`},
      `${state.horse}, ${dayWords(state.date)}`)),
    el('div', {class: 'head'}, tabs, zooms),
    el('div', {class: 'bench'},
      el('div', {class: 'left'}, stage, tally),
      el('div', {class: 'right'}, trouble, strip,
        state.refused && el('p', {class: 'sorry'},
          `${state.refused.message} ${state.refused.remedy}`),
        check && check.reasons.length > 0 && el('details', {},
          el('summary', {}, 'About this photo'),
          el('ul', {}, check.reasons.map((one) => el('li', {},
            `${one.words} ${one.remedy}`)))),
        el('section', {}, el('h2', {}, 'The points'), all),
        el('p', {}, el('label', {class: 'tick', for: 'shod'}, shod,
          ' The foot wears a shoe')),
        figures, words,
        el('details', {}, el('summary', {}, 'With the keyboard'),
          el('p', {}, 'Tab goes to the points. Arrows move one (with Shift ten ' +
          'times as far), Enter says that it is right, Delete that it can’t ' +
          'be seen. Ctrl-Z undoes, Ctrl-Shift-Z does again.')))));
  main.className = 'wide editor';
  keptIs(points.past.length === 0 ? '' : 'Kept');

  const watch = new ResizeObserver(() => {
    look.fit({width: stage.clientWidth, height: stage.clientHeight});
    drawPhoto();
  });
  watch.observe(stage);
  look.show(kPoints[view].flatMap(([name]) => {
    const place = points.at(view, name);
    return !place ? [] : isCurve(name) ? place : [place];
  }));
  look.fit({width: stage.clientWidth, height: stage.clientHeight});

  // What the network, or a closed page, kept from the disk last time.
  try {
    const left = JSON.parse(localStorage.getItem(box) || 'null');
    if (left && left.revision === points.revision) {
      points.past.push({given: points.given, words: 'what was left'});
      points.given = left.given;
      say('Going on where the network was lost.');
      save();
    } else if (left) localStorage.removeItem(box);
  } catch {
    // Nothing was left.
  }
  draw();

  // Somebody else, on another screen: what they kept is shown here.
  const glance = async () => {
    if (document.hidden || saving || unsaved || dragging || nudged) return;
    try {
      const now = await get(`/api/visits/${visit}`);
      const foot = now.feet.find((one) => one.key === key);
      if (!here() || saving || unsaved || dragging || nudged) return;
      if (foot && foot.revision !== points.revision) {
        const newer = await get(path);
        if (!here() || saving || unsaved || dragging || nudged) return;
        points.take(newer);
        points.past = [];
        points.future = [];
        draw();
        say('Somebody else has changed points: this is what they are now.');
        keptIs('Changed by somebody else', '');
      }
    } catch {
      // The next one.
    }
  };
  const timer = setInterval(glance, 4000);
  document.addEventListener('visibilitychange', glance);
  return () => {
    keepNudge();
    clearInterval(timer);
    watch.disconnect();
    document.removeEventListener('visibilitychange', glance);
    document.removeEventListener('keydown', onAnyKey);
  };
}
