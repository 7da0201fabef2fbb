// The report of an outing in a real browser: the page at phone width, the single file with the
// network off, and on paper.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
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
    taps: [...document.querySelectorAll('form,button,.button,nav,summary,select')].filter((e) => e.checkVisibility()).map((e) => e.outerHTML.slice(0, 60)),
    table: document.querySelector('table').checkVisibility(),
  }));
  assert.deepEqual(seen, { ground: 'rgb(255, 255, 255)', ink: 'rgb(0, 0, 0)', taps: [], table: true });
  await context.close();
});
