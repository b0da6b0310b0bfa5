// SPDX-License-Identifier: Apache-2.0
// What the casebook holds: a horse's case, one foot, before and after, the
// owner's page.
import {get, post} from './ask.js';
import {dayWords, el, kViewWords, numbers, show, sorry, upper, verdict}
  from './parts.js';

export async function showHorse(folder, here) {
  const horse = await get(`/api/horses/${encodeURIComponent(folder)}`);
  if (!here()) return;
  const path = `#/horse/${folder}`;
  const visits = [...horse.visits].reverse();
  show(horse.name,
    el('p', {class: 'under'}, [horse.yard, horse.next_visit &&
      `next visit ${dayWords(horse.next_visit)}`].filter(Boolean).join(', ')),
    horse.set_aside.length > 0 && el('div', {class: 'sorry'},
      horse.set_aside.map((line) => el('p', {}, line))),
    el('div', {class: 'columns'},
      el('section', {}, el('h2', {}, 'Visits'),
        el('ol', {class: 'plain visits', reversed: true}, visits.map(
          (visit) => el('li', {class: 'card', id: `visit-${visit.date}`},
            el('h3', {}, dayWords(visit.date)),
            visit.done && el('p', {}, upper(visit.done)),
            visit.remarks && el('p', {}, visit.remarks),
            visit.vet && el('p', {}, `Vet: ${visit.vet}`),
            el('ul', {class: 'feet'}, visit.feet.map((foot) => el('li', {},
              el('a', {href: `${path}/${visit.date}/${foot.record}`},
                `${upper(foot.foot_words)}, ${foot.stage_words}`),
              el('span', {}, foot.numbers.map(
                (one) => `${one.name} ${one.text}`).join(' · '))))),
            el('p', {}, el('a', {class: 'big quiet',
              href: `#/owner/${folder}/${visit.date}`}, 'The owner’s page')))))),
      el('section', {}, el('h2', {}, 'Over the visits'),
        horse.plots.length === 0 && el('p', {}, 'Nothing measured yet.'),
        visits.length > 1 && el('p', {class: 'chips'}, horse.visits.map(
          (visit, number) => el('button', {class: 'small', onclick: () => {
            const card = document.getElementById(`visit-${visit.date}`);
            card.scrollIntoView({block: 'center'});
            card.querySelector('a').focus({preventScroll: true});
          }}, `${number + 1}: ${dayWords(visit.date)}`))),
        horse.plots.map((plot) => el('figure', {},
          el('a', {target: '_blank', rel: 'noopener',
            href: `/plot/${encodeURIComponent(folder)}/${plot.name}`},
          el('img', {class: 'plot', loading: 'lazy',
            src: `/plot/${encodeURIComponent(folder)}/${plot.name}`,
            alt: `Plots of the ${plot.foot_words}, from the ` +
              `${kViewWords[plot.view]}, over the visits`})),
          el('figcaption', {}, `${upper(plot.foot_words)}, from the ` +
            kViewWords[plot.view]))))));
}

function kLook(change) {
  const kinds = {changed: 'changed', unchanged: 'no change to be seen'};
  return kinds[change] || '';
}

/** Two photos of a foot over each other, with a slider between them. */
function slider(view, before, after, words) {
  const top = el('img', {class: 'before', src: before,
    alt: `Before: ${words.before}`});
  const edge = el('div', {class: 'edge', 'aria-hidden': 'true'});
  const id = `slide-${view}`;
  const set = (value) => {
    top.style.clipPath = `inset(0 ${100 - value}% 0 0)`;
    edge.style.left = `${value}%`;
  };
  const range = el('input', {type: 'range', id, min: 0, max: 100, value: 50,
    oninput: (event) => set(Number(event.target.value))});
  set(50);
  return el('figure', {class: 'slider'},
    el('div', {class: 'pair'}, el('img', {src: after,
      alt: `After: ${words.after}`}), top, edge),
    el('label', {for: id}, el('span', {}, words.before),
      el('span', {}, words.after)),
    range);
}

export async function showFoot(folder, date, record, here) {
  const part = encodeURIComponent;
  const foot = await get(
    `/api/horses/${part(folder)}/${part(date)}/${part(record)}`);
  if (!here()) return;
  const at = (kind, when, name, view) =>
    `/${kind}/${part(folder)}/${when}/${part(name)}/${view}`;
  const earlier = foot.earlier;
  const both = earlier ? foot.photos.filter(
    (view) => earlier.photos.includes(view)) : [];
  const compared = earlier && earlier.changes && earlier.changes.measures;
  const trouble = el('div', {});
  async function again() {
    try {
      const visit = await post(`/api/horses/${part(folder)}/${part(date)}/` +
        `${part(record)}/again`, {});
      location.hash = `#/visit/${visit.visit}/${visit.foot}`;
    } catch (refused) {
      trouble.replaceChildren(sorry(refused));
    }
  }
  const main = show(`${upper(foot.foot_words)}, ${foot.stage_words}`,
    el('p', {class: 'under'}, el('a', {href: `#/horse/${folder}`},
      `${foot.horse}, ${dayWords(date)}`)),
    el('div', {class: 'columns'},
      el('div', {},
        foot.photos.map((view) => el('figure', {},
          el('img', {class: 'drawn',
            src: at('picture', date, record, `${view}-annotated.jpg`),
            alt: `The ${kViewWords[view]} with its measures drawn on`}))),
        both.length > 0 && el('section', {},
          el('h2', {}, 'Before and after'),
          both.map((view) => slider(view,
            at('aligned', earlier.date, earlier.record, view),
            at('aligned', date, record, view), {
              before: `${dayWords(earlier.date)}, ${earlier.stage_words}`,
              after: `${dayWords(date)}, ${foot.stage_words}`})))),
      el('div', {}, numbers(foot.shown),
        compared && el('section', {}, el('h2', {}, 'What changed'),
          changes(compared, foot.shown)),
        verdict(foot.report),
        el('p', {class: 'chips'}, el('button', {class: 'big', onclick: again},
          'Put points right'), el('a', {class: 'big quiet',
          href: `#/anvil/${folder}/${date}/${record}`}, 'Trim and shoe'),
          el('a', {class: 'big quiet',
          href: `#/owner/${folder}/${date}`}, 'The owner’s page')), trouble)));
  main.className = 'wide';
}

function changes(compared, shown) {
  const names = new Map(shown.map((one) => [one.measure, one.name]));
  const changed = Object.entries(compared).filter(
    ([, one]) => one.verdict && one.verdict !== 'no_change' &&
      one.verdict !== 'not_compared');
  if (changed.length === 0) {
    return el('p', {}, 'Nothing that these photos can show.');
  }
  return el('ul', {}, changed.map(([measure, one]) => el('li', {},
    `${names.get(measure) || measure}: ${kLook(one.verdict) || one.verdict}`)));
}

export async function showOwner(folder, date, here) {
  if (!here()) return;
  const page = `/owner/${encodeURIComponent(folder)}/${encodeURIComponent(date)}`;
  const main = show('For the owner',
    el('p', {class: 'under'}, el('a', {href: `#/horse/${folder}`},
      'Back to the horse'), ' ', el('a', {href: page, target: '_blank',
      rel: 'noopener'}, 'Open it alone, to save or print')),
    el('iframe', {class: 'owner', src: page, title: 'The owner’s page',
      sandbox: 'allow-same-origin'}));
  main.className = 'wide';
}
