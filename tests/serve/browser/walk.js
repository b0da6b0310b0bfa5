// SPDX-License-Identifier: Apache-2.0
//
// The page as a person uses it, in Debian's Chromium.
//
//   node walk.js HOW PLUMBFOOT CASEBOOK PHOTOS FOLDER
//
// HOW is "touch" (390 x 844, a finger), "keys" (1366 x 768, the keyboard alone)
// or "looks" (every view, phone and laptop, light and dark, of what the others
// left behind). Writes found.json and screenshots into FOLDER. Each step that
// doesn't come about ends it.
'use strict';
const {spawn} = require('child_process');
const fs = require('fs');
const path = require('path');
const axe = require('axe-core');
const {chromium} = require('playwright-core');

const [how, plumbfoot, casebook, photos, folder] = process.argv.slice(2);
const found = {violations: [], rules: 0, asked: [], errors: [], small: []};
// Slow machines are no faults; what never comes is.
const kPatience = 30000;
const origins = new Set();

/** A server of its own, and the address that opens it. */
async function serve() {
  const child = spawn(plumbfoot, ['serve', casebook, '--port', '0'],
    {stdio: ['ignore', 'pipe', 'inherit']});
  const address = await new Promise((resolve, reject) => {
    let said = '';
    child.stdout.on('data', (data) => {
      said += data;
      const at = said.match(/http:\/\/127\.0\.0\.1:\d+\/\?code=\w+/);
      if (at) resolve(at[0]);
    });
    child.on('exit', () => reject(new Error('serve ended: ' + said)));
  });
  origins.add(new URL(address).origin);
  return {
    address,
    origin: new URL(address).origin,
    async end() {
      child.removeAllListeners('exit');
      const gone = new Promise((resolve) => child.on('exit', resolve));
      child.kill('SIGTERM');
      found.ended = await gone;
    },
  };
}

/** Ends the program and starts it again, on another port. */
async function startAgain(server, page) {
  // A page left open looks every few seconds for what others have changed:
  // where nobody answers the browser says so, and that is no fault.
  await page.goto('about:blank');
  await server.end();
  const next = await serve();
  await page.goto(next.address);
  return next;
}

function listen(page) {
  page.on('pageerror', (error) => found.errors.push(String(error)));
  page.on('console', (message) => {
    if (message.type() === 'error') {
      found.errors.push(`${message.text()} ${message.location().url}`);
    }
  });
  page.on('request', (request) => {
    const url = request.url();
    if (!origins.has(new URL(url).origin) && !/^(blob|data):/.test(url)) {
      found.asked.push(url);
    }
  });
}

/** axe-core's rules, and what a cold finger can't hit. */
async function look(page, name) {
  // By the debugger's way in: the page's own policy lets no other script in.
  await page.evaluate(axe.source);
  const all = await page.evaluate(() => globalThis.axe.run(document));
  // Points may lie as near to each other as they will: the photo takes the
  // nearest, and each has a button in the list (WCAG 2.2, 2.5.8, equivalent).
  const targets = await page.evaluate(() => globalThis.axe.run(
    {exclude: [['.dots']]}, {runOnly: ['target-size']}));
  found.rules = Math.max(found.rules, all.passes.length);
  for (const violation of [...all.violations, ...targets.violations]) {
    found.violations.push(`${name}: ${violation.id}: ${violation.help}: ` +
        violation.nodes.map((node) => node.html.slice(0, 160)).join(' | '));
  }
  const small = await page.evaluate(() => [...document.querySelectorAll(
    'button, .big, summary, select, input')].filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && (box.height < 43.5 || box.width < 43.5) &&
      !one.closest('.tick') && !one.closest('.dots');
  }).map((one) => one.outerHTML.slice(0, 120)));
  found.small.push(...small.map((one) => `${name}: ${one}`));
  const overflow = await page.evaluate(() =>
    document.documentElement.scrollWidth - window.innerWidth);
  if (overflow > 0) found.errors.push(`${name}: ${overflow} px too wide`);
}

const shot = (page, name, fullPage = false) =>
  page.screenshot({path: path.join(folder, `${name}.png`), fullPage});

const kept = (page) => page.locator('#kept.good').waitFor();

/** The page's numbers: {toe_angle: "48.123", ...}. */
const numbersOn = (page) => page.evaluate(() => Object.fromEntries(
  [...document.querySelectorAll('[data-measure]')].map((row) =>
    [row.dataset.measure, Number(row.dataset.value)])));

