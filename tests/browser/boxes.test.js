// Where things stand on Now, measured: the number at one place and of one size in every state, nothing
// that moves under a thumb when alarms come and go, every text of the number within the narrowest phone
// in three typefaces, all that a glance needs on the first screen.

import { after, before, describe, test } from 'node:test';
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { Radio } from './radio.js';
import { FACES, Scenes, openBrowser, phone, pictures, until } from './station.js';

// The states of Now in which there is a number.
const STATES = ['fine', 'newcomer', 'one_alarm', 'two_alarms', 'two_hours', 'ten_minutes', 'countdown', 'kept', 'perhaps_at_its_end',
  'asked', 'swapped', 'no_clock', 'no_sensor', 'held', 'long_names'];
// Every length of the one number, and what stands in its place.
const NUMBERS = ['at_its_end', 'one_minute', 'minutes', 'hours', 'many_hours', 'days', 'many_days', 'beyond_a_month', 'fine', 'asked',
  'swapped', 'how_full', 'too_soon', 'expected', 'blind', 'not_draining', 'no_bank', 'unsure'];
// Two phones by their CSS pixels; a browser's own bars leave the second about this much.
const SCREENS = [{ width: 390, height: 844 }, { width: 360, height: 740 }];

let browser;
let served;
let radio;
let context;
let page;
before(async () => {
  served = await Scenes.start('paired');
  radio = await Radio.open();
  radio.board = served.port;
  browser = await openBrowser();
});
after(async () => { await browser?.close(); await radio?.close(); await served?.stop(); });

async function opened(path, screen = SCREENS[0]) {
  await context?.close();
  context = await phone(browser, { url: (it) => radio.url + it }, { viewport: screen });
  page = await context.newPage();
  await page.goto(radio.url + path);
}

/** Boxes on the screen of what a list of selectors finds, by its words. */
const boxes = (...selectors) => page.evaluate((list) => Object.fromEntries(list.flatMap((css) =>
  [...document.querySelectorAll(css)].filter((e) => e.checkVisibility({ visibilityProperty: true })).map((e, ix) => {
    const { left, top, width, height } = e.getBoundingClientRect();
    return [`${css} ${ix}`, [left, top, width, height].map((it) => Math.round(it * 64) / 64)];
  }))), selectors);

/** Boxes that are where they were, to half a pixel: nobody sees less. */
function unmoved(now, then, when) {
  const moved = Object.keys({ ...now, ...then }).filter((name) => !now[name]?.every((it, ix) => Math.abs(it - then[name]?.[ix]) < 0.5));
  assert.deepEqual(moved.map((name) => `${name}: ${then[name]} -> ${now[name]}`), [], `moved ${when}`);
}

const show = async (state) => {
  const answer = await fetch(`${radio.url}/show/${state}`);
  assert.equal(answer.status, 204, `the scene ${state}`);
};

test('the number has one place and one size in every state', async () => {
  const seen = {};
  for (const state of STATES) {
    await opened(`/paper/${state}/`);
    const at = await boxes('#answer h1', '#strip');
    seen[state] = { number: at['#answer h1 0'].slice(1).filter((_, ix) => ix !== 1), strip: at['#strip 0'].filter((_, ix) => ix % 2) };
    await page.screenshot({ path: join(pictures, `now-${state}.png`) });
  }
  radio.off();
  await until(() => page.evaluate(() => /heard/i.test(document.title)), 'the page says that it hears nothing', 20);
  const at = await boxes('#answer h1', '#strip');
  seen.gone = { number: at['#answer h1 0'].slice(1).filter((_, ix) => ix !== 1), strip: at['#strip 0'].filter((_, ix) => ix % 2) };
  await page.screenshot({ path: join(pictures, 'now-gone.png') });
  radio.on();
  for (const state of Object.keys(seen)) assert.deepEqual(seen[state], seen.fine, `${state}: top and height of number and strip`);
});

