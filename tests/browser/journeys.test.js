// What a person sets out to do with one thumb, each journey from Now, with its taps counted. What came of
// it is asked of the daemon's JSON, not of the page. One short outing in order, played to its end: paired,
// looked at, told, run down, stopped, died, answered for the next morning.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { PlayedBoard, agrees } from './played.js';
import { Radio } from './radio.js';
import { openBrowser, phone, until } from './station.js';
import { Thumb } from './thumb.js';

const MINUTE_S = 60;
const HOUR_S = 3600;
const WEEK_S = 7 * 24 * HOUR_S;

let board;
let browser;
let radio;
let context;
let page;
before(async () => {
  // Charged at home, and brought back a week later.
  board = await PlayedBoard.start('blue_ten', WEEK_S);
  radio = await Radio.open();
  browser = await openBrowser(board.environment);
  context = await phone(browser, { url: (path) => radio.url + path }, { look: 'paper', timezoneId: 'UTC' });
  page = await context.newPage();
  radio.board = board.port;
  await board.do('play', { for_s: 5 });
  const said = await board.do('say', { path: '/api/v1/answer', body: { question: 'since-last', answer: 'charged' } });
  assert.equal(said.status, 204, 'the bank is said to be full');
  await board.do('play', { for_s: 10 * MINUTE_S });
});
after(async () => { await browser?.close(); await radio?.close(); await board?.end(); });

/** Now, as it is opened or looked at. */
async function onNow(most) {
  await page.goto(`${radio.url}/`);
  return new Thumb(page, most);
}

const comesTrue = (holds, what) => until(async () => holds(await board.now()), what, 8);
/** What was tapped is not said to have been lost. */
const sent = async () => assert.doesNotMatch(await page.innerText('main'), /not sent/i);
const current = (now) => now.forecast.activities.find((one) => one.current)?.name;
const get = async (path) => (await context.request.get(radio.url + path)).json();

test('pair: three taps and the code', async () => {
  const thumb = await onNow({ taps: 3, fields: 1 });
  await thumb.tap(thumb.link(/pair/i));
  await thumb.type(page.getByLabel(/code/i), (await board.do('pin')).code);
  await thumb.tap(thumb.button(/pair/i));
  await until(async () => (await context.cookies()).some((one) => one.httpOnly), 'the phone has its key');
  assert.equal((await context.request.post(`${radio.url}/api/v1/finish`, { data: { after_s: null } })).status(), 204, 'it may change something');
});

test('glance: no tap', async () => {
  await onNow({ taps: 0 });
  const now = await board.now();
  const seen = await page.evaluate(() => {
    const below = document.querySelector('nav').getBoundingClientRect().top;
    return [...document.querySelectorAll('#answer h1, #answer p, .tiles button')]
      .filter((e) => e.getBoundingClientRect().bottom <= below).map((e) => e.innerText.replace(/\s+/g, ' '));
  });
  assert.ok(agrees(seen[0], now), `${seen[0]} for ${JSON.stringify(now.forecast.remaining_s)}`);
  assert.ok(seen.some((it) => /safe until \d\d:\d\d/i.test(it)), seen.join(' | '));
  assert.equal(seen.filter((it) => now.forecast.activities.some((one) => it.toLowerCase().includes(one.name.toLowerCase()))).length, 4, seen.join(' | '));
  // The cautious end, of the JSON's own hand: now and the tenth percentile, rounded down by less than its range.
  const safe = seen.join(' ').match(/safe until (\d\d):(\d\d)/i);
  const end = new Date(Date.parse(now.clock.at) + now.forecast.remaining_s.p10 * 1000);
  const late = (Number(safe[1]) * 60 + Number(safe[2])) - (end.getUTCHours() * 60 + end.getUTCMinutes());
  assert.ok(late <= 1 && late >= -Math.max(5, (now.forecast.remaining_s.p90 - now.forecast.remaining_s.p10) / 60 / 4),
    `safe until ${safe[1]}:${safe[2]}, the cautious end is ${end.toISOString()}`);
});

test('activity: one tap', async () => {
  const thumb = await onNow({ taps: 1 });
  const other = (await board.now()).forecast.activities.find((one) => !one.current).name;
  await thumb.tap(thumb.button(new RegExp(other, 'i'), page.locator('.tiles')));
  await comesTrue((now) => current(now) === other, `${other} is what is done`);
  await until(async () => (await thumb.button(new RegExp(other, 'i'), page.locator('.tiles')).getAttribute('aria-pressed')) === 'true', 'the page says so');
  await sent();
});

