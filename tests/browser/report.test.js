// The report of an outing in a real browser: the page at phone width, the single file with the
// network off, and on paper.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { get } from 'node:http';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { LOOKS, PHONE, Station, openBrowser, phone, pictures, runAxe, until } from './station.js';

let browser;
let station;
before(async () => {
  browser = await openBrowser();
  // A demonstration that keeps its record: hours pass in seconds.
  station = await Station.start({ args: ['--demo', '--demo-speed', '600'], board: false });
  await until(async () => {
    const told = await fetch(station.url('/api/v1/outings/1/report'));
    return told.ok && (await told.json()).lasted_s > 10_000;
  }, 'hours of record', 120);
});
after(async () => { await browser?.close(); await station?.end(); });

for (const look of LOOKS) {
  test(`a report of hours fits a phone in ${look}`, async () => {
    for (const width of [PHONE.width, 320]) {
      const context = await phone(browser, station, { look, width });
      const page = await context.newPage();
      await page.goto(station.url('/outings/1'));
      assert.match(await page.textContent('main'), /Where the energy went/);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= width, `${wide} px wide on a ${width} px screen`);
      await page.screenshot({ path: join(pictures, `report-${look}-${width}.png`), fullPage: true });
      assert.deepEqual(await runAxe(page), [], `${look}/${width}`);
      await context.close();
    }
  });
}

/** Boxes of what can be seen: of words, and of shapes. */
const boxes = (page) => page.evaluate(() => {
  const words = [...document.querySelectorAll('.over > *, .axis text, .read, .says > span, .opening, summary > *, figure ~ p')];
  const shapes = [...document.querySelectorAll('svg.plot')];
  const box = (it) => {
    const { left, right, top, bottom } = it.getBoundingClientRect();
    return { left, right, top, bottom, what: it.textContent.slice(0, 40) || it.className.baseVal };
  };
  const seen = (all) => all.filter((it) => it.checkVisibility()).map(box);
  return { words: seen(words), shapes: seen(shapes) };
});

const cross = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 0.5
  && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.5;

// CSS 2.2 section 10.8: a line of text is a box of its own; where two cross, letters may.
test('no word of a drawing crosses another, or a shape', async () => {
  for (const width of [PHONE.width, 320]) {
    const context = await phone(browser, station, { look: 'paper', width });
    const page = await context.newPage();
    await page.goto(station.url('/outings/1'));
    await page.evaluate(() => { for (const line of document.querySelectorAll('details.line')) line.open = true; });
    const { words, shapes } = await boxes(page);
    assert.ok(shapes.length >= 4 && words.length > 20, `${shapes.length} shapes, ${words.length} words`);
    const crossed = words.flatMap((a, ix) => [...words.slice(ix + 1), ...shapes]
      .filter((b) => cross(a, b)).map((b) => `${a.what} x ${b.what}`));
    assert.deepEqual(crossed, [], `at ${width} px`);
    const inPlots = await page.evaluate(() => document.querySelectorAll('svg.plot text').length);
    assert.equal(inPlots, 0, 'letters stand outside the plots');
    await context.close();
  }
});

test('three sentences and the day come first, the rest is a line each', async () => {
  const context = await phone(browser, station, { look: 'paper' });
  const page = await context.newPage();
  await page.goto(station.url('/outings/1'));
  const seen = await page.evaluate(() => {
    const of = (name) => [...document.querySelectorAll(name)];
    return {
      sentences: of('.opening').map((it) => [it.textContent, parseFloat(getComputedStyle(it).fontSize)]),
      open: of('details.line[open]').length,
      lines: of('details.line > summary').map((it) => it.getBoundingClientRect().height),
      day: document.querySelector('figure').getBoundingClientRect().top,
      high: document.documentElement.scrollHeight,
    };
  });
  assert.ok(seen.sentences.length >= 2 && seen.sentences.length <= 3, JSON.stringify(seen.sentences));
  for (const [said, px] of seen.sentences) assert.ok(px >= 19 && said.endsWith('.'), `${said} ${px}`);
  assert.equal(seen.open, 0, 'folded');
  assert.ok(seen.lines.length >= 6 && seen.lines.every((high) => high >= 48), String(seen.lines));
  assert.ok(seen.day < PHONE.height / 2, `the drawing begins at ${seen.day} px`);
  assert.ok(seen.high <= 2.4 * PHONE.height, `${seen.high} px are ${(seen.high / PHONE.height).toFixed(1)} screens`);
  await context.close();
});

