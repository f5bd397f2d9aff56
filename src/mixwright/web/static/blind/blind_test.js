// SPDX-License-Identifier: Apache-2.0
// A blind test while it runs: versions in an order that is drawn anew for each trial, and what was chosen.

/** Return the numbers below `many` in an order that nobody knows. @param {number} many @returns {number[]} */
export function shuffled(many) {
  const order = Array.from({ length: many }, (_, k) => k);
  for (let k = many - 1; k > 0; k--) {
    const other = below(k + 1);
    [order[k], order[other]] = [order[other], order[k]];
  }
  return order;
}

/** A number below `limit`, each as likely. @param {number} limit */
function below(limit) {
  const most = Math.floor(2 ** 32 / limit) * limit;
  const drawn = new Uint32Array(1);
  do crypto.getRandomValues(drawn);
  while (drawn[0] >= most);
  return drawn[0] % limit;
}

export class BlindTest {
  /**
   * @param {number} versions how many
   * @param {number} trials as many, no more and no fewer
   */
  constructor(versions, trials) {
    this.trials = trials;
    this.orders = Array.from({ length: trials }, () => shuffled(versions));
    /** @type {number[]} the versions that were chosen, by their places before the test */
    this.picks = [];
    /** @type {Set<number>} the positions that were heard in this trial */
    this.heard = new Set();
  }

  get done() {
    return this.picks.length === this.trials;
  }

  /** Which version stands at a position of this trial. @param {number} position */
  at(position) {
    return this.orders[this.picks.length][position];
  }

  /** Whether all were heard, so that one may be chosen. */
  get ready() {
    return !this.done && this.heard.size === this.orders[0].length;
  }

  /** Choose what stands at a position. @param {number} position */
  choose(position) {
    if (!this.ready) return;
    this.picks.push(this.at(position));
    this.heard = new Set();
  }
}
