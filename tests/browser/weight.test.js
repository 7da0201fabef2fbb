// What a page weighs on the wire, and that nothing on it comes from elsewhere: the board is often the only
// host there is.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { Scenes, openBrowser, phone } from './station.js';

// Ten segments of the initial congestion window, RFC 6928; the rest is ours.
const NOW_BYTES = 14_000;
const PAGE_BYTES = 30_000;
const STATES = ['fine', 'alarm', 'two_alarms', 'countdown', 'asked', 'held', 'how_full', 'no_bank', 'blind'];
const PAGES = ['outings', 'outings/30', 'banks', 'banks/1/test', 'banks/1/book', 'banks/1/import', 'bank?bank=Long+six', 'station', 'contacts', 'pair', 'plan',
  'plan?bank.known=Blue+ten&doing=contacts&hours=8&open=stretches',
  'phones'];

let browser;
let served;
before(async () => {
  served = await Scenes.start();
  browser = await openBrowser();
  context = await phone(browser, served);
  page = await context.newPage();
});
after(async () => { await browser?.close(); await served?.stop(); });

let context;
let page;

/** Every request of a page until it rests, with its bytes. */
async function weighed(path) {
  const asked = [];
  const note = (request) => asked.push(request);
  page.on('request', note);
  // What counts is the first visit: a phone that was here before has the style already.
  await (await context.newCDPSession(page)).send('Network.clearBrowserCache');
  const answer = await page.goto(served.url(path), { waitUntil: 'load' });
  assert.equal(answer.status(), 200, path);
  const view = asked.filter((it) => !/\/(live|favicon\.ico)$/.test(new URL(it.url()).pathname));
  const sizes = await Promise.all(view.map((it) => it.sizes()));
  const policy = answer.headers()['content-security-policy'] ?? '';
  await page.waitForTimeout(300);
  const elsewhere = asked.map((it) => it.url()).filter((it) => !it.startsWith(served.url('/')) && !it.startsWith('data:'));
  page.off('request', note);
  return { bytes: sizes.reduce((sum, it) => sum + it.responseBodySize + it.responseHeadersSize, 0), requests: view.length, elsewhere, policy };
}

test('Now comes in one round trip, whatever it has to say', async () => {
  const seen = {};
  for (const state of STATES) seen[state] = await weighed(`/paper/${state}/`);
  console.log(Object.entries(seen).map(([state, it]) => `${state} ${it.bytes}`).join(', '));
  for (const [state, it] of Object.entries(seen)) {
    assert.equal(it.requests, 1, `${state}: one request`);
    assert.ok(it.bytes > 1000 && it.bytes <= NOW_BYTES, `${state}: ${it.bytes} bytes`);
  }
});

test('every other page is light, and nothing comes from elsewhere', async () => {
  const seen = {};
  for (const path of PAGES) seen[path] = await weighed(`/paper/fine/${path}`);
  console.log(Object.entries(seen).map(([path, it]) => `${path} ${it.bytes}`).join(', '));
  for (const [path, it] of Object.entries(seen)) {
    assert.ok(it.bytes > 1000 && it.bytes <= PAGE_BYTES, `${path}: ${it.bytes} bytes`);
    assert.deepEqual(it.elsewhere, [], path);
    // Content Security Policy Level 3, 6.1.1: what is not named comes from nowhere.
    assert.match(it.policy, /default-src 'none'/, path);
    assert.doesNotMatch(it.policy, /unsafe-|https?:|\*/, path);
  }
});
