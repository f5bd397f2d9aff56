// SPDX-License-Identifier: Apache-2.0
// How long one has listened, and when to say so.

/**
 * After so long without a pause it is told; a pause of this length is a break. In seconds; common practice, no
 * source.
 */
const LONG_S = 45 * 60,
  BREAK_S = 5 * 60;

export class Breaks {
  /**
   * @param {() => void} tell
   * @param {() => number} now in seconds
   */
  constructor(tell, now = () => performance.now() / 1000) {
    this.tell = tell;
    this.now = now;
    this.heard_s = 0;
    this.last = -Infinity;
  }

  /** Something was heard until now. */
  heard() {
    const now = this.now(),
      since = now - this.last;
    this.last = now;
    if (since > BREAK_S) this.heard_s = 0;
    else if (since < 1) this.heard_s += since;
    if (this.heard_s < LONG_S) return;
    this.heard_s = 0;
    this.tell();
  }
}
