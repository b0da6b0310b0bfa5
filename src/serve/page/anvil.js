// SPDX-License-Identifier: Apache-2.0
// The trim and the shoe for a recorded foot, as the sliders have them.
import {get} from './ask.js';
import {dayWords, el, say, show, sorry, svg, upper} from './parts.js';

const kFiles = [['template.pdf', 'Template, A4'],
  ['template-letter.pdf', 'Template, Letter'],
  ['template-mirrored.pdf', 'Mirrored, A4'], ['template.svg', 'SVG'],
  ['template.dxf', 'DXF']];

/** A slider with its name and what it stands at. */
function slider(id, words, unit, range, value, changed) {
  const told = el('output', {for: id});
  const input = el('input', {type: 'range', id, min: range[0], max: range[1],
    step: range[2], value});
  const tell = () => {
    told.textContent = `${Number(input.value).toFixed(range[2] < 1 ? 1 : 0)} ` +
      unit;
    input.setAttribute('aria-valuetext', told.textContent);
  };
  input.addEventListener('input', () => {
    tell();
    changed();
  });
  tell();
  return {input, tell, row: el('div', {class: 'slide'},
    el('label', {for: id}, el('span', {}, words), told), input)};
}

function rows(pairs) {
  return el('table', {}, el('tbody', {}, pairs.filter(Boolean).map(
    ([what, much]) => el('tr', {}, el('th', {scope: 'row'}, what),
      el('td', {class: 'number'}, much)))));
}

function mm(value, digits = 0) {
  return `${value.toFixed(digits)} mm`;
}

/** "51.3° ± 1.4°" */
function measured(of, name, unit) {
  const one = of[name];
  if (!one || one.value === undefined) return 'not measured';
  const half = (one.interval95[1] - one.interval95[0]) / 2;
  const digits = unit === '°' ? 1 : 1;
  const space = unit === '°' ? '' : ' ';
  return `${one.value.toFixed(digits)}${space}${unit} ± ` +
    `${half.toFixed(digits)}${space}${unit}`;
}

/** Foot and shoe as one looks at the sole: toe up, the horse's left on the
 * right. */
function drawn(fit) {
  const place = ([x, y]) => `${y.toFixed(1)},${(-x).toFixed(1)}`;
  const line = (of, how) => svg('polygon', {class: how,
    points: of.map(place).join(' ')});
  const all = [...fit.outlines.shoe, ...fit.outlines.foot];
  const across = all.map((p) => p[1]);
  const along = all.map((p) => -p[0]);
  const edge = 14;
  const left = Math.min(...across) - edge;
  const top = Math.min(...along) - edge;
  const wide = Math.max(...across) - left + edge;
  const high = Math.max(...along) - top + edge;
  const nails = fit.nails.filter((nail) => !nail.left_out);
  const side = (words, sign) => svg('text', {
    x: sign > 0 ? left + wide - 3 : left + 3, y: top + high - 4,
    'text-anchor': sign > 0 ? 'end' : 'start'}, words);
  const ofLeft = fit.nails.find((nail) => nail.side === 'left');
  const right = ofLeft && ofLeft.branch === 'inside' ? 'inside' : 'outside';
  return svg('svg', {class: 'drawn plan', role: 'img',
    viewBox: `${left} ${top} ${wide} ${high}`, 'aria-label':
      `The shoe on the foot: ${fit.shoe.width.mm.toFixed(0)} by ` +
      `${fit.shoe.length.mm.toFixed(0)} millimetres, ${nails.length} nails`},
  line(fit.outlines.shoe, 'iron'), line(fit.outlines.foot, 'edge'),
  svg('line', {class: 'axis', x1: 0, x2: 0, y1: top, y2: top + high}),
  ...nails.flatMap((nail) => {
    const [x, y] = nail.mm;
    const out = y > 0 ? 1 : -1;
    return [svg('circle', {class: 'nail', cx: y, cy: -x, r: 2.4}),
      svg('text', {x: y - 9 * out, y: -x + 2.5, 'text-anchor': 'middle'},
        String(nail.number))];
  }), side(right, 1), side(right === 'inside' ? 'outside' : 'inside', -1));
}

function trimWords(trim) {
  if (!trim || !trim.target) {
    return el('p', {}, 'Nothing is asked for: the shoe is for the foot as it ' +
      'is photographed.');
  }
  if (!trim.reachable) {
    return el('p', {}, 'A trim can’t do that: horn can’t be put back.');
  }
  const step = trim.this_time;
  return el('p', {}, `This time: ${mm(step.toe_off_mm, 1)} off the toe, ` +
    `${mm(step.heel_off_mm, 1)} off the heels` +
    (trim.trims > 1 ? `; some ${trim.trims} such trims in all.` : '.'));
}

