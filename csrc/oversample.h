/* SPDX-License-Identifier: Apache-2.0
 * Oversampling by 2, 4 or 8 for curves that are not straight, one channel at a time, linear phase.
 *
 * Up: half-band filters. Down: half-band filters too, but the last one lets nothing fold: flat to 5/12 of the rate (20 kHz
 * at 48 kHz) within 0.001 dB, down by 100 dB from half the rate on. Up and down together delay by a whole number of frames.
 * What was given in one run or in many gives the same bits. */
#ifndef MW_OVERSAMPLE_H
#define MW_OVERSAMPLE_H

#include "stage.h"

/* Factor 2^stages, 1 to MW_DOUBLINGS stages. */
#define MW_DOUBLINGS 3
#define MW_OVERSAMPLED (MW_STRIDE << MW_DOUBLINGS)
/* Doubles of state a channel, all zeros at reset. */
#define MW_OVERSAMPLE_STATES 272

/* Frames by which audio comes later after mw_up and mw_down. */
static inline int32_t mw_oversample_latency(int32_t stages) { return stages == 1 ? 61 : stages == 2 ? 69 : 72; }

/* `frames` (at most MW_STRIDE) of `audio`, `step` doubles apart, to `frames << stages` of `out`. */
void mw_up(int32_t stages, double *state, const double *audio, int32_t step, int32_t frames, double *out);

/* And back; `in` may be overwritten. Takes the state that mw_up takes. */
void mw_down(int32_t stages, double *state, double *in, int32_t frames, double *audio, int32_t step);

#endif
