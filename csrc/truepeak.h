/* SPDX-License-Identifier: Apache-2.0
 * The tops of a block: how far audio rises between each frame and the next. */
#ifndef MW_TRUEPEAK_H
#define MW_TRUEPEAK_H

#include "mw.h"

/* Frames of a block. */
#define MW_TOPS 62

/* 0 where nothing of the block at x exceeds `peak`. Otherwise 1, and tops[i] is the largest magnitude of x[i] and of
 * the points before x[i + 1]. Reads x[-40] to x[127]; points of frame i depend on x[i - 31] to x[i + 32] alone.
 * `taps`: `phases` (8 or 16) of 64. `work` counts blocks met, with half-way points computed, computed whole. */
int32_t mw_tops(const float *x, const float *taps, const float *bounds, int32_t phases, float peak, float *tops,
                int64_t *work);

#endif