const wordsOn = (page) => page.evaluate(() => Object.fromEntries(
  [...document.querySelectorAll('[data-measure]')].map((row) =>
    [row.dataset.measure, row.querySelector('.number').firstChild.data])));

/** Drags with a finger, slowly enough to be one. */
async function drag(page, from, by) {
  const client = await page.context().newCDPSession(page);
  const touch = (type, points) => client.send('Input.dispatchTouchEvent',
    {type, touchPoints: points});
  await touch('touchStart', [{x: from[0], y: from[1]}]);
  for (let i = 1; i <= 12; ++i) {
    await touch('touchMove', [{x: from[0] + by[0] * i / 12,
      y: from[1] + by[1] * i / 12}]);
    await page.waitForTimeout(30);
  }
  const middle = await page.evaluate(() => ({
    glass: !document.querySelector('.glass').hidden}));
  // Time for the numbers to follow.
  await page.locator('.figures-panel.moving').waitFor();
  const moving = await numbersOn(page);
  await shot(page, `${how}-dragging`);
  await touch('touchEnd', []);
  await client.detach();
  return {...middle, moving};
}

/** Two fingers that go apart by `times`. @return how much larger the photo is. */
async function pinch(page, times) {
  const stage = await page.locator('.stage').boundingBox();
  const [x, y] = [stage.x + stage.width / 2, stage.y + stage.height / 2];
  const large = () => page.evaluate(() => Number(
    document.querySelector('.stage img').style.transform.match(/scale\((.*)\)/)[1]));
  const before = await large();
  const client = await page.context().newCDPSession(page);
  const apart = (half) => [{x: x - half, y, id: 1}, {x: x + half, y, id: 2}];
  const touch = (type, touchPoints) => client.send('Input.dispatchTouchEvent',
    {type, touchPoints});
  await touch('touchStart', apart(30));
  for (let i = 1; i <= 10; ++i) {
    await touch('touchMove', apart(30 + 30 * (times - 1) * i / 10));
  }
  await touch('touchEnd', []);
  await client.detach();
  return await large() / before;
}

/**
 * Holds back the answers to `url` until there are `many` and lets the newest
 * visit through first, as a network may.
 * @return {through}, kept when they all are.
 */
async function turnAnswers(page, url, many) {
  const client = await page.context().newCDPSession(page);
  const held = [];
  await client.send('Fetch.enable',
    {patterns: [{urlPattern: url, requestStage: 'Response'}]});
  const all = new Promise((resolve, reject) => {
    client.on('Fetch.requestPaused', ({requestId}) => {
      client.send('Fetch.getResponseBody', {requestId}).then((answer) => {
        const body = Buffer.from(answer.body,
          answer.base64Encoded ? 'base64' : 'utf8');
        held.push({requestId, revision: JSON.parse(body).visit.revision});
        if (held.length === many) resolve();
      }).catch(reject);
    });
  });
  return {through: all.then(async () => {
    held.sort((a, b) => b.revision - a.revision);
    for (const {requestId} of held) {
      await client.send('Fetch.continueRequest', {requestId});
      // So that the page has taken this one before the next.
      await page.waitForTimeout(100);
    }
    await client.detach();
  })};
}

const centreOf = async (locator) => {
  const box = await locator.boundingBox();
  return [box.x + box.width / 2, box.y + box.height / 2];
};

