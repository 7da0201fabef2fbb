// A real `outlast` whose hours pass in seconds (played.py), and what a number on a page must say of it.

import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import { top } from './station.js';

const binary = process.env.OUTLAST_PLAYED ?? join(top, 'target', 'seams', 'outlast');
if (!existsSync(binary)) throw new Error(`${binary} is missing: run tests/run browser, which brings it`);

export class PlayedBoard {
  /** `long_six` or `blue_ten`, see played.py; how long it was off before, s. */
  static async start(outing, off_s = 0) {
    const it = new PlayedBoard();
    const script = join(dirname(fileURLToPath(import.meta.url)), 'played.py');
    it.child = spawn('python3', [script, binary, outing], { stdio: ['pipe', 'pipe', 'inherit'] });
    it.lines = createInterface({ input: it.child.stdout })[Symbol.asyncIterator]();
    await it.do('boot', { off_s });
    it.played_s = 0;
    return it;
  }

  /** What played.py can do; what it says of it. */
  async do(what, more = {}) {
    this.child.stdin.write(`${JSON.stringify({ do: what, ...more })}\n`);
    const { value, done } = await this.lines.next();
    if (done) throw new Error(`played.py ended at '${what}'`);
    const said = JSON.parse(value);
    if (said.trouble) throw new Error(said.trouble);
    this.played_s += (more.for_s ?? 0) + (more.off_s ?? 0);
    Object.assign(this, said);
    return said;
  }

  /** What a browser's clock needs to go with this one. */
  get environment() { return { LD_PRELOAD: this.phone_library, PHONE_CLOCK: this.phone_clock }; }

  async now() { return (await fetch(`http://127.0.0.1:${this.port}/api/v1/now`, { headers: { connection: 'close' } })).json(); }

  async end() {
    const gone = new Promise((yes) => this.child.once('exit', yes));
    this.child.stdin.end();
    await gone;
  }
}

/** Minutes of '35 min', '5 h', '13 h 45 left', '3 days 5 h'; null where there is no such number. */
export function minutes(text) {
  const found = text.replace(/\s+/g, ' ').match(/^(?:(\d+) days? ?)?(?:(\d+) h ?(\d+)?)?(?:(\d+) min)?/);
  if (!found?.[0]) return null;
  const [days, hours, past, alone] = found.slice(1).map((part) => Number(part ?? 0));
  return days * 1440 + hours * 60 + past + alone;
}

/** Whether a text is what the daemon's own JSON leaves, but for rounding (a fifth of the range at most). */
export function agrees(text, now) {
  const all = [...now.forecast.possibilities.map((one) => one.remaining_s), now.forecast.remaining_s].filter(Boolean);
  const said = minutes(text);
  if (!all.length || said === null) return !all.length && said === null;
  const least = all.reduce((a, b) => (a.p50 <= b.p50 ? a : b));
  return Math.abs(said - least.p50 / 60) <= Math.max(2, (least.p90 - least.p10) / 60 / 5);
}
