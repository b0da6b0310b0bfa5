// SPDX-License-Identifier: Apache-2.0
// The points of one foot, as a person checks them: no element, no address.
//
// Kept in photo pixels, upright, from the photo's top left corner. `given` is a
// points file: what a person has accepted. What isn't in it is the program's.

export const kPoints = {
  solar: [
    ['toe', 'Toe', 'The foremost place of the bearing edge.'],
    ['heel_left', 'Left heel', 'Where the horse’s left heel last bears: the ' +
      'buttress. With the toe up it is on the right.'],
    ['heel_right', 'Right heel', 'Where the horse’s right heel last bears. ' +
      'With the toe up it is on the left.'],
    ['frog_apex', 'Point of the frog', 'The tip of the frog, towards the toe.'],
    ['frog_left', 'Frog, left', 'The frog’s widest place on the horse’s left.'],
    ['frog_right', 'Frog, right',
      'The frog’s widest place on the horse’s right.'],
    ['outline', 'Outline', 'The bearing edge all round. Move the squares.'],
  ],
  lateral: [
    ['toe_ground', 'Toe on the ground', 'Where the toe meets the ground.'],
    ['toe_hairline', 'Hairline at the toe',
      'Where the front of the wall meets the hair.'],
    ['heel_ground', 'Heel on the ground',
      'Where the heel that you see last touches the ground.'],
    ['heel_hairline', 'Hairline at the heel',
      'Where the back of the heel that you see meets the hair.'],
    ['pastern_lower', 'Pastern, low',
      'The front of the pastern, just above the hoof.'],
    ['pastern_upper', 'Pastern, high', 'The front of the pastern, higher up.'],
    ['dorsal_wall', 'Front of the wall',
      'The front of the wall, hairline to ground. Move the squares.'],
  ],
};
const kCurves = new Set(['outline', 'dorsal_wall']);
export const isCurve = (name) => kCurves.has(name);

const hundredth = (value) => Math.round(value * 100) / 100;

export class Points {
  /** @param state  What the server says of the foot. */
  constructor(state) {
    this.past = [];
    this.future = [];
    this.take(state);
  }

  /** The server's word: what is on the disk. */
  take(state) {
    this.state = state;
    this.revision = state.revision;
    this.given = structuredClone(state.given);
    delete this.given.format;
    delete this.given.version;
  }

  /** "person", "hidden", "missing", "unsure" or "sure". */
  stateOf(view, name) {
    const given = this.given[view];
    if (given && name in given) {
      return given[name] === null ? 'hidden' : 'person';
    }
    const seen = this.seen(view, name);
    if (!seen) return 'missing';
    return seen.sure ? 'sure' : 'unsure';
  }

  seen(view, name) {
    const report = this.state.report;
    const seen = report && report.points[view] && report.points[view][name];
    return seen && seen.px ? seen : null;
  }

  /** Where it stands: [x, y], or a line's places; null where it doesn't. */
  at(view, name) {
    const given = this.given[view];
    if (given && name in given) return given[name];
    const seen = this.seen(view, name);
    if (!seen) return null;
    // A heel is drawn on the heel that one sees.
    return seen.seen_px || seen.px;
  }

  /** What is to be looked at: what nobody is sure of first. */
  order(view) {
    const rank = {missing: 0, unsure: 1, sure: 2, hidden: 3, person: 3};
    return kPoints[view].map(([name], index) => ({name, index})).sort(
      (a, b) => rank[this.stateOf(view, a.name)] -
        rank[this.stateOf(view, b.name)] || a.index - b.index)
      .map(({name}) => name);
  }

  left(view) {
    return kPoints[view].filter(([name]) =>
      !['person', 'hidden'].includes(this.stateOf(view, name))).length;
  }

  /**
   * Sets points of a view: {name: place | null (can't be seen) | undefined
   * (the program's again)}. One step to undo.
   */
  change(view, changes, words) {
    const before = structuredClone(this.given);
    this.put(view, changes);
    this.past.push({given: before, words});
    this.future = [];
  }

  put(view, changes) {
    const given = {...(this.given[view] || {})};
    for (const [name, place] of Object.entries(changes)) {
      if (place === undefined) delete given[name];
      else if (place === null) given[name] = null;
      else if (isCurve(name)) {
        given[name] = place.map(([x, y]) => [hundredth(x), hundredth(y)]);
      } else given[name] = [hundredth(place[0]), hundredth(place[1])];
    }
    // A person points at the heel that they see.
    if (view === 'lateral') given.heels_on = 'near';
    this.given = {...this.given, [view]: given};
  }

  /** The points as they would be with these; nothing is changed. */
  with(view, changes) {
    const kept = this.given;
    this.put(view, changes);
    const points = this.given;
    this.given = kept;
    return points;
  }

  undo() {
    const step = this.past.pop();
    if (!step) return null;
    this.future.push({given: this.given, words: step.words});
    this.given = step.given;
    return step.words;
  }

  redo() {
    const step = this.future.pop();
    if (!step) return null;
    this.past.push({given: this.given, words: step.words});
    this.given = step.given;
    return step.words;
  }
}

/** Places spread evenly over a line by which it is moved: indices into it. */
export function handles(line, closed) {
  const count = closed ? 16 : 5;
  if (line.length <= count) return line.map((_, index) => index);
  const along = [0];
  for (let i = 1; i < line.length; ++i) {
    along.push(along[i - 1] + Math.hypot(line[i][0] - line[i - 1][0],
      line[i][1] - line[i - 1][1]));
  }
  const whole = along[along.length - 1];
  const chosen = [];
  for (let k = 0; k < count; ++k) {
    const wanted = whole * k / (closed ? count : count - 1);
    let best = 0;
    for (let i = 1; i < along.length; ++i) {
      if (Math.abs(along[i] - wanted) < Math.abs(along[best] - wanted)) best = i;
    }
    if (!chosen.includes(best)) chosen.push(best);
  }
  return chosen;
}

/** The line with one place moved, and its neighbours with it, less and less. */
export function bend(line, closed, index, dx, dy) {
  const grips = handles(line, closed);
  const where = grips.indexOf(index);
  const before = grips[(where - 1 + grips.length) % grips.length];
  const after = grips[(where + 1) % grips.length];
  const count = line.length;
  const steps = (from, to) => closed ? (to - from + count) % count :
    Math.max(to - from, 0);
  const back = where === 0 && !closed ? 0 : steps(before, index);
  const on = where === grips.length - 1 && !closed ? 0 : steps(index, after);
  return line.map(([x, y], i) => {
    const ahead = closed ? (i - index + count) % count : i - index;
    const behind = closed ? (index - i + count) % count : index - i;
    let part = 0;
    if (i === index) part = 1;
    else if (ahead > 0 && ahead < on) {
      part = (1 + Math.cos(Math.PI * ahead / on)) / 2;
    } else if (behind > 0 && behind < back) {
      part = (1 + Math.cos(Math.PI * behind / back)) / 2;
    }
    return [x + part * dx, y + part * dy];
  });
}
