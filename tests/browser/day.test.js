// A page that stays open for twelve hours: the phone sleeps, contact is lost in both of its ways, the
// program is killed and started again, the board boots anew. The hours are played (tests/seams), what is
// looked at is looked at in real time, every 25 ms. At no moment an old figure looks like a fresh one.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { PlayedBoard, agrees, minutes } from './played.js';
import { Radio } from './radio.js';
import { pictures, until } from './station.js';
import { WakingPhone } from './waking.js';

const HOUR_S = 3600;
// A delay below which a person takes an answer for immediate is 100 ms, one that keeps the flow of
// thought is 1 s (R. B. Miller, AFIPS FJCC 1968; Card, Robertson, Mackinlay, CHI 1991). 300 ms: ours.
const AT_ONCE_MS = 300;
// Nothing comes and nobody says so: two refreshes of 2 s and a delay; ours.
const SILENT_MS = 15_000;

let board;
let radio;
let phone;
let fresh;

before(async () => {
  board = await PlayedBoard.start('long_six');
  radio = await Radio.open();
  radio.board = board.port;
  await play(600);
  phone = await WakingPhone.open(board.environment);
  await phone.goto(`${radio.url}/`);
  await phone.run(watch);
});
after(async () => { await phone?.close(); await radio?.close(); await board?.end(); });

/** In the page: what a person sees, looked at for as long as the page is open. */
function watch() {
  window.seen = [];
  window.shownAt = 0;
  const look = () => {
    const number = document.querySelector('#answer h1');
    const style = getComputedStyle(number.querySelector('b') ?? number);
    let opacity = 1;
    for (let e = number; e; e = e.parentElement) opacity *= getComputedStyle(e).opacity;
    const told = document.body.innerText.match(/(?:last heard|not heard since)\D{0,6}(\d\d:\d\d)/i);
    window.seen.push({
      at: performance.now(), number: number.innerText, title: document.title, told: told && told[1],
      manner: [style.color, style.webkitTextStrokeWidth, opacity].join(' '),
    });
  };
  document.addEventListener('visibilitychange', () => { if (!document.hidden) window.shownAt = performance.now(); });
  setInterval(look, 25);
  look();
}

async function play(for_s) {
  await board.do('play', { for_s });
  radio.board = board.port;
}

async function restarted(how, off_s) {
  if (how === 'start') await play(off_s);
  await board.do(how, how === 'boot' ? { off_s } : {});
  radio.board = board.port;
}

/** What was seen since a moment of the page's own clock. */
const since = (from) => phone.run((start) => window.seen.filter((one) => one.at >= start), from);
const lately = () => phone.run(() => window.seen.at(-1));
const moment = () => phone.run(() => { window.seen = window.seen.slice(-1); return performance.now(); });

const looksFresh = (one) => one.manner === fresh.manner && !one.told;
const looksOld = (one) => one.manner !== fresh.manner && one.told && /heard/i.test(one.title) && minutes(one.title) === null;

/** Fresh figures stand there, without a reload, and nothing looked fresh before that was not. */
async function freshWithin(ms, from) {
  await until(async () => {
    const one = await lately();
    return looksFresh(one) && agrees(one.number, await board.now());
  }, 'the page shows what the board says', ms / 1000);
  const now = await board.now();
  for (const one of await since(from)) {
    assert.ok(looksOld(one) || (looksFresh(one) && agrees(one.number, now)),
      `neither old by its looks nor fresh by its number, ${Math.round(one.at - from)} ms on: ${JSON.stringify(one)}; ${JSON.stringify(now.forecast.remaining_s)}`);
  }
  assert.ok(radio.streams <= 1, `${radio.streams} live views of one page`);
  assert.equal(phone.loads, 0, 'the page was not loaded anew');
}

/** Loses the board; what times of day it may have been heard at last, by its own clock. */
async function lost(how) {
  const before = Date.parse((await board.now()).clock.at);
  await how();
  const after = board.port ? Date.parse((await board.now()).clock.at) : board.wall_s * 1000;
  // What was shown then was at most two refreshes of 2 s old.
  const times = [];
  for (let at = before - 4000; at <= after + 1000; at += 1000) times.push(new Date(at).toISOString().slice(11, 16));
  return times;
}

