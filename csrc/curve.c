/* SPDX-License-Identifier: Apache-2.0
 * Curves of colour.h: loops that compilers turn into vectors, with the same bits everywhere. */
#include "colour.h"
#include "levels.h"

#include <math.h>

/* Below it a curve counts as straight: what is lost is less than this part of a value that is itself so small. */
#define STRAIGHT 1e-6

static const double TWO_LOG2E = 2.88539008177792681472; /* 2 / ln 2 */

/* x, but no further from 0 than `most`. */
static inline double within(double x, double most) { return x > most ? most : x < -most ? -most : x; }

static inline float gain_of(double rise, double run) {
    double gain = rise / run;
    return (float)(run * run > STRAIGHT * STRAIGHT ? gain : 1.0);
}

static inline double bent_smooth(double x) { return 1.0 - 2.0 / (mw_amplitude(TWO_LOG2E * x) + 1.0); }

static void smooth(double drive, double bias, const double *u, int32_t n, float *gains) {
    const double offset = bent_smooth(bias), slope = 1.0 / (1.0 - offset * offset);
    for (int32_t i = 0; i < n; i++) {
        double v = drive * u[i], e = mw_amplitude(TWO_LOG2E * within(v + bias, 20.0)) + 1.0;
        gains[i] = gain_of((e * (1.0 - offset) - 2.0) * slope, e * v);
    }
}

static void gentle(double drive, double bias, const double *u, int32_t n, float *gains) {
    const double root = sqrt(1.0 + bias * bias), offset = bias / root, slope = root * root * root;
    for (int32_t i = 0; i < n; i++) {
        double v = drive * u[i], x = within(v + bias, 1e9);
        gains[i] = gain_of((x / sqrt(1.0 + x * x) - offset) * slope, v);
    }
}

static void hard(double drive, double bias, const double *u, int32_t n, float *gains) {
    const double b4 = bias * bias * (bias * bias), root = sqrt(1.0 + b4 * b4), eighth = sqrt(sqrt(root));
    const double offset = bias / eighth, slope = eighth * (root * root);
    for (int32_t i = 0; i < n; i++) {
        double v = drive * u[i], x = within(v + bias, 1e9), x4 = x * x * (x * x);
        gains[i] = gain_of((x / sqrt(sqrt(sqrt(1.0 + x4 * x4))) - offset) * slope, v);
    }
}

static void clip(double drive, double half_knee, const double *u, int32_t n, float *gains) {
    const double bend = half_knee > 0.0 ? 0.25 / half_knee : 0.0;
    for (int32_t i = 0; i < n; i++) {
        double x = mw_magnitude(drive * u[i]), over = mw_bent(x - 1.0, 2.0 * half_knee, bend);
        gains[i] = (float)(1.0 - over / mw_larger(x, STRAIGHT));
    }
}

void mw_curve_gains(int32_t kind, const double *c, const double *u, int32_t n, float *gains) {
    if (kind == MW_SMOOTH) smooth(c[MW_DRIVE], c[MW_BIAS], u, n, gains);
    else if (kind == MW_GENTLE) gentle(c[MW_DRIVE], c[MW_BIAS], u, n, gains);
    else if (kind == MW_HARD) hard(c[MW_DRIVE], c[MW_BIAS], u, n, gains);
    else clip(c[MW_DRIVE], c[MW_BIAS], u, n, gains);
}
