// What a person does with the page: sees it live, pairs, taps, loses the board and finds it again,
// with scripts and without.

import { after, before, test } from 'node:test';
import assert from 'node:assert/strict';
import { BLUE_TEN, Station, openBrowser, phone, until } from './station.js';

let browser;
before(async () => { browser = await openBrowser(); });
after(async () => { await browser?.close(); });

async function withStation(options, body) {
  const station = await Station.start(options);
  try { await body(station); } finally { await station.end(); }
}

const main = (page) => page.textContent('main');

test('the page follows the sensor without being reloaded', async () => {
  await withStation({ settings: BLUE_TEN }, async (station) => {
    const context = await phone(browser, station);
    const page = await context.newPage();
    await page.goto(station.url('/'));
    await until(async () => /3\.\d\s*W/.test(await main(page)), 'the page shows 3.3 W');
    let loads = 0;
    page.on('framenavigated', () => { loads += 1; });
    station.reads(4980, 1210); // 6.03 W
    await until(async () => /6\.\d\s*W/.test(await main(page)), 'the page shows 6.0 W');
    assert.equal(loads, 0);
    await context.close();
  });
});

test('when the board is gone the page says how old its figures are, and heals by itself', async () => {
  await withStation({ settings: BLUE_TEN }, async (station) => {
    const context = await phone(browser, station);
    const page = await context.newPage();
    await page.goto(station.url('/'));
    await station.stop('SIGKILL');
    await until(() => page.evaluate(() => {
      const box = document.getElementById('stale');
      return !box.hidden && /old/.test(box.textContent);
    }), 'it says how old the figures are', 40);
    await station.launch();
    await until(() => page.evaluate(() => document.getElementById('stale').hidden), 'fresh figures again', 60);
    await context.close();
  });
});

test('a phone must be paired once before it can change something', async () => {
  await withStation({ settings: 'station = "Heron"\n' }, async (station) => {
    const context = await phone(browser, station);
    const page = await context.newPage();
    const refused = await context.request.post(station.url('/api/v1/activity'), { data: { name: 'Receive' } });
    assert.ok([401, 403].includes(refused.status()), `${refused.status()} without pairing`);
    await page.goto(station.url('/pair'));
    await page.fill('input[name=code]', '000000');
    await page.click('main form button');
    assert.doesNotMatch(await main(page), /is paired/i);
    await page.goto(station.url('/pair'));
    await page.fill('input[name=code]', await station.pin());
    await page.click('main form button');
    await page.goto(station.url('/'));
    await page.click('text=USB bank, 10'); // the usable default, one tap away
    await until(async () => (await station.now()).bank.connected, 'the bank is taken');
    const cookies = await context.cookies();
    const key = cookies.find((c) => c.httpOnly);
    assert.ok(key && key.sameSite === 'Strict', JSON.stringify(cookies));
    await context.close();
  });
});

test('everything works with scripts switched off', async () => {
  await withStation({ settings: BLUE_TEN }, async (station) => {
    const context = await phone(browser, station, { javaScriptEnabled: false });
    const page = await context.newPage();
    await page.goto(station.url('/pair'));
    await page.fill('input[name=code]', await station.pin());
    await page.click('main form button');
    await page.goto(station.url('/'));
    assert.match(await page.content(), /http-equiv=["']?refresh/);
    await page.click('form[action="/activity"] button >> nth=0');
    await until(async () => (await station.now()).forecast.activities.some((a) => a.current), 'the activity is set');
    await page.goto(station.url('/station'));
    await page.click('button[value=night]');
    await page.goto(station.url('/'));
    assert.equal(await page.getAttribute('html', 'data-look'), 'night');
    await context.close();
  });
});

test('a sensor that is unplugged is said in words, and the forecast goes on', async () => {
  await withStation({ settings: BLUE_TEN }, async (station) => {
    await until(async () => (await station.now()).forecast.remaining_s, 'a forecast', 240);
    const context = await phone(browser, station);
    const page = await context.newPage();
    await page.goto(station.url('/'));
    const { rmSync } = await import('node:fs');
    const { join } = await import('node:path');
    rmSync(join(station.root, 'sys/class/hwmon/hwmon2'));
    rmSync(join(station.root, station.sensor), { recursive: true });
    await until(async () => /silent|gone|vanished|unplugged|does not answer/i.test(await main(page)), 'the page says that the sensor is gone', 30);
    const now = await station.now();
    assert.equal(now.supply.current_a, null);
    assert.ok(now.supply.current_gap, 'with a reason');
    assert.ok(now.forecast.remaining_s, 'the forecast goes on');
    await context.close();
  });
});