async function touchWalk(browser) {
  let server = await serve();
  const context = await browser.newContext({viewport: {width: 390, height: 844},
    hasTouch: true, isMobile: true, deviceScaleFactor: 2});
  const page = await context.newPage();
  page.setDefaultTimeout(kPatience);
  listen(page);

  const locked = await page.goto(server.origin + '/');
  found.locked = locked.status();
  await look(page, 'locked');
  await page.goto(server.address);
  await page.getByRole('heading', {name: 'The day'}).waitFor();
  found.code_in_address = page.url().includes('code');
  await look(page, 'day');
  await page.locator('#horse').fill('Bramble');
  await page.locator('#date').fill('2026-03-14');
  await page.getByRole('button', {name: 'Take photos'}).tap();
  await page.getByRole('heading', {name: 'Bramble'}).waitFor();

  // A pair, as a phone names them: the views are told from the pictures.
  const copies = ['solar', 'lateral'].map((view, number) => {
    const copy = path.join(folder, `IMG_000${number}.jpg`);
    fs.copyFileSync(path.join(photos, `${view}.jpg`), copy);
    return copy;
  });
  const began = Date.now();
  const turned = await turnAnswers(page, '*/photos?name=*', copies.length);
  await page.locator('#files').setInputFiles(copies);
  await turned.through;
  await page.locator('.photo').nth(1).waitFor();
  await kept(page);
  found.upload_s = (Date.now() - began) / 1000;
  found.proposed = await page.locator('.photo select').evaluateAll(
    (all) => all.map((one) => one.value));
  found.grades = await page.locator('.grade').allTextContents();
  await look(page, 'visit');
  await shot(page, 'touch-visit', true);

  await page.getByRole('link', {name: /^Check the points/}).tap();
  await page.locator('.dot').first().waitFor();
  await look(page, 'points');
  await shot(page, 'touch-points');
  found.pinched = [await pinch(page, 2), await pinch(page, 0.5)];
  // What nobody is sure of comes first.
  found.first = await page.locator('.pick').first().textContent();
  const before = await numbersOn(page);

  // Two points put right by a finger.
  const steps = [];
  for (const [name, by] of [['toe', [0, -14]], ['heel_left', [10, 6]]]) {
    await page.locator(`[data-pick=${name}]`).tap();
    await page.evaluate(() => window.scrollTo(0, 0));
    const dot = page.locator(`.dot[data-key=${name}]`);
    await dot.waitFor();
    steps.push(await drag(page, await centreOf(dot), by));
    await kept(page);
  }
  found.steps = steps;
  found.before = before;
  found.after_drag = await numbersOn(page);

  // Undone and done again.
  await page.locator('#undo').tap();
  await kept(page);
  await page.waitForFunction(() => !document.querySelector('.figures-panel.moving'));
  found.undone = await numbersOn(page);
  await page.locator('#redo').tap();
  await kept(page);
  await page.waitForTimeout(300);
  found.redone = await numbersOn(page);

  // The network goes in the middle, and comes back.
  await context.setOffline(true);
  await page.locator('[data-pick=frog_apex]').tap();
  await page.locator('#right').tap();
  await page.locator('#kept.bad').waitFor();
  found.offline = await page.locator('#kept').textContent();
  await context.setOffline(false);
  await kept(page);

  await page.locator('#all-right').tap();
  await kept(page);
  await page.getByRole('navigation', {name: 'Photo'})
    .getByRole('link', {name: /Side/}).tap();
  await page.locator('.dot').first().waitFor();
  await shot(page, 'touch-side');
  // One that can't be seen.
  await page.locator('[data-pick=pastern_upper]').tap();
  await page.locator('#unseen').tap();
  await kept(page);
  await page.locator('#all-right').tap();
  await kept(page);
  await page.waitForTimeout(300);
  // What isn't found is placed; here all that is left is said to be unseen.
  for (let left = 6; left > 0; --left) {
    const missing = page.locator('.pick.missing').first();
    if (await missing.count() === 0) break;
    await missing.tap();
    if (await page.locator('#unseen').count() === 0) break;
    await page.locator('#unseen').tap();
    await kept(page);
    await page.waitForTimeout(200);
  }
  found.errors = found.errors.filter((line) =>
    !line.includes('ERR_INTERNET_DISCONNECTED') && !line.includes('403'));

  // Loaded again, everything is where it was.
  await page.reload();
  await page.locator('.dot').first().waitFor();
  found.after = await numbersOn(page);
  found.after_words = await wordsOn(page);
  const id = page.url().split('/visit/')[1].split('/')[0];
  const said = JSON.parse(fs.readFileSync(
    path.join(casebook, 'unfinished', id, 'visit.json'), 'utf8'));
  const [key] = Object.keys(said.feet);
  fs.writeFileSync(path.join(folder, 'points.json'), JSON.stringify({
    format: 'plumbfoot-points', version: 1, ...said.feet[key].points}));

  // The program is ended and started again in the middle.
  server = await startAgain(server, page);
  await page.getByRole('link', {name: /Bramble/}).first().tap();
  await page.getByRole('button', {name: 'Put it in the casebook'}).waitFor();
  found.found_again = await page.locator('.card.foot').count();
  // A picture that is still on its way when its visit has moved is not found.
  await page.waitForLoadState('networkidle');
  await page.locator('#record').tap();
  await page.getByRole('heading', {name: 'Visits', exact: true}).waitFor();
  await look(page, 'horse');
  await shot(page, 'touch-horse', true);

  server = await startAgain(server, page);
  await page.getByRole('link', {name: 'Bramble'}).last().tap();
  await page.getByRole('link', {name: /Left fore/}).first().tap();
  await page.locator('[data-measure]').first().waitFor();
  found.recorded = await numbersOn(page);
  found.recorded_words = await wordsOn(page);
  await look(page, 'foot');
  await page.getByRole('link', {name: 'The owner’s page'}).tap();
  await page.locator('iframe.owner').waitFor();
  await page.frameLocator('iframe.owner').getByText('Bramble').first()
    .waitFor();
  await look(page, 'owner');
  await shot(page, 'touch-owner');
  await context.close();
  await server.end();
}

