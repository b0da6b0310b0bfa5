// SPDX-License-Identifier: Apache-2.0
// The day: what is on the way, who is due, every horse.
import {get, post} from './ask.js';
import {dayWords, el, show, sorry, upper} from './parts.js';

function leftToCheck(foot) {
  const left = foot.points - foot.checked;
  return left === 0 ? 'all checked' : `${left} of ${foot.points} to check`;
}

function unfinishedCard(visit) {
  return el('li', {class: 'card'},
    el('a', {class: 'lead', href: `#/visit/${visit.id}`},
      el('strong', {}, visit.horse),
      el('span', {}, dayWords(visit.date) +
        (visit.yard ? `, ${visit.yard}` : ''))),
    visit.feet.length === 0 ? el('p', {}, 'No photos yet.') :
      el('ul', {class: 'feet'}, visit.feet.map((foot) => el('li', {},
        el('a', {href: `#/visit/${visit.id}/${foot.key}`},
          `${upper(foot.foot_words)}, ${foot.stage_words}`),
        el('span', {class: foot.points === foot.checked ? 'done' : 'todo'},
          leftToCheck(foot))))));
}

function dueWords(one) {
  const days = Math.abs(one.days) === 1 ? '1 day' : `${Math.abs(one.days)} days`;
  if (one.days < 0) return `due ${days} ago`;
  if (one.days === 0) return 'due today';
  return `due in ${days}`;
}

function beginForm(day) {
  const horse = el('input', {id: 'horse', name: 'horse', list: 'horses',
    required: true, autocomplete: 'off', maxlength: 200});
  const yard = el('input', {id: 'yard', name: 'yard', autocomplete: 'off',
    maxlength: 200});
  const date = el('input', {id: 'date', name: 'date', type: 'date',
    required: true, value: day.today});
  const trouble = el('div', {});
  return el('form', {class: 'begin', onsubmit: async (event) => {
    event.preventDefault();
    try {
      const visit = await post('/api/visits', {
        horse: horse.value.trim(), yard: yard.value.trim(), date: date.value});
      location.hash = `#/visit/${visit.id}`;
    } catch (refused) {
      trouble.replaceChildren(sorry(refused));
    }
  }},
  el('h2', {}, 'At a horse'),
  el('datalist', {id: 'horses'},
    day.horses.map((one) => el('option', {value: one.name}))),
  el('p', {}, el('label', {for: 'horse'}, 'Horse'), horse),
  el('p', {}, el('label', {for: 'date'}, 'Day'), date),
  el('p', {}, el('label', {for: 'yard'},
    'Yard (if two horses have the name)'), yard),
  trouble,
  el('button', {class: 'big'}, 'Take photos'));
}

export async function showDay(here) {
  const day = await get('/api/day');
  if (!here()) return;
  const soon = day.due.filter((one) => one.days <= 7);
  show('The day',
    el('p', {class: 'under'}, dayWords(day.today)),
    el('div', {class: 'columns'},
      el('div', {},
        day.unfinished.length > 0 && el('section', {},
          el('h2', {}, 'Still on the bench'),
          el('ul', {class: 'plain'}, day.unfinished.map(unfinishedCard))),
        beginForm(day)),
      el('div', {},
        el('section', {}, el('h2', {}, 'Due'),
          soon.length === 0 ? el('p', {}, 'Nobody within a week.') :
            el('ul', {class: 'plain'}, soon.map((one) => el('li', {
              class: 'card'},
            el('a', {class: 'lead', href: `#/horse/${one.folder}`},
              el('strong', {}, one.horse),
              el('span', {class: one.days < 0 ? 'todo' : ''},
                dueWords(one) + (one.yard ? `, ${one.yard}` : ''))))))),
        el('section', {}, el('h2', {}, 'Every horse'),
          day.horses.length === 0 ? el('p', {}, 'None recorded yet.') :
            el('ul', {class: 'plain'}, day.horses.map((one) => el('li', {
              class: 'card'},
            el('a', {class: 'lead', href: `#/horse/${one.folder}`},
              el('strong', {}, one.name),
              one.yard && el('span', {}, one.yard)))))),
        el('p', {}, el('a', {class: 'big quiet', href: '#/device'},
          'Let another phone in')))));
}

export async function showDevice(here) {
  const device = await get('/api/device');
  if (!here()) return;
  show('Another phone',
    device.addresses.length > 0 ?
      [el('p', {}, 'Point its camera at this. It opens the page once, on one ' +
        'phone; load this page again for the next.'),
      el('p', {}, el('img', {class: 'qr', src: `/device.svg?${Date.now()}`,
        alt: 'The address and its code as a square code'})),
      el('p', {}, 'Or type: ', el('code', {}, device.addresses[0]))] :
      el('p', {}, 'The page is open on this machine only. Start it with --lan ' +
        'to use a phone in the same network.'),
    el('p', {}, el('a', {class: 'big quiet', href: '#/'}, 'To the day')));
}
