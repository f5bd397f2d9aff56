/* SPDX-License-Identifier: Apache-2.0
 * What the kernels of the ear share: the layout of patterns, and powers in float. */
#ifndef MW_EAR_H
#define MW_EAR_H

#include <string.h>

#include "mw.h"

#define FILTERS 160 /* 150 and room for whole vectors */
#define COMPONENTS 134
/* What the ear hears of a frame changes within it, the faster the higher up. `parts` are rows of four, from the lowest
 * filters on: first filter, end, steps in a frame, and the component from which on powers are those of the step; lower
 * ones hold for the frame. A row of powers: the frame's means of all components, then part by part and step by step the
 * powers of those components. A row of excitations: part by part and step by step the part's filters. */
#define PART 4
#define MOST_STEPS 4
#define MOST_PLACES 512 /* in a row of excitations */

#define PATTERNS 7  /* of a cell: alone, strict, cued, loss strict, loss cued, excitation of the layer, of the rest */

static inline int32_t powers_of(const int32_t *parts, int32_t count) {
    int32_t width = COMPONENTS;
    for (int32_t k = 0; k < count; k++) width += parts[PART * k + 2] * (COMPONENTS - parts[PART * k + 3]);
    return width;
}

static inline int32_t places_of(const int32_t *parts, int32_t count) {
    int32_t width = 0;
    for (int32_t k = 0; k < count; k++) width += parts[PART * k + 2] * (parts[PART * k + 1] - parts[PART * k]);
    return width;
}

/* Eight floats at once, in whatever vectors the processor has: each lane does what one float would. */
typedef float Eight __attribute__((vector_size(32)));
typedef float EightAnywhere __attribute__((vector_size(32), aligned(4), may_alias));

static inline Eight load_eight(const float *x) { return *(const EightAnywhere *)x; }

static inline void store_eight(float *x, Eight v) { *(EightAnywhere *)x = v; }

/* 2^x for -126 <= x <= 126; relative error below 3e-7. */
static inline float power_of_two(float x) {
    float shifted = x + 12582912.0f; /* rounds to whole numbers: 1.5 * 2^23 */
    float whole = shifted - 12582912.0f, t = x - whole;
    float p = 1.0f + t * (0.69314718f + t * (0.24022651f + t * (0.055504109f + t * (0.0096181291f +
              t * (0.0013333558f + t * 0.00015403530f)))));
    int32_t bits, scale;
    memcpy(&bits, &shifted, sizeof bits);
    scale = (bits - 0x4b400000 + 127) << 23;
    float factor;
    memcpy(&factor, &scale, sizeof factor);
    return p * factor;
}

/* log2 of a normal, positive x; absolute error below 2e-7 plus rounding. */
static inline float logarithm(float x) {
    int32_t bits;
    memcpy(&bits, &x, sizeof bits);
    int32_t e = (bits - 0x3f3504f3) >> 23; /* mantissa from 1/sqrt(2) to sqrt(2) */
    bits -= e * 8388608;
    float m;
    memcpy(&m, &bits, sizeof m);
    float s = (m - 1.0f) / (m + 1.0f), z = s * s;
    return (float)e + s * (2.8853900818f + z * (0.9617966939f + z * (0.5770780163f + z * (0.4121985831f + z * 0.32f))));
}

static inline float raise(float x, float exponent) { return power_of_two(exponent * logarithm(x)); }

#endif