describe('nothing moves under the thumb', () => {
  const TOUCHED = ['#doing .tiles button', '#finish button', '#finish summary', 'nav a'];
  const COME = ['one_alarm', 'two_alarms', 'two_hours', 'ten_minutes', 'fine', 'blind', 'held', 'fine'];

  for (const [where, scrolled] of [['at the top', 0], ['scrolled down', 220]]) {
    test(`while alarms come and go, ${where}`, async () => {
      await show('fine');
      await opened('/');
      // Every shift that a person has not caused is told by the browser: WICG, Layout Instability, section 2.
      await page.evaluate((y) => {
        window.shifts = [];
        scrollTo(0, y);
        new PerformanceObserver((list) => {
          for (const shift of list.getEntries())
            for (const { node, previousRect: a, currentRect: b } of shift.sources)
              window.shifts.push(`${node?.outerHTML?.slice(0, 70) ?? node?.textContent}: ${[a.x, a.y, a.width, a.height]} -> ${[b.x, b.y, b.width, b.height]}`);
        }).observe({ type: 'layout-shift' });
      }, scrolled);
      const before = await boxes(...TOUCHED);
      assert.ok(Object.keys(before).length >= 4 + 3 + 4, JSON.stringify(Object.keys(before)));
      for (const state of COME) {
        const parts = () => page.evaluate(() => ['strip', 'answer', 'held'].map((id) => document.getElementById(id)?.innerHTML).join());
        const was = await parts();
        await show(state);
        await until(async () => (await parts()) !== was, `${state} on the page`);
        await page.evaluate(() => new Promise((go) => { requestAnimationFrame(() => requestAnimationFrame(go)); }));
        unmoved(await boxes(...TOUCHED), before, `when ${state} comes`);
      }
      assert.deepEqual(await page.evaluate(() => window.shifts), [], 'shifts that the browser saw');
    });
  }

  test('a countdown comes where nothing could be tapped but the finish, and tiles stay', async () => {
    await show('fine');
    await opened('/');
    const tiles = ['#doing .tiles button', 'nav a'];
    const before = await boxes(...tiles);
    const finish = await boxes('#finish button', '#finish summary');
    for (const state of ['countdown', 'kept', 'countdown', 'fine']) {
      const block = () => page.evaluate(() => document.getElementById('off').innerHTML);
      const was = await block();
      await show(state);
      await until(async () => (await block()) !== was, `the block of ${state}`);
      await page.evaluate(() => new Promise((go) => { requestAnimationFrame(() => requestAnimationFrame(go)); }));
      unmoved(await boxes(...tiles), before, `when ${state} comes`);
      // A thumb on its way to the finish must not hit what switches off.
      const buttons = await boxes('#off button');
      for (const [name, [left, top, width, height]] of Object.entries(buttons)) {
        for (const [other, [l, t, w, h]] of Object.entries({ ...before, ...finish })) {
          const apart = left + width <= l || l + w <= left || top + height <= t || t + h <= top;
          assert.ok(apart, `${name} of ${state} lies where ${other} was`);
        }
      }
    }
    unmoved(await boxes('#finish button', '#finish summary'), finish, 'when all is well again');
  });

  test('the block of a countdown keeps its place and size when it is kept', async () => {
    await show('countdown');
    await opened('/');
    const before = await page.evaluate(() => document.querySelector('#off').getBoundingClientRect().toJSON());
    await show('kept');
    await until(async () => /kept/i.test(await page.textContent('#off')), 'the block says that it is kept');
    const box = await page.evaluate(() => document.querySelector('#off').getBoundingClientRect().toJSON());
    assert.deepEqual(box, before);
  });
});

describe('what a glance needs stands on the first screen', () => {
  const NEEDED = ['#strip', '#answer h1', '#answer .range', '#answer .verdict', '#finish', '#doing .tiles button:nth-child(1)',
    '#doing .tiles button:nth-child(2)', '#doing .tiles button:nth-child(3)', '#doing .tiles button:nth-child(4)'];
  for (const screen of SCREENS) {
    for (const state of ['fine', 'one_alarm', 'two_hours', 'held', 'long_names']) {
      test(`${state} at ${screen.width} × ${screen.height}`, async () => {
        await opened(`/paper/${state}/`, screen);
        const hidden = await page.evaluate((list) => list.filter((css) => {
          const box = document.querySelector(css)?.getBoundingClientRect();
          if (!box?.height) return true;
          // Every corner is on the screen, and nothing lies over it.
          return [[box.left + 3, box.top + 3], [box.right - 3, box.bottom - 3]].some(([x, y]) => {
            const there = document.elementFromPoint(x, y);
            return !there || !(document.querySelector(css).contains(there) || there.contains(document.querySelector(css)));
          });
        }), NEEDED);
        assert.deepEqual(hidden, []);
        const nav = await page.evaluate(() => document.querySelector('nav').getBoundingClientRect().toJSON());
        const low = await page.evaluate((list) => Math.max(...list.map((css) => document.querySelector(css).getBoundingClientRect().bottom)), NEEDED);
        assert.ok(low <= nav.top, `down to ${low}, the tabs begin at ${nav.top}`);
      });
    }
  }
});

