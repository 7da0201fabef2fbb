// Starts a real `outlast` on an invented board, opens a real browser as a phone, stops both.
// The board is a folder of files shaped like the kernel's: one INA219 behind a USB bank.

import assert from 'node:assert/strict';
import { spawn } from 'node:child_process';
import { mkdtempSync, mkdirSync, readFileSync, writeFileSync, symlinkSync, rmSync, existsSync } from 'node:fs';
import { createRequire } from 'node:module';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

export const top = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
export const pictures = join(top, 'target', 'screens');
mkdirSync(pictures, { recursive: true });

const binary = process.env.OUTLAST ?? join(top, 'target', 'release', 'outlast');
const scenes = process.env.SCENES ?? join(top, 'target', 'release', 'examples', 'scenes');
export const browserPath = process.env.CHROMIUM ?? '/usr/bin/chromium';
for (const needed of [binary, scenes, browserPath]) {
  if (!existsSync(needed)) throw new Error(`${needed} is missing: run tests/run browser, which brings it`);
}

const axe = createRequire(import.meta.url).resolve('axe-core/axe.min.js');

/** System faces of phones and desktops: DejaVu Sans is the widest. tests/run installs them. */
export const FACES = ['DejaVu Sans', 'Noto Sans', 'Roboto'];
export const LOOKS = ['paper', 'dusk', 'night'];
export const PHONE = { width: 390, height: 844 };

export class Station {
  static async start({ settings = '', args = [], board = true, kept = true } = {}) {
    const s = new Station();
    s.dir = mkdtempSync(join(tmpdir(), 'outlast-browser-'));
    s.root = join(s.dir, 'root');
    mkdirSync(s.root);
    if (board) s.layBoard();
    writeFileSync(join(s.dir, 'settings.toml'), settings);
    s.port = await freePort();
    s.args = ['run', '--settings', join(s.dir, 'settings.toml'), ...(kept ? ['--state', join(s.dir, 'state')] : []),
      '--listen', `127.0.0.1:${s.port}`, ...(board ? ['--sysroot', s.root] : []), ...args];
    await s.launch();
    return s;
  }

  async launch() {
    this.said = '';
    this.child = spawn(binary, this.args, {
      env: { PATH: process.env.PATH, HOME: this.dir, XDG_RUNTIME_DIR: this.dir, TMPDIR: this.dir },
    });
    for (const out of [this.child.stdout, this.child.stderr]) out.on('data', (d) => { this.said += d; });
    const gone = new Promise((_, no) => this.child.once('exit', (code) => no(new Error(`outlast ended (${code}):\n${this.said}`))));
    gone.catch(() => {});
    await Promise.race([gone, until(() => fetch(this.url('/api/v1/now')).then((r) => r.ok, () => false), 'the page is served')]);
  }

  url(path) { return `http://127.0.0.1:${this.port}${path}`; }

  async now() { return (await fetch(this.url('/api/v1/now'))).json(); }

  /** The pairing code, as the person reads it in the terminal. */
  async pin() {
    return new Promise((yes, no) => {
      const cli = spawn(binary, ['pin'], { env: { PATH: process.env.PATH, HOME: this.dir, XDG_RUNTIME_DIR: this.dir } });
      let out = '';
      cli.stdout.on('data', (d) => { out += d; });
      cli.once('exit', (code) => {
        const found = out.match(/\b\d{4} \d{4} \d{4}\b/);
        if (code === 0 && found) yes(found[0]); else no(new Error(`outlast pin ended with ${code}: ${out}`));
      });
    });
  }

  async stop(signal = 'SIGTERM') {
    if (this.child.exitCode !== null || this.child.signalCode !== null) return;
    const ended = new Promise((yes) => this.child.once('exit', yes));
    this.child.kill(signal);
    await ended;
  }

  async end() {
    await this.stop();
    rmSync(this.dir, { recursive: true, force: true });
  }

  put(path, text) {
    const file = join(this.root, path);
    mkdirSync(dirname(file), { recursive: true });
    writeFileSync(file, text);
  }

  // Formats: kernel documentation, hwmon sysfs interface (mV, mA, m°C) and proc(5).
  layBoard() {
    const chip = 'sys/devices/platform/soc/fe804000.i2c/i2c-1/1-0040';
    this.sensor = `${chip}/hwmon/hwmon2`;
    this.put('proc/device-tree/model', 'Raspberry Pi 4 Model B Rev 1.4\0');
    this.put('proc/device-tree/compatible', 'raspberrypi,4-model-b\0brcm,bcm2711\0');
    this.put('proc/device-tree/system/linux,revision', Buffer.from([0x00, 0xc0, 0x31, 0x14]));
    this.put('proc/stat', 'cpu  4705 150 1120 16250 520 0 45 0 0 0\n');
    this.put('proc/uptime', '228.45 655.20\n');
    this.put('proc/sys/kernel/random/boot_id', '5f0f5d0e-1111-4222-8333-0123456789ab\n');
    this.put('sys/class/thermal/thermal_zone0/type', 'cpu-thermal\n');
    this.put('sys/class/thermal/thermal_zone0/temp', '49660\n');
    this.put('run/systemd/timesync/synchronized', '');
    this.put(`${chip}/name`, 'ina219\n');
    this.put(`${this.sensor}/name`, 'ina219\n');
    this.put(`${this.sensor}/shunt_resistor`, '100000\n');
    this.reads(5120, 640);
    mkdirSync(join(this.root, 'sys/class/hwmon'), { recursive: true });
    mkdirSync(join(this.root, 'sys/bus/i2c/devices'), { recursive: true });
    mkdirSync(join(this.root, 'sys/bus/i2c/drivers/ina2xx'), { recursive: true });
    symlinkSync('../../../1-0040', join(this.root, `${this.sensor}/device`));
    symlinkSync(`../../${this.sensor.slice(4)}`, join(this.root, 'sys/class/hwmon/hwmon2'));
    symlinkSync('../../../../../../bus/i2c/drivers/ina2xx', join(this.root, `${chip}/driver`));
    symlinkSync(`../../../${chip.slice(4)}`, join(this.root, 'sys/bus/i2c/devices/1-0040'));
  }

