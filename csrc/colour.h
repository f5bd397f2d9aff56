/* SPDX-License-Identifier: Apache-2.0
 * Processors that add harmonics, and curves, as the gain that they give to each value. */
#ifndef MW_COLOUR_H
#define MW_COLOUR_H

#include "stage.h"

/* How a curve bends: T(x) = tanh x; x / sqrt(1 + x^2); x / (1 + x^8)^(1/8), which is straight for long. */
enum { MW_SMOOTH, MW_GENTLE, MW_HARD, MW_CLIP };

/* A curve through 0 with the slope 1 there: (T(drive u + bias) - T(bias)) / (drive T'(bias)). That which clips has 1 /
 * ceiling, and half its knee as part of the ceiling. What follows from both is worked out as the curve is run, so that it
 * fits them while they move. */
enum { MW_DRIVE, MW_BIAS, MW_CURVE };

/* What the curve gives for u[i], divided by u[i]; 1 at 0. */
MW_API void mw_curve_gains(int32_t kind, const double *c, const double *u, int32_t n, float *gains);

void mw_saturation(const mw_stage *at);
void mw_bass_harmonics(const mw_stage *at);

#endif
