// SPDX-License-Identifier: Apache-2.0
// Which view the address asks for.
import {NoWay} from './ask.js';
import {showAnvil} from './anvil.js';
import {showDay, showDevice} from './day.js';
import {showEditor} from './editor.js';
import {showFoot, showHorse, showOwner} from './horse.js';
import {el, keptIs, show, sorry} from './parts.js';
import {showVisit} from './visit.js';

let leave = null;
let turn = 0;

async function go() {
  const mine = ++turn;
  if (leave) leave();
  leave = null;
  keptIs('');
  const steps = location.hash.replace(/^#\/?/, '').split('/')
    .filter(Boolean).map(decodeURIComponent);
  // A view that was left before it was there must not show itself.
  const here = () => mine === turn;
  try {
    let gone;
    if (steps[0] === 'visit' && steps.length === 2) {
      gone = await showVisit(steps[1], here);
    } else if (steps[0] === 'visit' && steps.length >= 3) {
      gone = await showEditor(steps[1], steps[2], steps[3], here);
    } else if (steps[0] === 'horse' && steps.length === 2) {
      gone = await showHorse(steps[1], here);
    } else if (steps[0] === 'horse' && steps.length === 4) {
      gone = await showFoot(steps[1], steps[2], steps[3], here);
    } else if (steps[0] === 'anvil' && steps.length === 4) {
      gone = await showAnvil(steps[1], steps[2], steps[3], here);
    } else if (steps[0] === 'owner' && steps.length === 3) {
      gone = await showOwner(steps[1], steps[2], here);
    } else if (steps[0] === 'device') {
      gone = await showDevice(here);
    } else {
      gone = await showDay(here);
    }
    if (here()) leave = gone || null;
    else if (gone) gone();
  } catch (refused) {
    if (!here()) return;
    show('That didn’t work', sorry(refused),
      el('p', {}, el('button', {class: 'big', onclick: go},
        refused instanceof NoWay ? 'Try again' : 'Load again'), ' ',
      el('a', {class: 'big quiet', href: '#/'}, 'To the day')));
    if (!refused.status && !(refused instanceof NoWay)) throw refused;
  }
}

document.querySelector('.skip').addEventListener('click', (event) => {
  event.preventDefault();
  document.getElementById('main').focus();
});
window.addEventListener('hashchange', go);
go();