  /** What the sensor reads from now on. */
  reads(millivolt, milliampere) {
    this.put(`${this.sensor}/in0_input`, `${Math.round(milliampere / 10)}\n`);
    this.put(`${this.sensor}/in1_input`, `${millivolt}\n`);
    this.put(`${this.sensor}/curr1_input`, `${milliampere}\n`);
    this.put(`${this.sensor}/power1_input`, `${Math.round(millivolt * milliampere / 20000) * 20000}\n`);
  }
}

/** The invented scenes of the web tests, served: `/LOOK/SCENE/PAGE`. */
export class Scenes {
  /** `'paired'`: as a paired phone sees them. */
  static async start(...words) {
    const s = new Scenes();
    s.port = await freePort();
    s.child = spawn(scenes, [String(s.port), ...words], { stdio: 'ignore' });
    await until(() => fetch(s.url('/paper/fine/')).then((r) => r.ok, () => false), 'the scenes are served');
    return s;
  }

  url(path) { return `http://127.0.0.1:${this.port}${path}`; }

  async stop() { this.child.kill(); }
}

export const BLUE_TEN = `station = "Heron"

[bank]
name = "Blue ten"
cells = "li-ion"
series = 1
label_mah = 10000
label_v = 3.7
measured_at = "output"
`;

/** `environment`: what the browser needs besides, as `PlayedBoard` has it. */
export async function openBrowser(environment = {}) {
  return chromium.launch({
    executablePath: browserPath,
    env: { ...process.env, ...environment },
    args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
      '--disable-component-update', '--disable-sync'],
  });
}

/** A phone in one of the looks; `width` 320 is the narrowest that must work. */
export async function phone(browser, station, { look, width = PHONE.width, ...more } = {}) {
  const context = await browser.newContext({
    viewport: { width, height: PHONE.height }, deviceScaleFactor: 2, hasTouch: true, isMobile: true, ...more,
  });
  context.setDefaultTimeout(30_000);
  if (look) await context.addCookies([{ name: 'look', value: look, url: station.url('/') }]);
  return context;
}

/**
 * What axe-core finds wrong and what it cannot decide. It is put in through the debugging protocol: the page's own
 * policy rightly refuses it.
 */
export async function runAxe(page, without = []) {
  await page.evaluate(readFileSync(axe, 'utf8'));
  const result = await page.evaluate(async (off) => {
    // A page that was changed by its live view while it was looked at is looked at again.
    let changed;
    let found;
    new MutationObserver(() => { changed = true; }).observe(document.body, { childList: true, subtree: true });
    for (let look = 0; look < 10; look += 1) {
      changed = false;
      found = await window.axe.run(document, {
        runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
        rules: Object.fromEntries(off.map((id) => [id, { enabled: false }])),
      });
      if (!changed) return found;
    }
    return found;
  }, without);
  assert.ok(result.passes.length > 5, 'axe-core looked at the page');
  const open = result.incomplete.find((it) => it.id === 'color-contrast');
  if (open) {
    const pale = new Set(await page.evaluate(paleLetters, open.nodes.map((it) => it.target[0])));
    open.nodes = open.nodes.filter((it) => pale.has(it.target[0]));
    if (open.nodes.length === 0) result.incomplete = result.incomplete.filter((it) => it !== open);
  }
  const said = (what) => (v) => `${what}${v.id}: ${v.nodes.map((n) => n.html.slice(0, 160)).join(' | ')}`;
  return [...result.violations.map(said('')), ...result.incomplete.map(said('undecided '))];
}

/**
 * axe-core takes every drawing for a picture and leaves its letters open. Ours stand on the page's ground, outside the
 * shapes: decided here by WCAG 2.2, 'relative luminance' and 'contrast ratio', SC 1.4.3. Runs in the page; returns those
 * of these places that stay open: no letters of a drawing, or too pale.
 */
function paleLetters(places) {
  const parts = (colour) => colour.match(/[\d.]+/g).slice(0, 3).map((it) => it / 255);
  const linear = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
  const light = (colour) => parts(colour).map(linear).reduce((sum, part, ix) => sum + part * [0.2126, 0.7152, 0.0722][ix], 0);
  const ground = light(getComputedStyle(document.body).backgroundColor);
  return places.filter((place) => {
    const letters = document.querySelector(place);
    if (!letters?.matches('svg text')) return true;
    const ink = light(getComputedStyle(letters).fill);
    return (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05) < 4.5;
  });
}

/** Polls until `holds` says so; a test that waits for ever says for what. */
export async function until(holds, what, seconds = 20) {
  const end = Date.now() + seconds * 1000;
  for (;;) {
    const got = await holds();
    if (got) return got;
    if (Date.now() > end) throw new Error(`after ${seconds} s still not: ${what}`);
    await new Promise((go) => setTimeout(go, 100));
  }
}

function freePort() {
  return new Promise((yes, no) => {
    const server = createServer();
    server.once('error', no);
    server.listen(0, '127.0.0.1', () => { const { port } = server.address(); server.close(() => yes(port)); });
  });
}
