/* SPDX-License-Identifier: Apache-2.0
 * Elementary functions with the same bits everywhere; docs/mathematics.md holds their errors. */
#ifndef MW_MATHEMATICS_H
#define MW_MATHEMATICS_H

#include "mw.h"

#define MW_PI 3.14159265358979323846

/* 2^x; results below the smallest normal number are 0. Integers are exact. */
MW_API double mw_exp2(double x);

/* Base-2 logarithm; powers of two are exact, 0 gives -infinity, negative numbers NaN. */
MW_API double mw_log2(double x);

/* Radians, |x| <= 1e6. */
MW_API double mw_sin(double x);
MW_API double mw_cos(double x);
MW_API double mw_tan(double x);

/* Amplitude ratio of a level in dB; 0 dB is exactly 1. */
MW_API double mw_ratio(double db);

#endif
