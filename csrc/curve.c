/* SPDX-License-Identifier: Apache-2.0
 * Curves of colour.h: loops that compilers turn into vectors, with the same bits everywhere. */
#include "colour.h"

#include <math.h>
#include <string.h>

/* Below it a curve counts as straight: what is lost is less than this part of a value that is itself so small. */
#define STRAIGHT 1e-6

/* e^(2 x) for |x| <= 20, as mw_exp2 does it, but without branches. */
static inline double exp_twice(double x) {
    double y = x * 2.88539008177792681472; /* 2 / ln 2 */
    double shifted = y + 0x1.8p52;         /* the nearest whole number stands in its last bits */
    double t = (y - (shifted - 0x1.8p52)) * 0.693147180559945309417;
    double p = 1.0 / 6227020800.0, power;
    p = p * t + 1.0 / 479001600.0;
    p = p * t + 1.0 / 39916800.0;
    p = p * t + 1.0 / 3628800.0;
    p = p * t + 1.0 / 362880.0;
    p = p * t + 1.0 / 40320.0;
    p = p * t + 1.0 / 5040.0;
    p = p * t + 1.0 / 720.0;
    p = p * t + 1.0 / 120.0;
    p = p * t + 1.0 / 24.0;
    p = p * t + 1.0 / 6.0;
    p = p * t + 0.5;
    p = 1.0 + (t + t * t * p);
    uint64_t bits;
    memcpy(&bits, &shifted, sizeof bits);
    bits = (bits << 52) + 0x3ff0000000000000ULL;
    memcpy(&power, &bits, sizeof power);
    return p * power;
}

/* x, but no further from 0 than `most`. */
static inline double within(double x, double most) { return x > most ? most : x < -most ? -most : x; }

static inline float gain_of(double rise, double run) {
    double gain = rise / run;
    return (float)(run * run > STRAIGHT * STRAIGHT ? gain : 1.0);
}

static void smooth(const double *c, const double *u, int32_t n, float *gains) {
    const double drive = c[MW_DRIVE], bias = c[MW_BIAS], offset = c[MW_OFFSET], slope = c[MW_SLOPE];
    for (int32_t i = 0; i < n; i++) {
        double v = drive * u[i], e = exp_twice(within(v + bias, 20.0)) + 1.0; /* tanh x = 1 - 2 / (e^(2x) + 1) */
        gains[i] = gain_of((e * (1.0 - offset) - 2.0) * slope, e * v);
    }
}

static void gentle(const double *c, const double *u, int32_t n, float *gains) {
    const double drive = c[MW_DRIVE], bias = c[MW_BIAS], offset = c[MW_OFFSET], slope = c[MW_SLOPE];
    for (int32_t i = 0; i < n; i++) {
        double v = drive * u[i], x = within(v + bias, 1e9);
        gains[i] = gain_of((x / sqrt(1.0 + x * x) - offset) * slope, v);
    }
}

static void hard(const double *c, const double *u, int32_t n, float *gains) {
    const double drive = c[MW_DRIVE], bias = c[MW_BIAS], offset = c[MW_OFFSET], slope = c[MW_SLOPE];
    for (int32_t i = 0; i < n; i++) {
        double v = drive * u[i], x = within(v + bias, 1e9), x4 = x * x * (x * x);
        gains[i] = gain_of((x / sqrt(sqrt(sqrt(1.0 + x4 * x4))) - offset) * slope, v);
    }
}

void mw_curve_gains(int32_t kind, const double *curve, const double *u, int32_t n, float *gains) {
    if (kind == MW_SMOOTH) smooth(curve, u, n, gains);
    else if (kind == MW_GENTLE) gentle(curve, u, n, gains);
    else hard(curve, u, n, gains);
}
