/* SPDX-License-Identifier: Apache-2.0
 * The laws of specific loudness that kernels of the ear share (Moore, Glasberg and Baer 1997; ISO 532-3:2023). */
#ifndef MW_EAR_LAW_H
#define MW_EAR_LAW_H

#include "ear.h"

/* Rows of `constants`: G, A, alpha, A^alpha, threshold, specific loudness at threshold / C, K strict, K cued. */
enum { GAIN, OFFSET, EXPONENT, FLOOR, THRESHOLD, LEAST, STRICT, CUED };

#define QUIET 1e-3f    /* below this excitation nothing is heard: the least threshold is 2 */
#define LOUD 1e10f     /* above this total the law of high levels holds */
#define LEAST_HEARD 1e-6f

/* The compressive law minus its value at zero; where the total is above 1e10 the law of high levels. */
static inline float law(float e, float total, float gain, float offset, float exponent, float floor_) {
    float base = total > LOUD ? e * (1.0f / 1.0707f) + 1e-20f : gain * e + offset;
    float power = total > LOUD ? 0.2f : exponent;
    float zero = total > LOUD ? 0.0f : floor_;
    return raise(base, power) - zero;
}

static inline float shrink(float signal, float masked) {
    float x = 2.0f * signal / (signal + masked);
    return x * __builtin_sqrtf(x);
}

#endif