test('a touch reads what the record says of that time', async () => {
  const context = await phone(browser, station, { look: 'paper' });
  const page = await context.newPage();
  await page.goto(station.url('/outings/1'));
  const told = await (await fetch(station.url('/api/v1/outings/1/report'))).json();
  const strips = await page.locator('.strips').boundingBox();
  const before = await page.locator('figcaption').boundingBox();
  const reads = new Set();
  for (const part of [0.2, 0.5, 0.8]) {
    await page.touchscreen.tap(strips.x + part * strips.width, strips.y + 40);
    const said = await page.textContent('.read');
    const [, hour, minute, watts] = said.match(/^(\d\d):(\d\d) (?:about )?([\d.]+)\u00a0W/) ?? assert.fail(said);
    // The minute said, as seconds since the outing began (RFC 3339 times carry their offset).
    const [, h, m, s] = told.began_at.match(/T(\d\d):(\d\d):(\d\d)/).map(Number);
    const from = ((hour - h) * 60 + (minute - m)) * 60 - s;
    const from_s = ((from % 86400) + 86400) % 86400;
    const ask = `/api/v1/outings/1/series?channels=power_w&points=40&from_s=${Math.max(0, from_s - 10)}&to_s=${from_s + 200}`;
    const { channels: { power_w: seen } } = await (await fetch(station.url(ask))).json();
    const [least, most] = [Math.min(...seen.min.filter((w) => w !== null)), Math.max(...seen.max.filter((w) => w !== null))];
    assert.ok(watts >= least - 0.06 && watts <= most + 0.06, `${said}: the record has ${least} to ${most} W`);
    const x = await page.evaluate(() => document.querySelector('.cursor').getBoundingClientRect().left);
    assert.ok(Math.abs(x - (strips.x + part * strips.width)) < 4, `the line stands at ${x}`);
    reads.add(said);
  }
  assert.equal(reads.size, 3);
  assert.deepEqual(await page.locator('figcaption').boundingBox(), before, 'nothing has moved');
  // WCAG 2.2 SC 2.1.1: by keyboard too.
  const said = await page.textContent('.read');
  await page.locator('.axes input').press('ArrowLeft');
  assert.notEqual(await page.getAttribute('.axes input', 'aria-valuetext'), said);
  await context.close();
  const plain = await phone(browser, station, { look: 'paper', javaScriptEnabled: false });
  const still = await plain.newPage();
  await still.goto(station.url('/outings/1'));
  assert.equal(await still.locator('.axes input').isVisible(), false);
  assert.equal(await still.locator('svg.tall').first().isVisible(), true);
  await plain.close();
});

/** Bytes on the wire, as a browser asks for them. */
const weight = (path) => new Promise((yes, no) => {
  get(station.url(path), { headers: { 'accept-encoding': 'gzip' } }, (got) => {
    let bytes = 0;
    got.on('data', (piece) => { bytes += piece.length; });
    got.on('end', () => yes(bytes));
  }).on('error', no);
});

test('a report weighs at most 30 kB, with all that it needs', async () => {
  const html = await (await fetch(station.url('/outings/1'))).text();
  const needs = [...html.matchAll(/(?:href|src)=(\/look\/[^ >]+)/g)].map((it) => it[1]);
  assert.equal(needs.length, 3, String(needs));
  const bytes = await Promise.all(['/outings/1', ...needs].map(weight));
  const all = bytes.reduce((sum, it) => sum + it);
  assert.ok(all <= 30_000, `${bytes} are ${all} bytes`);
});