/** The keyboard alone: Tab until what is wanted has the focus. */
async function tabTo(page, wanted, most = 120) {
  for (let i = 0; i < most; ++i) {
    const there = await page.evaluate((selector) =>
      document.activeElement.matches(selector), wanted);
    if (there) return;
    await page.keyboard.press('Tab');
  }
  throw new Error(`Tab doesn't come to ${wanted}`);
}

async function keysWalk(browser) {
  let server = await serve();
  const context = await browser.newContext(
    {viewport: {width: 1366, height: 768}});
  const page = await context.newPage();
  page.setDefaultTimeout(kPatience);
  listen(page);
  await page.goto(server.address);
  await page.getByRole('heading', {name: 'The day'}).waitFor();
  await tabTo(page, '#horse');
  await page.keyboard.type('Old Tam');
  await tabTo(page, '.begin button');
  await page.keyboard.press('Enter');
  await page.getByRole('heading', {name: 'Old Tam'}).waitFor();
  await tabTo(page, '#files');
  const chooser = page.waitForEvent('filechooser');
  await page.keyboard.press('Space');
  await (await chooser).setFiles(['solar', 'lateral'].map((view) =>
    path.join(photos, `${view}.jpg`)));
  await page.locator('.photo').nth(1).waitFor();
  await kept(page);
  // The right fore it is.
  for (let i = 0; i < 2; ++i) {
    const revision = await page.evaluate(() =>
      document.querySelectorAll('.card.foot').length);
    await page.locator('.photo').nth(i).locator('select[name=foot]').focus();
    await page.keyboard.type('right fore');
    await page.keyboard.press('Enter');
    await page.waitForTimeout(400);
    await kept(page);
    void revision;
  }
  found.feet = await page.locator('.card.foot strong').allTextContents();
  await page.locator('body').focus();
  await tabTo(page, '.card.foot .big');
  await page.keyboard.press('Enter');
  await page.locator('.dot').first().waitFor();
  found.before = await numbersOn(page);
  await look(page, 'points, by keys');
  // Two points with the arrows.
  await tabTo(page, '.dot[data-key=toe]');
  for (let i = 0; i < 3; ++i) await page.keyboard.press('Shift+ArrowUp');
  await page.locator('.figures-panel.moving').waitFor();
  await shot(page, 'keys-nudging');
  await kept(page);
  await page.waitForTimeout(300);
  await tabTo(page, '.dot[data-key=frog_apex]');
  for (let i = 0; i < 4; ++i) await page.keyboard.press('ArrowLeft');
  await page.waitForTimeout(700);
  await kept(page);
  found.heard = await page.locator('#say').textContent();
  found.after = await numbersOn(page);
  // Undone, done again.
  await page.keyboard.press('Control+z');
  await page.waitForTimeout(300);
  await kept(page);
  await page.keyboard.press('Control+Shift+Z');
  await page.waitForTimeout(300);
  await kept(page);
  await page.waitForTimeout(500);
  found.redone = await numbersOn(page);
  // The others accepted with Enter, one after the other.
  await tabTo(page, '.dot[data-key=heel_left]');
  await page.keyboard.press('Enter');
  await kept(page);
  await page.waitForTimeout(500);
  found.next = await page.locator('#say').textContent();
  await tabTo(page, '#all-right');
  await page.keyboard.press('Enter');
  await page.locator('.what.person').waitFor();
  await kept(page);
  found.unchecked = await page.locator('.pick.unsure, .pick.sure').count();

  // A second tab changes a point; the first is told, and overwrites nothing.
  const other = await context.newPage();
  other.setDefaultTimeout(kPatience);
  await other.goto(page.url());
  await other.locator('.dot').first().waitFor();
  await other.locator('.dot[data-key=toe]').focus();
  // The first looks away: what it does next rests on what it saw before.
  await page.evaluate(() => Object.defineProperty(document, 'hidden',
    {get: () => true}));
  await other.keyboard.press('ArrowDown');
  await other.waitForTimeout(700);
  await other.locator('#kept.good').waitFor();
  await page.bringToFront();
  await page.locator('.dot[data-key=frog_left]').focus();
  await page.keyboard.press('ArrowDown');
  await page.locator('.sorry').waitFor();
  found.conflict = await page.locator('.sorry').textContent();
  found.errors = found.errors.filter((line) => !line.includes('409'));
  await other.close();

  await page.locator('.under a').focus();
  await page.keyboard.press('Enter');
  await page.locator('#record').waitFor();
  await tabTo(page, '#record');
  await page.keyboard.press('Enter');
  await page.getByRole('heading', {name: 'Visits', exact: true}).waitFor();
  server = await startAgain(server, page);
  await page.getByRole('heading', {name: 'The day'}).waitFor();
  await tabTo(page, 'a[href="#/horse/old-tam"]');
  await page.keyboard.press('Enter');
  await page.getByRole('heading', {name: 'Visits', exact: true}).waitFor();
  await tabTo(page, '.visits .feet a');
  await page.keyboard.press('Enter');
  await page.locator('[data-measure]').first().waitFor();
  found.recorded = await numbersOn(page);
  await context.close();
  await server.end();
}

