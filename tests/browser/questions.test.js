// What only the operator knows: the questions in every look, and a phone that answers one, sees it
// take effect, changes the answer and takes it back, with scripts and without.

import { after, before, describe, test } from 'node:test';
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { BLUE_TEN, LOOKS, PHONE, Scenes, Station, openBrowser, phone, pictures, runAxe, until } from './station.js';

let browser;
before(async () => { browser = await openBrowser(); });
after(async () => { await browser?.close(); });

describe('in every look', () => {
  const SHOWN = [['asked', ''], ['swapped', ''], ['held', ''], ['bank_changed', ''], ['how_full', ''],
    ['held', 'answer/swapped'], ['how_full', 'answer/how-full'], ['fine', 'bank?bank=Long+six'],
    ['fine', 'station'], ['fine', 'banks/2/test'], ['held', 'outings/30']];
  let at;
  before(async () => { at = await Scenes.start(); });
  after(() => at?.stop());

  for (const look of LOOKS) {
    for (const [scene, path] of SHOWN) {
      test(`${scene} /${path} in ${look}`, async () => {
        for (const width of [PHONE.width, 320]) {
          const context = await phone(browser, at, { look, width });
          const page = await context.newPage();
          const complaints = [];
          page.on('pageerror', (e) => complaints.push(String(e)));
          await page.goto(at.url(`/${look}/${scene}/${path}`));
          const wide = await page.evaluate(() => document.documentElement.scrollWidth);
          assert.ok(wide <= width, `${wide} px wide on a ${width} px screen`);
          const name = `question-${scene}-${path.replace(/\W+/g, '-')}-${look}-${width}`;
          await page.screenshot({ path: join(pictures, `${name}.png`) });
          const heights = (css) => page.evaluate((list) => [...document.querySelectorAll(list)]
            .filter((e) => e.checkVisibility())
            .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().height]), css);
          const low = (await heights('.answers button')).filter(([, h]) => h < 60);
          assert.deepEqual(low, [], 'answers are for cold thumbs');
          const small = (await heights('button,select,summary,a.tap,.choice')).filter(([, h]) => h < 44);
          assert.deepEqual(small, [], 'everything else is 44 px at least');
          assert.deepEqual(await runAxe(page), [], name);
          assert.deepEqual(complaints, [], name);
          await context.close();
        }
      });
    }
  }
});

const part = (page, id) => page.locator(`#${id}`).textContent();

async function paired(station, options) {
  const context = await phone(browser, station, options);
  const page = await context.newPage();
  await page.goto(station.url('/pair'));
  await page.fill('input[name=code]', await station.pin());
  await page.click('main form button');
  return page;
}

for (const javaScriptEnabled of [true, false]) {
  const how = javaScriptEnabled ? 'with scripts' : 'without scripts';

  test(`how full it was is said, seen, changed and taken back ${how}`, async () => {
    const station = await Station.start({ settings: BLUE_TEN });
    try {
      const page = await paired(station, { javaScriptEnabled });
      const level = async () => (await station.now()).questions.find((q) => q.id === 'how-full');
      await until(level, 'how full it was is taken for given');
      await page.goto(station.url('/'));
      assert.match(await part(page, 'held'), /Blue ten began full\. Nobody has said otherwise\./);
      for (const [label, answer] of [['2 of 4 lamps', '0.375'], ['3 of 4 lamps', '0.625']]) {
        await page.click('#held a[href="/answer/how-full"]');
        await page.click(`main button:has-text("${label}")`);
        // It stands on the page that the tap leads to, at once.
        assert.match(await part(page, 'held'), new RegExp(`Blue ten began at ${label}\\. You said so\\.`));
        assert.equal((await level()).answered, answer);
      }
      await page.click('#held a[href="/answer/how-full"]');
      assert.equal(await page.locator('main button[aria-pressed=true]').count(), 1);
      await page.click('text=Undo');
      assert.match(await part(page, 'held'), /Blue ten began full\. Nobody has said otherwise\./);
      await page.context().close();
    } finally {
      await station.end();
    }
  });

  test(`another bank is asked about before it is taken, and taken back with one tap ${how}`, async () => {
    const station = await Station.start({ settings: BLUE_TEN });
    try {
      const page = await paired(station, { javaScriptEnabled });
      await page.goto(station.url('/station'));
      // The connected bank says so, and does nothing.
      assert.equal(await page.locator('#bank .tile').textContent().then((t) => /Blue ten.*connected now/s.test(t)), true);
      assert.equal(await page.locator('#bank .tile button, #bank button.tile').count(), 0);
      const other = await page.locator('#bank .tiles button').first().getAttribute('value');
      const name = async () => (await station.now()).bank.connected?.name;
      await page.click('#bank .tiles button >> nth=0');
      assert.match(await page.textContent('main'), /The outing on Blue ten then ends/);
      assert.equal(await name(), 'Blue ten', 'nothing is changed by asking');
      await page.click('main button[value=full]');
      assert.equal(await name(), other);
      assert.match(await part(page, 'asked'), /Changed by mistake\?/);
      await page.click('#asked >> text=Back to Blue ten');
      await until(async () => (await name()) === 'Blue ten', 'the bank before is back', 5);
      // With scripts the page changes in place, a moment later.
      await until(async () => (await part(page, 'asked')).trim() === '', 'the question goes', 5);
      await page.context().close();
    } finally {
      await station.end();
    }
  });
}

test('a phone that is not paired cannot answer', async () => {
  const station = await Station.start({ settings: BLUE_TEN });
  try {
    const context = await phone(browser, station);
    await until(async () => (await station.now()).questions.length, 'something is taken for given');
    const before = (await station.now()).questions;
    const got = await context.request.post(station.url('/api/v1/answer'), { data: { question: 'how-full', answer: '0.375' } });
    assert.equal(got.status(), 403);
    const page = await context.newPage();
    await page.goto(station.url('/answer/how-full'));
    await page.click('main button[value="0.375"]');
    assert.match(await page.textContent('main'), /Pair this phone first/);
    assert.deepEqual((await station.now()).questions, before);
    await context.close();
  } finally {
    await station.end();
  }
});

test('nothing is replaced under a finger', async () => {
  const station = await Station.start({ settings: BLUE_TEN });
  try {
    const page = await paired(station);
    await page.goto(station.url('/'));
    await until(async () => /3\.\d\s*W/.test(await part(page, 'more')), 'the page is live');
    // The events of a finger that rests on the page for a while, whatever lies under it.
    const finger = (kind) => page.evaluate((it) => {
      document.querySelector('#doing button').dispatchEvent(new PointerEvent(it, { bubbles: true, pointerType: 'touch' }));
    }, kind);
    await finger('pointerdown');
    await page.evaluate(() => { window.under = document.querySelector('#more dd'); });
    station.reads(4980, 1210);
    await until(async () => (await station.now()).supply.power_w > 5, 'the board reads 6 W');
    await new Promise((go) => setTimeout(go, 4000));
    assert.ok(await page.evaluate(() => window.under.isConnected), 'held still while touched');
    await finger('pointerup');
    await until(async () => /4\.98\s*V/.test(await part(page, 'more')), 'what was held back comes', 10);
    await page.context().close();
  } finally {
    await station.end();
  }
});
