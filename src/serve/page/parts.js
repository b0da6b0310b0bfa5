// SPDX-License-Identifier: Apache-2.0
// Pieces that every view is made of.

/** An element. Attributes beginning with "on" are listeners. */
export function el(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith('on')) {
      element.addEventListener(name.slice(2), value);
    } else {
      element.setAttribute(name, value === true ? '' : value);
    }
  }
  element.append(...children.flat().filter(
    (child) => child !== undefined && child !== null && child !== false));
  return element;
}

export function svg(tag, attributes = {}, ...children) {
  const element = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== undefined) element.setAttribute(name, value);
  }
  element.append(...children);
  return element;
}

/** Tells it to who listens. */
export function say(words) {
  document.getElementById('say').textContent = words;
}

/** What stands at the top: is everything on the disk? */
export function keptIs(words, how = '') {
  const line = document.getElementById('kept');
  line.textContent = words;
  line.className = 'kept ' + how;
}

export function show(title, ...parts) {
  document.title = title + ' – Plumbfoot';
  const main = document.getElementById('main');
  main.className = '';
  main.replaceChildren(el('h1', {}, title), ...parts.flat().filter(
    (part) => part instanceof Node));
  window.scrollTo(0, 0);
  return main;
}

export function sorry(refused) {
  return el('p', {class: 'sorry', role: 'alert'}, refused.message);
}

const kMonths = ['January', 'February', 'March', 'April', 'May', 'June', 'July',
  'August', 'September', 'October', 'November', 'December'];

/** "14 March 2026" */
export function dayWords(date) {
  const [year, month, day] = date.split('-').map(Number);
  return `${day} ${kMonths[month - 1]} ${year}`;
}

export const kViewWords = {solar: 'sole', lateral: 'side'};
export const kFeet = [['LF', 'left fore'], ['RF', 'right fore'],
  ['LH', 'left hind'], ['RH', 'right hind']];
export const kStages = [['before_trim', 'before the trim'],
  ['after_trim', 'after the trim'], ['after_shoeing', 'after shoeing'],
  ['other', 'at another time']];
export const kQualityWords = {
  good: 'Good photo', usable: 'Will do', retake: 'Take it again'};

export function upper(words) {
  return words[0].toUpperCase() + words.slice(1);
}

/** The numbers of a foot as a list; `views` are those to be shown. */
export function numbers(shown, views = ['solar', 'lateral']) {
  const parts = [];
  for (const view of views) {
    const of = shown.filter((one) => one.view === view);
    if (of.length === 0) continue;
    // The roles stand there because narrow screens lay the table out anew.
    const rows = of.filter((one) => one.measured).map((one) => el('tr', {
      role: 'row', 'data-measure': one.measure, 'data-value': one.value},
    el('th', {scope: 'row', role: 'rowheader', title: one.definition},
      one.name),
    el('td', {role: 'cell', class: 'number'}, one.text,
      one.sure ? null : el('span', {class: 'doubt'}, ' not sure')),
    el('td', {role: 'cell', class: 'figures'},
      one.figures.join('; ') || '–')));
    const without = of.filter((one) => !one.measured);
    parts.push(el('section', {class: 'numbers'},
      el('h2', {}, view === 'solar' ? 'From the sole' : 'From the side'),
      rows.length > 0 && el('table', {role: 'table'},
        el('thead', {role: 'rowgroup'}, el('tr', {role: 'row'},
          el('th', {scope: 'col', role: 'columnheader'}, 'What'),
          el('th', {scope: 'col', role: 'columnheader'}, 'This foot, ± 95 %'),
          el('th', {scope: 'col', role: 'columnheader'}, 'Published'))),
        el('tbody', {role: 'rowgroup'}, rows)),
      without.length > 0 && el('details', {},
        el('summary', {}, `${without.length} not measured`),
        el('ul', {}, without.map(
          (one) => el('li', {}, `${one.name}: ${one.text}`))))));
  }
  return parts;
}

/** What was compared with published figures, and what to mind. */
export function verdict(report) {
  const out = report.observations.filter((one) => one.stands_out);
  const rest = report.observations.filter((one) => !one.stands_out);
  const vet = report.cautions.filter((one) => one.kind === 'vet');
  const mind = report.cautions.filter((one) => one.kind !== 'vet');
  return [
    vet.length > 0 && el('section', {class: 'vet'}, el('h2', {}, 'For the vet'),
      vet.map((one) => el('p', {}, one.words + ' ' + one.why))),
    out.length > 0 && el('section', {}, el('h2', {}, 'Stands out'),
      out.map((one) => el('p', {}, one.words))),
    el('details', {}, el('summary', {}, 'Beside published figures'),
      rest.map((one) => el('p', {}, one.words,
        el('span', {class: 'source'}, ' ' + one.citations.join('; '))))),
    el('details', {}, el('summary', {}, 'What to mind'),
      mind.map((one) => el('p', {}, one.words + ' ' + one.why))),
  ].filter(Boolean);
}
