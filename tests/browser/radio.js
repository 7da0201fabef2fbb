// What lies between phone and board: bytes go through as they come, until contact is lost in one of the
// two ways that it is lost in: the connection ends, or nothing comes any more and nobody says so.

import { connect, createServer } from 'node:net';

export class Radio {
  static async open() {
    const it = new Radio();
    it.pairs = new Set();
    it.state = 'on';
    it.server = createServer((phone) => it.#join(phone));
    await new Promise((yes) => it.server.listen(0, '127.0.0.1', yes));
    return it;
  }

  get url() { return `http://127.0.0.1:${this.server.address().port}`; }

  #join(phone) {
    if (this.state === 'off' || !this.board) {
      phone.destroy();
      return;
    }
    const board = connect(this.board, '127.0.0.1');
    const pair = { phone, board, streams: false };
    this.pairs.add(pair);
    phone.on('data', (piece) => { if (/^GET \/live /m.test(piece)) pair.streams = true; });
    phone.pipe(board);
    board.pipe(phone);
    for (const end of [phone, board]) {
      end.on('error', () => {});
      end.on('close', () => { phone.destroy(); board.destroy(); this.pairs.delete(pair); });
      if (this.state === 'silent') end.pause();
    }
  }

  /** Live views that are open. */
  get streams() { return [...this.pairs].filter((pair) => pair.streams).length; }

  /** Every connection ends, and no new one is taken. */
  off() {
    this.state = 'off';
    for (const { phone, board } of this.pairs) { phone.resetAndDestroy(); board.destroy(); }
  }

  /** Nothing gets through; what is under way waits, as TCP does (RFC 9293, section 3.8.1). */
  silent() {
    this.state = 'silent';
    for (const { phone, board } of this.pairs) { phone.pause(); board.pause(); }
  }

  on() {
    this.state = 'on';
    for (const { phone, board } of this.pairs) { phone.resume(); board.resume(); }
  }

  async close() {
    this.off();
    await new Promise((yes) => this.server.close(yes));
  }
}
