// The day line: its words stand outside the plot, cover nothing and are crossed by nothing, at the widths
// of phones and in faces of different widths. Measured as the browser lays it out (SVG 2, getBoundingClientRect
// of CSSOM View).

import { after, before, describe, test } from 'node:test';
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { Scenes, openBrowser, phone, pictures } from './station.js';

const DAYS = ['fine', 'day-start', 'day-start-near', 'day-near', 'day-beyond', 'day-long', 'day-ends', 'day-passed',
  'day-passed-long-ago', 'day-blind', 'day-open'];
// The widest and the narrowest.
const FACES = ['DejaVu Sans', 'Roboto'];

let browser;
let served;
before(async () => { browser = await openBrowser(); served = await Scenes.start(); });
after(async () => { await browser?.close(); await served?.stop(); });

/** Boxes of the words, the lines and the plot, px. */
function measured(page) {
  return page.evaluate(() => {
    const box = (e) => { const { left, right, top, bottom } = e.getBoundingClientRect(); return { left, right, top, bottom, says: e.textContent || e.getAttribute('class') }; };
    const line = document.querySelector('svg.line');
    return {
      words: [...line.querySelectorAll('text')].map(box),
      legend: [...document.querySelectorAll('.legend span')].map(box),
      lines: [...line.querySelectorAll('.now, .pole, .half, .tick')].map(box),
      plot: box(line.querySelector('svg')),
      place: box(document.getElementById('day')),
      sizes: [...line.querySelectorAll('text')].map((e) => parseFloat(getComputedStyle(e).fontSize)),
    };
  });
}

const overlap = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

function judged(at, width) {
  const wrong = [];
  for (const word of at.words) {
    if (overlap(word, at.plot)) wrong.push(`${word.says} is in the plot`);
    if (word.left < 0 || word.right > width) wrong.push(`${word.says} leaves the screen`);
    if (word.top < at.place.top - 1 || word.bottom > at.place.bottom + 1) wrong.push(`${word.says} leaves its place`);
    for (const line of at.lines) if (overlap(word, { ...line, left: line.left - 1, right: line.right + 1 })) wrong.push(`${word.says} is crossed by ${line.says}`);
    for (const sign of at.legend) if (overlap(word, sign)) wrong.push(`${word.says} is on ${sign.says}`);
  }
  at.words.forEach((a, i) => at.words.slice(i + 1).forEach((b) => { if (overlap(a, b)) wrong.push(`${a.says} is on ${b.says}`); }));
  for (const sign of at.legend) if (sign.right > width || sign.bottom > at.place.bottom + 1) wrong.push(`${sign.says} leaves its place`);
  if (at.plot.bottom - at.plot.top < 18) wrong.push(`the plot is ${at.plot.bottom - at.plot.top} px high`);
  if (!at.sizes.every((px) => px >= 13.99)) wrong.push(`letters of ${Math.min(...at.sizes)} px`);
  return wrong;
}

describe('the words of the day line', () => {
  for (const width of [390, 320]) {
    for (const scene of DAYS) {
      test(`${scene} at ${width} px`, async () => {
        const context = await phone(browser, served, { width });
        const page = await context.newPage();
        await page.goto(served.url(`/paper/${scene}/`));
        for (const face of FACES) {
          for (const height of [166, 100]) {
            await page.evaluate(([family, px]) => {
              document.body.style.setProperty('font-family', family, 'important');
              document.getElementById('day').style.setProperty('height', `${px}px`, 'important');
            }, [face, height]);
            const at = await measured(page);
            assert.deepEqual(judged(at, width), [], `${scene}, ${face}, ${width} px, ${height} px high`);
            await page.locator('#day').screenshot({ path: join(pictures, `${scene}-${width}-${height}-${face.slice(0, 4)}.png`) });
          }
        }
        await context.close();
      });
    }
  }
});