/** In the page: what of its texts does not fit in this typeface, for a message. */
function misfits([face, bottom]) {
  // A sheet made by script: the page's own policy rightly refuses a style that is written into it.
  const sheet = new CSSStyleSheet();
  sheet.replaceSync(`*{font-family:"${face}"!important}`);
  document.adoptedStyleSheets = [sheet];
  const width = document.documentElement.clientWidth;
  const range = document.createRange();
  const text = (e) => { range.selectNodeContents(e); return range.getBoundingClientRect(); };
  const shown = (css) => [...document.querySelectorAll(css)].filter((e) => e.checkVisibility({ visibilityProperty: true }));
  const said = (e) => `'${e.innerText.replace(/\s+/g, ' ').slice(0, 60)}'`;
  const out = shown('main :not(.away):not(:has(*)), nav a').filter((e) => e.innerText?.trim() && (text(e).left < 0 || text(e).right > width + 0.5));
  // Whole in the strip or one tap away; anything else that is cut off is lost.
  const cut = shown('#answer *, #finish *, #doing *, #strip p, #strip p *')
    .filter((e) => getComputedStyle(e).overflowX !== 'visible' && e.scrollWidth > e.clientWidth + 1);
  const number = document.querySelector('#answer h1');
  const big = number.querySelector('b') ?? number;
  const tabs = shown('nav a').filter((e) => text(e).right > e.getBoundingClientRect().right + 0.5 || e.getBoundingClientRect().right > width + 0.5);
  const low = Math.round(document.querySelector('nav').getBoundingClientRect().bottom) - bottom;
  return [
    !getComputedStyle(big).fontFamily.includes(face) && 'the face is not in force',
    document.documentElement.scrollWidth > width && `the page is ${document.documentElement.scrollWidth} px wide`,
    out.length && `beyond the edge: ${out.map(said)}`, cut.length && `cut off: ${cut.map(said)}`,
    number.classList.contains('big') && text(big).height > 1.6 * parseFloat(getComputedStyle(big).fontSize) && 'the number is broken in two',
    tabs.length && `tabs cut: ${tabs.map(said)}`, low > 0 && `the tabs end ${low} px below the screen`,
  ].filter(Boolean);
}

test('every text of the number fits in three typefaces at 320, 360 and 390 px', async (t) => {
  const wrong = Object.fromEntries(FACES.map((face) => [face, []]));
  await opened('/paper/fine/');
  const widths = await page.evaluate((faces) => faces.map((face) => {
    const pen = document.createElement('canvas').getContext('2d');
    pen.font = `800 72px "${face}", monospace`;
    return pen.measureText('13 h 45').width;
  }), FACES);
  // Three faces, three widths: none of them is stood in for by another.
  assert.equal(new Set(widths).size, FACES.length, `${FACES}: ${widths} px; tests/run browser brings them`);
  for (const state of NUMBERS) {
    await opened(`/paper/${state}/`, { width: 320, height: 740 });
    for (const width of [320, 360, 390]) {
      await page.setViewportSize({ width, height: 740 });
      for (const face of FACES) {
        const bad = await page.evaluate(misfits, [face, 740]);
        if (bad.length) wrong[face].push(`${width} px, ${state}: ${bad.join('; ')}`);
      }
    }
  }
  for (const face of FACES) await t.test(`in ${face}`, () => assert.deepEqual(wrong[face], []));
});

test('after a silence that nobody told of, every word is of now again', async () => {
  await show('fine');
  await opened('/');
  // Not the time itself: that goes on.
  const words = async () => [await page.innerText('#answer h1 span'), (await page.innerText('#answer .verdict')).slice(0, 5), await page.innerText('#doing h2')];
  const before = await words();
  radio.silent();
  try {
    await until(() => page.evaluate(() => document.getElementById('now').classList.contains('gone')), 'the board is given up', 25);
    assert.notDeepEqual(await words(), before, 'the words are of then');
  } finally {
    radio.on();
  }
  await until(() => page.evaluate(() => !document.getElementById('now').classList.contains('old')), 'the board is heard', 20);
  assert.deepEqual(await words(), before);
});

test('a tap while the board is gone says that it is not sent, and keeps the figures', async () => {
  await show('fine');
  await opened('/');
  const number = await page.innerText('#answer h1 b');
  radio.off();
  try {
    await until(() => page.evaluate(() => /heard/i.test(document.title)), 'the page says that it hears nothing', 20);
    for (const css of ['#doing .tiles button >> nth=0', '#finish button >> nth=0', '#doing .tiles button >> nth=2']) {
      await page.tap(css);
      await until(async () => /not sent/i.test(await page.innerText('main')), `${css} says that nothing is sent`, 7);
      assert.equal(page.url(), `${radio.url}/`, 'the page is still there');
      assert.equal(await page.innerText('#answer h1 b'), number, 'and so is the number');
    }
    await page.screenshot({ path: join(pictures, 'now-not-sent.png') });
  } finally {
    radio.on();
  }
});