function told(fit) {
  const bar = fit.bar;
  const trim = fit.trim;
  const after = trim.measures_after;
  const nails = fit.nails.filter((nail) => !nail.left_out);
  const out = fit.nails.filter((nail) => nail.left_out);
  return [
    el('section', {}, el('h2', {}, 'The trim'), trimWords(trim), rows([
      ['Toe angle then', measured(after, 'toe_angle', '°')],
      ['Hoof less pastern then', measured(after, 'hoof_pastern_difference', '°')],
      ['Toe length then', measured(after, 'dorsal_wall_length', 'mm')],
      trim.wedge && ['Or a wedge of', `${trim.wedge.degrees.toFixed(1)}°, ` +
        `${mm(trim.wedge.rise_mm, 1)} at its end`]])),
    el('section', {}, el('h2', {}, 'The shoe'), rows([
      ['Width × length', `${fit.shoe.width.mm.toFixed(0)} × ` +
        mm(fit.shoe.length.mm)],
      ['Bar, middle of the web', `${mm(bar.cut_by_neutral_line.mm)}, ` +
        bar.cut_by_neutral_line.eighths],
      ['Bar, by the old rule', `${mm(bar.cut_by_rule.mm)}, ` +
        bar.cut_by_rule.eighths],
      ['Weight', `${bar.weight_g.toFixed(0)} g of ${bar.material}`]])),
    el('section', {}, el('h2', {}, 'Nails'), el('table', {},
      el('tbody', {}, nails.map((nail) => el('tr', {},
        el('th', {scope: 'row'}, `${upper(nail.branch)} ${nail.number}`),
        [`${mm(nail.from_toe_mm)} from the toe`, `${mm(nail.depth_mm, 1)} deep`,
          `${nail.lean_deg.toFixed(0)}° in`].map(
          (much) => el('td', {}, much)))))),
    out.map((nail) => el('p', {class: 'hint'},
      `${upper(nail.branch)} ${nail.number}: ${nail.words}`))),
    el('section', {class: 'mind'}, el('h2', {}, 'What to mind'),
      fit.cautions.map((one) => el('p', {},
        // The command's words name its options.
        one.code === 'not_trimmed' ? 'The foot was photographed before the ' +
          'trim, and no trim is asked for: shoe and template are those of ' +
          'the untrimmed foot.' : one.words))),
  ];
}

export async function showAnvil(folder, date, record, here) {
  const part = encodeURIComponent;
  const at = `${part(folder)}/${part(date)}/${part(record)}`;
  const [foot, first] = await Promise.all([get(`/api/horses/${at}`),
    get(`/api/horses/${at}/fit`)]);
  if (!here()) return undefined;
  const picture = el('div', {});
  const numbers = el('div', {});
  const files = el('p', {class: 'chips'});
  const trouble = el('div', {});
  let waiting = null;
  let asking = false;
  let again = false;

  const web = slider('web', 'Web of the bar', 'mm', [12, 30, 0.5],
    first.fit.shoe.web_mm, ask);
  const full = slider('fullness', 'Fullness at the heels', 'mm', [0, 6, 0.2],
    first.fit.shoe.fullness_mm, ask);
  const now = foot.report.measures.toe_angle.value;
  const angle = now === undefined ? null : slider('angle',
    `Toe angle (now ${now.toFixed(1)}°)`, '°',
    [Math.floor(now - 5), Math.ceil(now + 8), 0.5], now, () => {
      asked.checked = true;
      ask();
    });
  const asked = el('input', {type: 'checkbox', id: 'trimmed',
    onchange: () => ask()});
  const whole = el('input', {type: 'checkbox', id: 'whole',
    onchange: () => ask()});

  function query() {
    const of = new URLSearchParams(
      {web: web.input.value, fullness: full.input.value});
    if (angle && asked.checked) of.set('toe_angle', angle.input.value);
    if (whole.checked) of.set('whole', '1');
    return of.toString();
  }
  function lay(answer, of) {
    picture.replaceChildren(drawn(answer.fit));
    numbers.replaceChildren(...told(answer.fit));
    files.replaceChildren(...kFiles.map(([name, words]) => el('a', {
      class: 'big quiet', href: `/shoe/${at}/${name}?${of}`, download: name,
    }, words)));
    trouble.replaceChildren();
  }
  // One question at a time; the last one counts.
  async function ask() {
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    do {
      again = false;
      const of = query();
      try {
        const answer = await get(`/api/horses/${at}/fit?${of}`);
        if (!here()) return;
        lay(answer, of);
        clearTimeout(waiting);
        waiting = setTimeout(() => say(
          `Bar ${answer.fit.bar.cut_by_neutral_line.mm.toFixed(0)} ` +
          'millimetres'), 700);
      } catch (refused) {
        if (!here()) return;
        trouble.replaceChildren(sorry(refused));
      }
    } while (again);
    asking = false;
  }
  lay(first, query());
  const main = show(`At the anvil: ${foot.foot_words}`,
    el('p', {class: 'under'}, el('a', {
      href: `#/horse/${part(folder)}/${part(date)}/${part(record)}`},
    `${foot.horse}, ${dayWords(date)}, ${foot.stage_words}`)),
    el('div', {class: 'columns'},
      el('div', {}, picture, trouble, el('section', {},
        el('h2', {}, 'As you would have it'), web.row, full.row,
        angle && el('label', {class: 'tick'}, asked,
          'Trim to another toe angle'),
        angle && angle.row,
        angle && el('label', {class: 'tick'}, whole,
          'All of it at once, not shared out')),
      el('h2', {}, 'To print and to cut'),
      el('p', {class: 'hint'}, 'Print at 100 %, and lay a ruler on the line ' +
        'of 100 mm.'), files),
      numbers));
  main.className = 'wide';
  return () => clearTimeout(waiting);
}
