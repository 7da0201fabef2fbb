// Plan as a thumb meets it: three taps to a first answer, without scripts; nothing that is tapped moves when the
// answer comes; every width in every look. Scenes of the web tests, real Chromium.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { Scenes, openBrowser, phone, pictures, runAxe } from './station.js';
import { Thumb } from './thumb.js';

const WHOLE = 'plan?bank.known=Blue+ten&doing=contacts&hours=8&at=09:00&ambient_c=10';

let browser;
let served;
before(async () => { browser = await openBrowser(); served = await Scenes.start('paired'); });
after(async () => { await browser?.close(); await served?.stop(); });

/** Boxes of all that is tapped, from the top of the document. */
const boxes = (page) => page.evaluate(() => [...document.querySelectorAll('.pick, .pick a, .go button, .line > summary, nav a')].map((e) => {
  const { left, top, width, height } = e.getBoundingClientRect();
  return [left, top + (e.closest('nav') ? 0 : scrollY), width, height].map(Math.round).join(' ');
}));

const answer = (page) => page.locator('#h-comes').innerText();

async function opened(path, more = {}) {
  const context = await phone(browser, served, more);
  const page = await context.newPage();
  await page.goto(served.url(path));
  return page;
}

test('three taps lead to an answer, without scripts, and nothing moves', async () => {
  const page = await opened('/plan', { javaScriptEnabled: false });
  const thumb = new Thumb(page, { taps: 3 });
  const began = await boxes(page);
  assert.ok(began.length > 20, `${began.length} boxes`);
  for (const words of ['Blue ten', 'mostly contacts', /^8\sh$/]) {
    assert.equal(await answer(page), 'Will it last?');
    await Promise.all([page.waitForNavigation(), thumb.tap(thumb.link(words))]);
    assert.deepEqual(await boxes(page), began, `${words}`);
  }
  assert.match(await answer(page), /\d+ in \d+ to last until \d\d:\d\d\.|^Almost sure|^Will hardly/);
  assert.equal(await page.locator('.ahead-day svg.line').count(), 1);
  await page.context().close();
});

test('whatever the answer is, the button and the parts stand where they stood', async () => {
  const page = await opened('/plan?');
  const began = await boxes(page);
  for (const more of ['hours=4', 'hours=10&at=21:00', 'hours=10&at=13:00&sun.panel_w=20&sun.full_sun_h=3&sun.full_sun_h.to=5', 'hours=8&ambient_c=900', 'hours=8&nonsense=1']) {
    await page.goto(served.url(`/plan?bank.known=Blue+ten&doing=contacts&${more}`));
    const tapped = (await boxes(page)).filter((_, ix) => ix < began.length);
    const open = await page.locator('details[open]').count();
    // A part that is opened moves those after it.
    assert.deepEqual(open ? tapped.slice(0, 15) : tapped, open ? began.slice(0, 15) : began, more);
  }
  await page.context().close();
});

test('the last plan is there again, a change is one tap, and a thumb goes back', async () => {
  const page = await opened('/plan?bank.known=Blue+ten&doing=half&hours=6');
  const first = await answer(page);
  await page.goto(served.url('/plan'));
  assert.equal(await answer(page), first);
  const thumb = new Thumb(page, { taps: 1 });
  await Promise.all([page.waitForNavigation(), thumb.tap(page.locator('a.buy').first())]);
  assert.notEqual(await page.locator('.comes p').innerText(), '');
  assert.match(await answer(page), /last until/);
  await page.context().close();
});

test('a part is opened, filled in and worked out; what cannot be right stays as it was typed', async () => {
  const page = await opened(`/${WHOLE}`);
  const cold = page.locator('#p-cold');
  for (const [typed, shown] of [['900', '900'], ['-5', '-5']]) {
    if (!await cold.evaluate((e) => e.open)) await cold.locator('summary').tap();
    await cold.locator('input[inputmode]').fill(typed);
    await Promise.all([page.waitForNavigation(), cold.locator('button').tap()]);
    assert.ok(await cold.evaluate((e) => e.open), 'it stays open');
    assert.equal(await cold.locator('input[inputmode]').inputValue(), shown);
    const faults = await cold.locator('.bar').allInnerTexts();
    if (typed === '900') {
      assert.match(faults.join(), /-40 to 60/);
      assert.equal(await answer(page), 'Not worked out yet.');
      assert.ok(await page.locator('.go button').isDisabled());
    } else {
      assert.deepEqual(faults, []);
      assert.match(await cold.locator('summary').innerText(), /−5\s°C/);
    }
  }
  await page.context().close();
});

for (const look of ['paper', 'dusk', 'night']) {
  test(`in ${look} it fits every phone, and its button is on the first screen`, async () => {
    for (const width of [390, 360, 320]) {
      const context = await phone(browser, served, { width });
      const page = await context.newPage();
      for (const [name, path] of [['new', 'plan'], ['', WHOLE], ['bad', `${WHOLE}&ambient_c=900&reserve_h=-1`]]) {
        await page.goto(served.url(`/${look}/fine/${path}`));
        const what = `plan ${name} in ${look} at ${width} px`;
        assert.equal(await page.evaluate(() => document.documentElement.scrollWidth), width, what);
        const [button, bar] = await page.evaluate(() => ['.go button', 'nav'].map((it) => document.querySelector(it).getBoundingClientRect().toJSON()));
        assert.ok(button.bottom <= bar.top, `${what}: the button ends at ${button.bottom}, the tabs begin at ${bar.top}`);
        await page.screenshot({ path: join(pictures, `plan${name}-${look}-${width}.png`) });
        assert.deepEqual(await runAxe(page), [], what);
        await page.evaluate(() => document.querySelectorAll('details').forEach((e) => { e.open = true; }));
        assert.equal(await page.evaluate(() => document.documentElement.scrollWidth), width, `${what}, opened`);
        // Letters over the arrow of a select, which is a gradient, axe-core leaves open; they are ink on ground.
        assert.deepEqual(await runAxe(page, ['color-contrast']), [], `${what}, opened`);
      }
      await context.close();
    }
  });
}