/** The page says since when it has heard nothing, and its figures look it. */
async function oldWithin(ms, from, heard) {
  await until(async () => looksOld(await lately()), 'the page says that it has heard nothing', ms / 1000 + 2);
  const all = await since(from);
  const late = all.filter((one) => one.at > from + ms).find((one) => !looksOld(one));
  assert.ok(!late, `still ${JSON.stringify(late)}`);
  for (const one of all.filter(looksOld)) assert.ok(heard.includes(one.told), `last heard ${one.told}, not ${[...new Set(heard)]}`);
}

const photograph = async (name) => writeFileSync(join(pictures, `day-${name}.png`), await phone.picture());

test('twelve hours with the page open', { timeout: 240_000 }, async (t) => {
  let first;

  await t.test('two hours go by on it', async () => {
    fresh = await lately();
    assert.equal(fresh.told, null);
    assert.ok(agrees(fresh.number, await board.now()), `${fresh.number} at the start`);
    first = await phone.holds();
    await play(2 * HOUR_S);
    const from = await moment();
    await freshWithin(4000, from + 3000);
  });

  await t.test('the phone sleeps for three hours and wakes beside the board', async () => {
    await phone.sleep();
    radio.off();
    await play(3 * HOUR_S);
    radio.on();
    await phone.wake();
    const shown = await until(() => phone.run(() => !document.hidden && window.shownAt), 'the page is seen');
    await freshWithin(15_000, shown + AT_ONCE_MS);
  });

  await t.test('the phone sleeps for an hour and wakes out of reach', async () => {
    const heard = await lost(async () => { await phone.sleep(); radio.off(); });
    await play(HOUR_S);
    await phone.run(() => { window.shownAt = 0; });
    await phone.wake();
    const shown = await until(() => phone.run(() => !document.hidden && window.shownAt), 'the page is seen');
    await new Promise((go) => setTimeout(go, 1500));
    await photograph('out-of-reach');
    try { await oldWithin(0, shown + AT_ONCE_MS, heard); } finally { radio.on(); }
    const from = await moment();
    await freshWithin(15_000, from);
  });

  await t.test('the connection ends for half an hour', async () => {
    const from = await moment();
    const heard = await lost(() => radio.off());
    let back;
    try {
      await oldWithin(1000, from, heard);
      await play(HOUR_S / 2);
      await oldWithin(1000, from, heard);
    } finally {
      back = await moment();
      radio.on();
    }
    await freshWithin(15_000, back);
  });

  await t.test('nothing comes for twenty minutes, and nobody says so', async () => {
    const from = await moment();
    const heard = await lost(() => radio.silent());
    let back;
    try {
      await oldWithin(SILENT_MS, from, heard);
      await play(HOUR_S / 3);
    } finally {
      back = await moment();
      radio.on();
    }
    await freshWithin(15_000, back + AT_ONCE_MS);
  });

  await t.test('the program is killed, and started again in the same boot', async () => {
    const heard = await lost(() => board.do('kill'));
    const from = await moment();
    try { await oldWithin(1000, from, heard); } finally { await restarted('start', 20); }
    await freshWithin(20_000, from + 1000);
  });

  await t.test('the power is cut, and the board boots anew', async () => {
    const heard = await lost(() => board.do('cut'));
    const from = await moment();
    try { await oldWithin(1000, from, heard); } finally { await restarted('boot', 300); }
    await freshWithin(20_000, from + 1000);
  });

  await t.test('the rest of the day goes by, and the page has not grown', async () => {
    await play(12 * HOUR_S - board.played_s);
    const from = await moment();
    await freshWithin(4000, from + 3000);
    await phone.run(() => { window.seen = []; });
    const last = await phone.holds();
    console.log(`after ${(board.played_s / HOUR_S).toFixed(1)} h: ${JSON.stringify(first)} -> ${JSON.stringify(last)}`);
    assert.ok(last.heap < first.heap * 1.5 + 500_000, `${first.heap} -> ${last.heap} bytes of scripts' memory`);
    assert.ok(last.nodes < first.nodes * 1.5 + 200, `${first.nodes} -> ${last.nodes} nodes`);
    assert.ok(last.listeners <= first.listeners * 1.5 + 10, `${first.listeners} -> ${last.listeners} listeners`);
    assert.deepEqual(phone.complaints, []);
    await photograph('evening');
  });
});