const kScreens = {
  phone: {viewport: {width: 390, height: 844}, hasTouch: true, isMobile: true,
    deviceScaleFactor: 2},
  laptop: {viewport: {width: 1366, height: 768}},
};

async function looksWalk(browser) {
  const server = await serve();
  let address = server.address;
  for (const [screen, options] of Object.entries(kScreens)) {
    for (const colorScheme of ['light', 'dark']) {
      const context = await browser.newContext({...options, colorScheme});
      const page = await context.newPage();
      page.setDefaultTimeout(kPatience);
      listen(page);
      await page.goto(address);
      await page.getByRole('heading', {name: 'The day'}).waitFor();
      const device = await page.evaluate(async () =>
        (await fetch('/api/device')).json());
      address = `${server.origin}/?code=${device.code}`;
      if (screen === 'phone' && colorScheme === 'light') {
        // One visit on its way, so that there is something to check.
        await page.locator('#horse').fill('Juno');
        await page.locator('.begin button').tap();
        await page.locator('#files').setInputFiles(['solar', 'lateral'].map(
          (view) => path.join(photos, `${view}.jpg`)));
        await page.locator('.photo').nth(1).waitFor();
        await kept(page);
      }
      const day = await page.evaluate(async () =>
        (await fetch('/api/day')).json());
      const views = [['day', '#/'], ['device', '#/device']];
      for (const visit of day.unfinished) {
        views.push(['visit', `#/visit/${visit.id}`]);
        for (const foot of visit.feet) {
          views.push(['sole', `#/visit/${visit.id}/${foot.key}/solar`],
            ['side', `#/visit/${visit.id}/${foot.key}/lateral`]);
        }
      }
      const horse = day.horses[0].folder;
      const history = await page.evaluate(async (name) =>
        (await fetch(`/api/horses/${name}`)).json(), horse);
      const last = history.visits[history.visits.length - 1];
      views.push(['horse', `#/horse/${horse}`],
        ['foot', `#/horse/${horse}/${last.date}/` +
          last.feet[last.feet.length - 1].record],
        ['anvil', `#/anvil/${horse}/${last.date}/` +
          last.feet[last.feet.length - 1].record],
        ['owner', `#/owner/${horse}/${last.date}`]);
      for (const [name, at] of views) {
        await page.goto(`${server.origin}/${at}`);
        await page.reload();
        await page.locator('h1').waitFor();
        await page.waitForLoadState('networkidle');
        await page.waitForTimeout(250);
        await look(page, `${name}, ${screen}, ${colorScheme}`);
        await shot(page, `${screen}-${colorScheme}-${name}`);
        await shot(page, `${screen}-${colorScheme}-${name}-whole`, true);
      }
      found.views = views.length;
      await context.close();
    }
  }
  await server.end();
}

async function main() {
  fs.mkdirSync(folder, {recursive: true});
  const browser = await chromium.launch({
    executablePath: '/usr/bin/chromium',
    // In a container root has no sandbox; the page is our own.
    args: ['--no-sandbox', '--disable-gpu', '--disable-dev-shm-usage'],
  });
  try {
    await {touch: touchWalk, keys: keysWalk, looks: looksWalk}[how](browser);
  } catch (error) {
    for (const context of browser.contexts()) {
      for (const page of context.pages()) {
        await shot(page, `${how}-failed`).catch(() => {});
      }
    }
    throw error;
  } finally {
    await browser.close();
    fs.writeFileSync(path.join(folder, 'found.json'),
      JSON.stringify(found, null, 1) + '\n');
  }
}

main().then(() => process.exit(0), (error) => {
  console.error(error);
  process.exit(1);
});