// ISO 32000-1 section 7.7.3.3: each page is an object of the type Page.
const pagesOf = (pdf) => pdf.toString('latin1').match(/\/Type\s*\/Page[^s]/g).length;

test('a report is two pages of A4, and no heading is parted from what it heads', async () => {
  const context = await browser.newContext({ viewport: PHONE });
  const page = await context.newPage();
  await page.goto(station.url('/outings/1'));
  const pdf = await page.pdf({ path: join(pictures, 'report-page.pdf'), format: 'A4' });
  assert.equal(pagesOf(pdf), 2);
  await page.emulateMedia({ media: 'print' });
  const whole = await page.evaluate(() => [...document.querySelectorAll('.lines .columns > *, figure, tr')]
    .filter((it) => it.checkVisibility() && getComputedStyle(it).breakInside !== 'avoid').map((it) => it.outerHTML.slice(0, 60)));
  assert.deepEqual(whole, []);
  await context.close();
});

test('the single file asks for nothing, runs nothing, and can be printed', async () => {
  const got = await fetch(station.url('/outings/1.html'));
  assert.equal(got.headers.get('content-disposition'), 'attachment; filename="outing-1.html"');
  const file = join(pictures, 'report.html');
  writeFileSync(file, await got.text());
  const context = await browser.newContext({ viewport: PHONE, offline: true });
  const page = await context.newPage();
  const asked = [];
  const complaints = [];
  page.on('request', (r) => asked.push(r.url()));
  page.on('console', (m) => complaints.push(m.text()));
  page.on('pageerror', (e) => complaints.push(String(e)));
  await page.goto(pathToFileURL(file).href, { waitUntil: 'networkidle' });
  assert.deepEqual(asked, [pathToFileURL(file).href]);
  assert.deepEqual(complaints, [], 'its own policy lets its own style in');
  const wide = await page.evaluate(() => document.documentElement.scrollWidth);
  assert.ok(wide <= PHONE.width, `${wide} px wide`);
  // The style is in force: without it a table is not as wide as the page.
  const table = await page.evaluate(() => document.querySelector('table').getBoundingClientRect().width);
  assert.ok(table > PHONE.width * 0.8, `the table is ${table} px wide`);
  // The policy holds even against what somebody writes into the file.
  const ran = await page.evaluate(() => {
    const script = document.createElement('script');
    script.textContent = 'window.ran = true';
    document.body.append(script);
    return window.ran === true;
  });
  assert.equal(ran, false);
  const pdf = await page.pdf({ path: join(pictures, 'report.pdf'), format: 'A4' });
  assert.equal(pdf.subarray(0, 5).toString(), '%PDF-', 'ISO 32000-1, 7.5.2');
  assert.equal(pagesOf(pdf), 2);
  await context.close();
});

test('the printed page has paper colours and no buttons, whatever the look', async () => {
  const context = await phone(browser, station, { look: 'night' });
  const page = await context.newPage();
  await page.goto(station.url('/outings/1'));
  await page.emulateMedia({ media: 'print' });
  const seen = await page.evaluate(() => ({
    ground: getComputedStyle(document.body).backgroundColor,
    ink: getComputedStyle(document.body).color,
    taps: [...document.querySelectorAll('form,button,.button,nav,summary,select')].filter((e) => e.checkVisibility() && !e.matches('.line > summary')).map((e) => e.outerHTML.slice(0, 60)),
    table: document.querySelector('table').checkVisibility(),
  }));
  assert.deepEqual(seen, { ground: 'rgb(255, 255, 255)', ink: 'rgb(0, 0, 0)', taps: [], table: true });
  await context.close();
});
