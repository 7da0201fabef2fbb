// A phone that can be put to sleep: the browser is led over its own debugging pipe, because a driver
// that keeps every page in front (focus emulation) never lets one be hidden. Hidden and frozen come and
// go as the page life cycle has them (WICG, Page Lifecycle), with the browser's own events.

import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { PHONE, browserPath, until } from './station.js';

export class WakingPhone {
  static async open(env) {
    const it = new WakingPhone();
    it.dir = mkdtempSync(join(tmpdir(), 'outlast-phone-'));
    it.child = spawn(browserPath, ['--headless', '--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking',
      '--disable-component-update', '--disable-sync', '--remote-debugging-pipe', `--user-data-dir=${it.dir}`, 'about:blank'],
    { env: { ...process.env, TZ: 'UTC', ...env }, stdio: ['ignore', 'ignore', 'ignore', 'pipe', 'pipe'] });
    it.waiting = new Map();
    it.last = 0;
    it.complaints = [];
    it.loads = 0;
    let rest = '';
    it.child.stdio[4].on('data', (piece) => {
      const lines = (rest + piece).split('\0');
      rest = lines.pop();
      for (const line of lines) it.#hear(JSON.parse(line));
    });
    ({ targetId: it.target } = await it.#send('Target.createTarget', { url: 'about:blank' }));
    ({ sessionId: it.session } = await it.#send('Target.attachToTarget', { targetId: it.target, flatten: true }));
    ({ windowId: it.window } = await it.#send('Browser.getWindowForTarget', { targetId: it.target }));
    for (const domain of ['Page', 'Runtime', 'Performance']) await it.send(`${domain}.enable`);
    await it.send('Emulation.setDeviceMetricsOverride', { ...PHONE, deviceScaleFactor: 2, mobile: true });
    await it.send('Emulation.setTouchEmulationEnabled', { enabled: true });
    return it;
  }

  #send(method, params = {}, sessionId = undefined) {
    const id = this.last += 1;
    return new Promise((yes, no) => {
      this.waiting.set(id, [yes, no]);
      this.child.stdio[3].write(`${JSON.stringify({ id, method, params, sessionId })}\0`);
    });
  }

  #hear({ id, result, error, method, params }) {
    if (method === 'Page.frameNavigated') this.loads += 1;
    if (method === 'Runtime.exceptionThrown') this.complaints.push(params.exceptionDetails.exception?.description ?? params.exceptionDetails.text);
    const [yes, no] = this.waiting.get(id) ?? [];
    this.waiting.delete(id);
    if (error) no?.(new Error(JSON.stringify(error))); else yes?.(result);
  }

  /** One command of the debugging protocol to the page. */
  send(method, params) { return this.#send(method, params, this.session); }

  /** What a function gives in the page. */
  async run(body, ...args) {
    const { result, exceptionDetails: wrong } = await this.send('Runtime.evaluate', {
      expression: `(${body})(...${JSON.stringify(args)})`, returnByValue: true, awaitPromise: true,
    });
    if (wrong) throw new Error(wrong.exception?.description ?? wrong.text);
    return result.value;
  }

  async goto(url) {
    await this.send('Page.navigate', { url });
    await until(() => this.run((at) => location.href === at && document.readyState === 'complete', url), `${url} is loaded`);
    this.loads = 0;
  }

  /** Screen off: hidden, then frozen. */
  async sleep() {
    await this.#send('Browser.setWindowBounds', { windowId: this.window, bounds: { windowState: 'minimized' } });
    await until(() => this.run(() => document.hidden), 'the page is hidden');
    await this.send('Page.setWebLifecycleState', { state: 'frozen' });
  }

  /** Screen on: thawed, then seen. */
  async wake() {
    await this.send('Page.setWebLifecycleState', { state: 'active' });
    await this.#send('Browser.setWindowBounds', { windowId: this.window, bounds: { windowState: 'normal' } });
  }

  /** What the page holds in memory when all that can go has gone. */
  async holds() {
    await this.send('HeapProfiler.collectGarbage');
    const { metrics } = await this.send('Performance.getMetrics');
    const of = (name) => metrics.find((one) => one.name === name).value;
    return { heap: of('JSHeapUsedSize'), nodes: of('Nodes'), listeners: of('JSEventListeners') };
  }

  async picture() {
    return Buffer.from((await this.send('Page.captureScreenshot')).data, 'base64');
  }

  async close() {
    const gone = new Promise((yes) => this.child.once('exit', yes));
    await this.#send('Browser.close').catch(() => this.child.kill());
    await gone;
    rmSync(this.dir, { recursive: true, force: true });
  }
}
