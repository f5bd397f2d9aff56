// SPDX-License-Identifier: Apache-2.0
// What each number means, how sure it is, and where it comes from: one table.

/** @typedef {{means: string, sure: string, source: string}} Word */

/** @type {Record<string, Word>} */
export const WORDS = {
  lufs: {
    means: "Loudness of the whole programme.",
    sure: "A definite calculation; which loudness is right is not measured.",
    source: "ITU-R BS.1770",
  },
  dbtp: {
    means: "The highest true peak, between the samples too; 0 dBTP is full scale.",
    sure: "Within about 0.5 dB, as the standard's own oversampling.",
    source: "ITU-R BS.1770",
  },
  spl: {
    means: "The level at which listening was assumed; what covers what depends on it.",
    sure: "Set by hand, never measured: how loud it is at your ears is not known.",
    source: "ours",
  },
  margin: {
    means:
      "How far the followed line stays above half of its loudness, or below; and by how many dB it would have to rise.",
    sure: "Two readings of an ear model: the cued one hears what it listens for, the strict one does not.",
    source: "partial loudness as in ISO 532-2; the threshold of one half is ours",
  },
  kept: {
    means: "How much of a layer's own loudness the mix leaves, second by second.",
    sure: "The cued reading of an ear model; compare seconds and layers, do not read single percents.",
    source: "partial loudness as in ISO 532-2",
  },
  size: {
    means: "How far a layer lies outside the tolerance of its place, in dB of its fader.",
    sure: "Two readings of an ear model; what is meant to be covered is for you to say.",
    source: "tolerances are ours: docs/tolerances.md",
  },
  sone: {
    means: "Loudness in this band: 2 sone sound twice as loud as 1. Left in the mix, of what it is alone.",
    sure: "The cued reading of an ear model; differences of a tenth mean little.",
    source: "sone: ISO 532-2",
  },
  takes: {
    means: "How much of the loss this other layer is to blame for.",
    sure: "Shares of a model; below 3 % they are left out.",
    source: "ours, by taking each layer away in turn",
  },
};
