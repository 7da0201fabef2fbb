// The README's pictures, taken of the demonstration at phone width: Now, an alarm at night, a report.

import { join } from 'node:path';
import { Station, phone, until } from './station.js';

/** Each with the part of the demonstration's day that it shows; the look; the page; what is tapped first. */
const PICTURES = [
  { name: 'now', look: 'paper', path: '/', shows: (now) => now.forecast?.verdict === 'enough' && now.up_s > 9000 },
  { name: 'alarm-night', look: 'night', path: '/', part: 3, shows: (now) => now.alarms?.some((a) => a.about === 'running_out') },
  { name: 'report', look: 'paper', path: '/outings/1', part: 6, shows: (now) => now.questions?.some((q) => q.id === 'how-ended'),
    taps: [['/answer', { question: 'since-last', answer: 'charged' }], ['/outings/1/ending', { died: 'yes' }]] },
];

const partOf = async (demo) => Number(/Part (\d) of/.exec(await (await fetch(demo.url('/station'))).text())?.[1]);

const tap = (demo, path, form) => fetch(demo.url(path), { method: 'POST', body: new URLSearchParams(form) });

/** On to that part of the day, by the page's own button. */
async function skipTo(demo, part) {
  await until(async () => {
    if (await partOf(demo).catch(() => 0) === part) return true;
    await tap(demo, '/demo', { ask: 'next' }).catch(() => {});
    return false;
  }, `part ${part} of the demonstration`, 240);
}

/** Takes them all into this folder; `settled` is given each page before its picture is taken. */
export async function takePictures(browser, folder, settled = () => {}) {
  const demo = await Station.start({ args: ['--demo'], board: false, kept: false });
  try {
    for (const { name, look, path, part, shows, taps = [] } of PICTURES) {
      if (part) await skipTo(demo, part);
      await until(async () => shows(await demo.now()), `what ${name}.png shows`, 240);
      for (const [to, form] of taps) await tap(demo, to, form);
      const context = await phone(browser, demo, { look });
      const page = await context.newPage();
      await page.goto(demo.url(path));
      await settled(page, name);
      await page.screenshot({ path: join(folder, `${name}.png`) });
      await context.close();
    }
  } finally {
    await demo.end();
  }
  return PICTURES.map(({ name }) => `${name}.png`);
}