test('finish: one tap for a newcomer, one to move it, two and a time for an exact one', async () => {
  let thumb = await onNow({ taps: 1 });
  await thumb.tap(thumb.button(/^\d+ h/, page.locator('#finish')));
  const first = await comesTrue((now) => now.forecast.finish_at, 'a finish is set');
  thumb = await onNow({ taps: 1 });
  await thumb.tap(thumb.button(/\+\s*15/, page.locator('#finish')));
  await comesTrue((now) => Date.parse(now.forecast.finish_at) - Date.parse(first) === 900_000, 'a quarter of an hour later');
  await sent();
  thumb = await onNow({ taps: 2, fields: 1 });
  await thumb.tap(page.locator('#finish summary'));
  const at = new Date((await board.now()).clock.at);
  const wanted = `${String((at.getUTCHours() + 1) % 24).padStart(2, '0')}:30`;
  await thumb.type(page.getByLabel(/until/i), wanted);
  await thumb.tap(thumb.button(/^set/i));
  await comesTrue((now) => (now.forecast.finish_at).slice(11, 16) === wanted, `until ${wanted}`);
  assert.equal(new URL(page.url()).pathname, '/', 'in place');
});

test('change bank: three taps, and one to take it back', async () => {
  const thumb = await onNow({ taps: 3 });
  await thumb.tap(thumb.link(/^banks$/i, page.locator('nav')));
  await thumb.tap(thumb.button(/connect this one/i, page.locator('section', { hasText: 'Long six' })));
  await thumb.tap(thumb.button(/full/i, page.locator('main')));
  await comesTrue((now) => now.bank.connected.name === 'Long six', 'Long six is connected');
  const back = await onNow({ taps: 1 });
  await back.tap(back.button(/back to blue ten/i));
  await comesTrue((now) => now.bank.connected.name === 'Blue ten', 'Blue ten again');
});

test('contact log: four taps', async () => {
  const at = new Date((await board.now()).clock.at).toISOString();
  // ADIF 3.1.6, 'ADI File Format'; the call is a placeholder.
  const log = `made up\n<eoh>\n<qso_date:8>${at.slice(0, 10).replaceAll('-', '')}<time_on:4>${at.slice(11, 16).replace(':', '')}`
    + '<call:6>N0CALL<band:3>20M<mode:3>SSB<eor>\n';
  const thumb = await onNow({ taps: 4 });
  await thumb.tap(thumb.link(/^outings$/i, page.locator('nav')));
  await thumb.tap(thumb.link(/contact log/i));
  await thumb.choose(page.locator('input[type=file]'), { name: 'log.adi', mimeType: 'text/plain', buffer: Buffer.from(log) });
  await thumb.tap(thumb.button(/import/i, page.locator('main')));
  await until(async () => /1 contact imported/.test(await page.textContent('main')), 'the page says so');
  const { outings: [outing] } = await get('/api/v1/outings');
  const { report } = await get(`/api/v1/outings/${outing.id}/report`);
  assert.equal(report.contacts?.contacts, 1, JSON.stringify(report).slice(0, 300));
});

test('stop the countdown: one tap', async () => {
  await board.do('play', { for_s: 4 * HOUR_S, until: 'counting' });
  await board.do('play', { for_s: 5 });
  assert.equal((await board.now()).power_off.state, 'counting', 'the bank is near its end');
  const thumb = await onNow({ taps: 1 });
  await thumb.tap(thumb.button(/keep running/i));
  await comesTrue((now) => now.power_off.state === 'stopped' || now.power_off.state === 'watching', 'the board stays on');
});

test('how did it end: two taps, the next morning', async () => {
  await board.do('cut');
  await board.do('boot', { off_s: 9 * HOUR_S });
  radio.board = board.port;
  await board.do('play', { for_s: MINUTE_S });
  const asked = (now) => now.questions.find((one) => one.id === 'how-ended');
  assert.equal(asked(await board.now())?.answered, null, 'nobody has said yet how it ended');
  const thumb = await onNow({ taps: 2 });
  const died = thumb.button(/ran empty/i, page.locator('main'));
  // What stands there first may be more urgent; then the question is behind the strip.
  if (!await died.isVisible()) await thumb.tap(page.locator('#strip summary'));
  await thumb.tap(died);
  await comesTrue((now) => asked(now)?.answered === 'ran-empty', 'it ran empty');
});
