// SPDX-License-Identifier: Apache-2.0
//
// Looks at a page with Debian's Chromium, axe-core and html-validate.
//
//   node look.js PAGE.html FOLDER
//
// Writes narrow.png (360 x 800), wide.png (1280 wide), printed.pdf and
// found.json into FOLDER:
//   invalid     what html-validate finds against the HTML standard
//   violations  of axe-core's rules, in the narrow and in the wide window
//   rules       how many of them were put to the page
//   overflow    [px] that a window of 360 has to be scrolled sideways by
//   outside     elements that reach out of that window
//   small       letters below 12 px there
//   asked       what the page asked for besides itself
'use strict';
const fs = require('fs');
const path = require('path');
const {pathToFileURL} = require('url');
const axe = require('axe-core');
const {HtmlValidate} = require('html-validate');
const puppeteer = require('puppeteer-core');

const kChromium = '/usr/bin/chromium';

async function validate(file) {
  const judge = new HtmlValidate({
    extends: ['html-validate:standard', 'html-validate:document'],
    rules: {
      // A matter of taste: the standard has the doctype in any case.
      'doctype-style': 'off',
    },
  });
  const report = await judge.validateFile(file);
  return report.results.flatMap(
    (result) => result.messages.map(
      (m) => `${m.line}:${m.column} ${m.ruleId}: ${m.message}`));
}

async function checkAccess(page, found, window) {
  await page.evaluate(axe.source);
  const result = await page.evaluate(() => globalThis.axe.run(document));
  found.rules = Math.max(found.rules, result.passes.length);
  for (const violation of result.violations) {
    found.violations.push(`${window}: ${violation.id}: ${violation.help}: ` +
        violation.nodes.map((node) => node.html.slice(0, 200)).join(' | '));
  }
  for (const open of result.incomplete) {
    found.undecided.push(`${window}: ${open.id}: ` +
        open.nodes.map((node) => node.html.slice(0, 200)).join(' | '));
  }
}

function measureNarrow() {
  // Not the page's own idea of the window: without its meta element a
  // telephone takes 980 pixels and shows everything tiny.
  const wide = 360;
  const outside = [];
  let small = 0;
  for (const element of document.querySelectorAll('body *')) {
    const box = element.getBoundingClientRect();
    // What is clipped away is for screen readers only.
    if (box.width <= 1 || element.closest('thead')) continue;
    if (box.right > wide + 0.5 || box.left < -0.5) {
      outside.push(`${element.tagName} ${box.left} to ${box.right}`);
    }
    const says = [...element.childNodes].some(
      (node) => node.nodeType === Node.TEXT_NODE && node.data.trim());
    if (says && parseFloat(getComputedStyle(element).fontSize) < 12) ++small;
  }
  return {
    overflow: document.documentElement.scrollWidth - wide,
    outside,
    small,
  };
}

async function main(file, folder) {
  const found = {
    invalid: await validate(file),
    violations: [],
    undecided: [],
    rules: 0,
    asked: [],
  };
  const profile = fs.mkdtempSync(path.join(folder, 'profile-'));
  const browser = await puppeteer.launch({
    executablePath: kChromium,
    userDataDir: profile,
    // In a container root has no sandbox; the page is our own.
    args: ['--no-sandbox', '--disable-gpu', '--disable-dev-shm-usage'],
  });
  try {
    const page = await browser.newPage();
    page.on('request', (request) => {
      const url = request.url();
      if (!url.startsWith('data:') && url !== pathToFileURL(file).href) {
        found.asked.push(url);
      }
    });
    await page.setViewport({width: 360, height: 800, isMobile: true,
                            hasTouch: true, deviceScaleFactor: 2});
    await page.goto(pathToFileURL(file).href, {waitUntil: 'load'});
    Object.assign(found, await page.evaluate(measureNarrow));
    await checkAccess(page, found, 'narrow');
    await page.screenshot({path: path.join(folder, 'narrow.png')});
    await page.screenshot({path: path.join(folder, 'narrow-whole.png'),
                           fullPage: true});
    await page.setViewport({width: 1280, height: 900});
    await page.reload({waitUntil: 'load'});
    await checkAccess(page, found, 'wide');
    await page.screenshot({path: path.join(folder, 'wide.png'),
                           fullPage: true});
    await page.pdf({path: path.join(folder, 'printed.pdf'),
                    preferCSSPageSize: true, printBackground: false});
  } finally {
    await browser.close();
    fs.rmSync(profile, {recursive: true, force: true});
  }
  fs.writeFileSync(path.join(folder, 'found.json'),
                   JSON.stringify(found, null, 1) + '\n');
}

main(...process.argv.slice(2)).catch((error) => {
  console.error(error);
  process.exitCode = 1;
});
