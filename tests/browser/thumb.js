// One thumb: every tap and every field typed is counted, and one too many fails.

import assert from 'node:assert/strict';

export class Thumb {
  constructor(page, { taps, fields = 0 }) { Object.assign(this, { page, taps, fields, done: [] }); }

  /** What is tapped must be seen and keep still, and nothing may lie over it. */
  async tap(what) {
    assert.ok(this.taps > 0, `a tap too many: ${[...this.done, what]}`);
    this.taps -= 1;
    this.done.push(`${what}`);
    try {
      await what.tap({ timeout: 5000 });
    } catch (error) {
      const there = await this.page.locator('button:visible, a:visible, summary:visible').allInnerTexts();
      throw new Error(`${what} cannot be tapped; there are: ${there.map((it) => it.replace(/\s+/g, ' ')).join(' | ')}`, { cause: error });
    }
  }

  async type(where, text) {
    assert.ok(this.fields > 0, `a field too many: ${[...this.done, where]}`);
    this.fields -= 1;
    this.done.push(`${where}`);
    await where.fill(text);
  }

  /** A file is chosen in the phone's own dialogue: the tap that opens it is ours. */
  async choose(where, file) {
    const [dialogue] = await Promise.all([this.page.waitForEvent('filechooser'), this.tap(where)]);
    await dialogue.setFiles(file);
  }

  button(words, of = this.page) { return of.getByRole('button', { name: words }).first(); }

  link(words, of = this.page) { return of.getByRole('link', { name: words }).first(); }
}
