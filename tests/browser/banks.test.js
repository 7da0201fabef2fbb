// Banks as a person sees them: another one connected in three taps and taken back, buttons at the same place
// for each bank, drawings of which nothing is crossed or cut off.

import { after, before, describe, test } from 'node:test';
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { BLUE_TEN, LOOKS, PHONE, Scenes, Station, openBrowser, phone, pictures, runAxe, until } from './station.js';

let browser;
before(async () => { browser = await openBrowser(); });
after(async () => { await browser?.close(); });

for (const javaScriptEnabled of [true, false]) {
  test(`another bank is connected in three taps from Now, and taken back in one (scripts: ${javaScriptEnabled})`, async () => {
    const station = await Station.start({ settings: BLUE_TEN });
    try {
      const context = await phone(browser, station, { javaScriptEnabled });
      const page = await context.newPage();
      await page.goto(station.url('/pair'));
      await page.fill('input[name=code]', await station.pin());
      await page.click('main form button');
      await page.goto(station.url('/banks'));
      await page.click('text=Add a bank');
      await page.fill('#new-name', 'Long six');
      await page.fill('#new-mah', '6000');
      await page.fill('#new-volts', '12.8');
      await page.selectOption('#new-cells', 'lifepo4');
      await page.click('text=Add it');
      const chosen = async () => (await station.now()).bank.connected.name;
      const offered = async () => (await station.now()).bank.choices.map((it) => it.name);
      await until(async () => (await offered()).includes('Long six'), 'it is offered');

      await page.goto(station.url('/'));
      let taps = 0;
      const tap = async (where, leads) => { taps += 1; await where.tap(); if (leads) await page.waitForURL(leads); };
      await tap(page.locator('nav a', { hasText: 'Banks' }), '**/banks');
      await tap(page.locator('.bank', { hasText: 'Long six' }).getByRole('button', { name: 'Connect this one' }), '**/bank?bank=*');
      assert.match(await page.textContent('main'), /Blue ten then ends/, 'it says what the change does');
      await tap(page.locator('.answers button').first(), (url) => url.pathname === '/');
      await until(async () => await chosen() === 'Long six', 'the bank is changed');
      assert.ok(taps <= 3, `${taps} taps`);
      await page.goto(station.url('/banks'));
      const first = page.locator('.bank').first();
      assert.match(await first.textContent(), /Long six.*connected now/s, 'the connected one comes first');

      await page.goto(station.url('/'));
      taps = 0;
      await tap(page.getByRole('button', { name: 'Back to Blue ten' }));
      await until(async () => await chosen() === 'Blue ten', 'the change is taken back');
      assert.equal(taps, 1);
      await context.close();
    } finally {
      await station.end();
    }
  });
}

describe('a year on Banks', () => {
  let at;
  before(async () => { at = await Scenes.start(); });
  after(() => at?.stop());

  const shown = async (options, work, path = 'banks') => {
    const context = await phone(browser, at, options);
    const page = await context.newPage();
    await page.goto(at.url(`/${options.look ?? 'paper'}/fine/${path}`));
    await work(page);
    await context.close();
  };

  test('the button that connects stands where the one that charges does, 48 px and more', async () => {
    await shown({}, async (page) => {
      const pairs = await page.evaluate(() => [...document.querySelectorAll('.two')].map((two) => {
        const from = two.getBoundingClientRect();
        return [...two.querySelectorAll('button,.button')].map((e) => {
          const b = e.getBoundingClientRect();
          return [b.x - from.x, b.y - from.y, b.width, b.height].map(Math.round);
        });
      }));
      assert.ok(pairs.length >= 2, 'two banks');
      for (const pair of pairs) {
        assert.equal(pair.length, 2);
        assert.deepEqual(pair.map((b) => b.slice(0, 3)), pairs[0].map((b) => b.slice(0, 3)));
        for (const [, , , high] of pair) assert.ok(high >= 48, `${high} px`);
        assert.ok(pair[1][0] - pair[0][0] - pair[0][2] >= 6 || pair[1][1] > pair[0][1], 'they are apart');
      }
    });
  });

  for (const look of LOOKS) {
    for (const width of [PHONE.width, 320]) {
      test(`letters stand beside the plot and never in each other, ${look}, ${width} px`, async () => {
        await shown({ look, width }, async (page) => {
          const drawn = await page.evaluate(() => [...document.querySelectorAll('svg.years')].map((svg) => {
            const own = svg.getBoundingClientRect();
            const plot = own.x + parseFloat(getComputedStyle(svg).paddingLeft);
            const box = (e) => { const b = e.getBoundingClientRect(); return { what: e.textContent, x: b.x, y: b.y, r: b.right, b: b.bottom }; };
            const ground = svg.querySelector('line.rule[x2="100%"]').getBoundingClientRect().y;
            return { plot, ground, right: own.right, left: own.x, top: own.y, bottom: own.bottom, texts: [...svg.querySelectorAll('text')].map(box) };
          }));
          assert.equal(drawn.length, 4, 'two banks and the hours of each');
          for (const { plot, ground, left, right, bottom, texts } of drawn) {
            assert.ok(texts.length >= 2);
            for (const t of texts) {
              assert.ok(t.x >= left - 1 && t.r <= right + 1 && t.b <= bottom + 1, `'${t.what}' is cut off`);
              assert.ok(t.r <= plot || t.y >= ground - 1, `'${t.what}' stands in the plot`);
            }
            for (const a of texts) {
              for (const b of texts) {
                if (a === b) continue;
                const apart = a.r <= b.x || b.r <= a.x || a.b <= b.y + 3 || b.b <= a.y + 3;
                assert.ok(apart, `'${a.what}' and '${b.what}' lie in each other`);
              }
            }
          }
          const wide = await page.evaluate(() => document.documentElement.scrollWidth);
          assert.ok(wide <= width, `${wide} px wide`);
          await page.screenshot({ path: join(pictures, `year-${look}-${width}.png`), fullPage: true });
          assert.deepEqual(await runAxe(page), []);
        });
      });
    }
  }

  test('every mark of a drawing is in its legend', async () => {
    await shown({}, async (page) => {
      const told = await page.evaluate(() => [...document.querySelectorAll('svg.years')].map((svg) => ({
        whole: svg.querySelectorAll('circle:not(.open)').length,
        atLeast: svg.querySelectorAll('circle.open').length,
        band: svg.querySelectorAll('.ahead').length,
        bars: svg.querySelectorAll('.lasted').length,
        legend: svg.parentElement.querySelector('.legend').textContent,
      })));
      for (const { whole, atLeast, band, bars, legend } of told) {
        assert.equal(whole > 0 || bars > 0, /ran empty/.test(legend));
        assert.equal(atLeast > 0, /at least/.test(legend));
        assert.equal(band > 0, /believed/.test(legend) && /middle/.test(legend));
        assert.equal(bars > 0, /ended before/.test(legend));
      }
    });
  });

  // WCAG 2.2, 1.4.4 (Resize Text): 200 % without loss of content. The letters alone, as a phone's own setting
  // has it.
  test('at twice the letters nothing is cut off', async () => {
    for (const path of ['banks', 'banks/1/test', 'bank?bank=Long+six']) {
      await shown({}, async (page) => {
        await page.evaluate(() => { document.documentElement.style.fontSize = '32px'; });
        const wide = await page.evaluate(() => document.documentElement.scrollWidth);
        assert.ok(wide <= PHONE.width, `${path}: ${wide} px`);
        await page.screenshot({ path: join(pictures, `large-${path.replace(/\W+/g, '-')}.png`), fullPage: true });
      }, path);
    }
  });
});
