// SPDX-License-Identifier: Apache-2.0
// A visit on its way: photos come in, are told apart, go to be checked.
import {get, NoWay, post, Refused, send} from './ask.js';
import {dayWords, el, keptIs, kFeet, kQualityWords, kStages, say, show, sorry,
  upper} from './parts.js';

// CHOSEN: a phone's network is shared; three at a time keep it busy.
const kAtATime = 3;

export async function showVisit(id, here) {
  let visit = await get(`/api/visits/${id}`);
  if (!here()) return undefined;
  const path = `/api/visits/${id}`;
  const incoming = el('ul', {class: 'plain', 'aria-label': 'Coming in'});
  const list = el('div', {});
  const end = el('div', {});
  const waiting = [];
  let sending = 0;

  function pick(label, name, options, value, change) {
    return el('label', {}, label,
      el('select', {name, onchange: (event) => change(event.target.value)},
        options.map(([key, words]) => el('option', {
          value: key, selected: key === value}, words))));
  }

  async function place(photo, what) {
    try {
      visit = await post(`${path}/place`, {
        revision: visit.revision, photo: photo.id, ...what});
      keptIs('Kept', 'good');
    } catch (refused) {
      if (refused.answer && refused.answer.now) visit = refused.answer.now;
      keptIs('Not kept', 'bad');
      say(refused.message);
      draw();
      list.prepend(sorry(refused));
      return;
    }
    draw();
  }

  function photoCard(photo) {
    const check = photo.check || {quality: 'usable', reasons: []};
    return el('li', {class: `photo ${check.quality}`, 'data-photo': photo.id},
      el('img', {src: `/photo/${id}/${photo.id}?width=480`, loading: 'lazy',
        alt: `Photo ${photo.name}`}),
      el('div', {},
        el('p', {class: `grade ${check.quality}`},
          kQualityWords[check.quality],
          !photo.told && el('span', {class: 'guess'},
            ' – is this the right foot?')),
        check.reasons.length > 0 && el('ul', {class: 'reasons'},
          check.reasons.map((one) => el('li', {},
            `${one.words} ${one.remedy}`))),
        el('div', {class: 'picks'},
          pick('Foot', 'foot', kFeet, photo.foot,
            (foot) => place(photo, {foot})),
          pick('View', 'view', [['solar', 'sole'], ['lateral', 'side']],
            photo.view, (view) => place(photo, {view})),
          pick('When', 'stage', kStages, photo.stage,
            (stage) => place(photo, {stage}))),
        el('button', {class: 'small', onclick: () => place(photo, {out: true})},
          'Leave this photo out')));
  }

  function twice() {
    const seen = new Set();
    return visit.photos.filter((photo) => !photo.out).some((photo) => {
      const key = `${photo.foot} ${photo.view} ${photo.stage}`;
      const is = seen.has(key);
      seen.add(key);
      return is;
    });
  }

  async function record(keep) {
    end.replaceChildren(el('p', {role: 'status'}, 'Recording …'));
    try {
      const done = await post(`${path}/record`, {
        revision: visit.revision, keep});
      if (done.whole) {
        say('Recorded.');
        location.hash = `#/horse/${done.horse}`;
        return;
      }
      visit = await get(path);
      draw();
      end.prepend(el('div', {class: 'sorry', role: 'alert'},
        el('p', {}, done.recorded.length > 0 ?
          'Recorded, but not these photos:' : 'These photos are not good ' +
          'enough to be recorded:'),
        el('ul', {}, done.retake.map((line) => el('li', {}, line)))),
      el('p', {}, el('button', {class: 'big', onclick: () => record(true)},
        'Record them all the same')));
    } catch (refused) {
      if (refused.answer && refused.answer.now) visit = refused.answer.now;
      draw();
      end.prepend(sorry(refused));
    }
  }

  function draw() {
    // By name, for two come in at a time and either may be first.
    const photos = visit.photos.filter((photo) => !photo.out).sort((a, b) =>
      a.name.localeCompare(b.name, undefined, {numeric: true}));
    const out = visit.photos.filter((photo) => photo.out);
    list.replaceChildren(
      visit.feet.length > 0 ? el('section', {}, el('h2', {}, 'The feet'),
        el('ul', {class: 'plain'}, visit.feet.map((foot) => {
          const left = foot.points - foot.checked;
          return el('li', {class: 'card foot'},
            el('a', {class: 'lead', href: `#/visit/${id}/${foot.key}`},
              el('strong', {}, upper(foot.foot_words)),
              el('span', {}, foot.stage_words)),
            el('a', {class: left > 0 ? 'big' : 'big quiet',
              href: `#/visit/${id}/${foot.key}`,
              'aria-label': `Check the points of the ${foot.foot_words}, ` +
                foot.stage_words},
            left > 0 ? `Check ${left} points` : 'All checked'));
        }))) : '',
      photos.length > 0 ? el('section', {}, el('h2', {}, 'The photos'),
        twice() ? el('p', {class: 'sorry'}, 'Two photos are of one foot, view ' +
          'and time: the later one counts.') : '',
        el('ul', {class: 'plain photos'}, photos.map(photoCard))) : '',
      out.length > 0 ? el('details', {}, el('summary', {},
        `${out.length} left out`), el('ul', {}, out.map((photo) => el('li', {},
        `${photo.name} `, el('button', {class: 'small',
          onclick: () => place(photo, {out: false})}, 'Take it in again'))))) :
        '');
    end.replaceChildren(photos.length > 0 ? el('p', {},
      el('button', {class: 'big', id: 'record', onclick: () => record(false)},
        'Put it in the casebook'),
      el('span', {class: 'hint'}, visit.feet.some(
        (foot) => foot.checked < foot.points) ?
        ' What nobody has checked stays marked as the program’s.' : '')) : '');
  }

  async function one({file, row, bar, words}) {
    for (let pause = 1000; ; pause = Math.min(pause * 2, 15000)) {
      try {
        const answer = await send(
          `${path}/photos?name=${encodeURIComponent(file.name)}`, file,
          (part) => {
            bar.value = part;
            words.textContent = part < 1 ? `${Math.round(part * 100)} %` :
              'looking at it …';
          });
        // Of two that came in together the later answer may be the older visit.
        if (answer.visit.revision > visit.revision) visit = answer.visit;
        row.remove();
        const check = answer.photo.check;
        say(`${file.name}: ${kQualityWords[check.quality]}. ` + check.reasons.map(
          (reason) => `${reason.words} ${reason.remedy}`).join(' '));
        return;
      } catch (refused) {
        const again = refused instanceof NoWay ||
          (refused instanceof Refused && refused.status === 503);
        words.textContent = refused.message;
        if (!again || !here()) {
          row.classList.add('sorry');
          bar.remove();
          row.append(el('button', {class: 'small',
            onclick: () => row.remove()}, 'All right'));
          say(`${file.name}: ${refused.message}`);
          return;
        }
        words.textContent = refused.message + ' Trying again …';
        await new Promise((resolve) => setTimeout(resolve, pause));
      }
    }
  }

  async function pump() {
    while (sending < kAtATime && waiting.length > 0) {
      sending += 1;
      one(waiting.shift()).finally(() => {
        sending -= 1;
        if (!here()) return;
        draw();
        keptIs(sending + waiting.length === 0 ? 'Kept' : 'Coming in …',
          sending + waiting.length === 0 ? 'good' : '');
        pump();
      });
    }
  }

  function take(files) {
    for (const file of files) {
      const words = el('span', {}, 'waiting');
      const bar = el('progress', {max: 1, value: 0, 'aria-label': file.name});
      const row = el('li', {class: 'card'}, el('strong', {}, file.name), ' ',
        words, bar);
      incoming.append(row);
      waiting.push({file, row, bar, words});
    }
    pump();
  }

  const kinds = 'image/jpeg,image/png,image/heic,image/heif,image/webp,' +
    'image/tiff,.heic,.heif,.jpg,.jpeg,.png,.webp,.tif,.tiff';
  const files = el('input', {type: 'file', id: 'files', multiple: true,
    accept: kinds, onchange: (event) => {
      take(event.target.files);
      event.target.value = '';
    }});
  const camera = el('input', {type: 'file', id: 'camera', accept: 'image/*',
    capture: 'environment', onchange: (event) => {
      take(event.target.files);
      event.target.value = '';
    }});
  const drop = el('div', {class: 'drop',
    ondragover: (event) => {
      event.preventDefault();
      drop.classList.add('over');
    },
    ondragleave: () => drop.classList.remove('over'),
    ondrop: (event) => {
      event.preventDefault();
      drop.classList.remove('over');
      take(event.dataTransfer.files);
    }},
  el('div', {class: 'field'}, el('label', {class: 'big', for: 'camera'},
    'Photograph a foot'), camera),
  el('div', {class: 'field'}, el('label', {class: 'big quiet', for: 'files'},
    'Choose photos'), files),
  el('p', {class: 'hint'}, 'The sole and the side of each foot, the card in ' +
    'both. They can be dropped here too.'));

  draw();
  show(visit.horse,
    el('p', {class: 'under'}, dayWords(visit.date) +
      (visit.yard ? `, ${visit.yard}` : '')),
    drop, incoming, list, end);
  return undefined;
}
