/* SPDX-License-Identifier: Apache-2.0
 * Logarithms and powers of two for runs of frames: without branches, so that a compiler takes several frames at a time,
 * and each gets the same bits however many. Errors below 1e-15; mathematics.h has them for every number there is. */
#ifndef MW_LEVELS_H
#define MW_LEVELS_H

#include "mw.h"

#include <string.h>

static inline uint64_t mw_bits(double x) {
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    return bits;
}

static inline double mw_of_bits(uint64_t bits) {
    double x;
    memcpy(&x, &bits, sizeof x);
    return x;
}

static inline double mw_larger(double a, double b) { return a > b ? a : b; }
static inline double mw_smaller(double a, double b) { return a < b ? a : b; }
static inline double mw_magnitude(double x) { return mw_of_bits(mw_bits(x) & 0x7fffffffffffffffULL); }

/* Base-2 logarithm of a finite number that is not negative: octaves; one of amplitudes is 6.02 dB. What lies below the
 * smallest normal number reads -1023 or little more. */
static inline double mw_octaves(double x) {
    const uint64_t half_root = 0x3fe6a09e667f3bcdULL; /* the square root of 1/2 */
    uint64_t bits = mw_bits(x) + (0x3ff0000000000000ULL - half_root);
    double e = mw_of_bits((bits >> 52) | 0x4330000000000000ULL) - (0x1p52 + 1023.0);
    double m = mw_of_bits((bits & 0xfffffffffffffULL) + half_root);
    /* ln m = 2 artanh(s) = 2 s (1 + s^2/3 + s^4/5 + ...), |s| <= 0.1716 */
    double s = (m - 1.0) / (m + 1.0), z = s * s;
    double p = 1.0 / 17.0;
    p = p * z + 1.0 / 15.0;
    p = p * z + 1.0 / 13.0;
    p = p * z + 1.0 / 11.0;
    p = p * z + 1.0 / 9.0;
    p = p * z + 1.0 / 7.0;
    p = p * z + 1.0 / 5.0;
    p = p * z + 1.0 / 3.0;
    double two_s_log2e = s * 2.88539008177792681472; /* 2 / ln 2 */
    return e + (two_s_log2e + two_s_log2e * (z * p));
}

/* 2^x for -1022 <= x <= 1023; integers are exact. */
static inline double mw_amplitude(double x) {
    double shifted = x + 0x1.8p52, k = shifted - 0x1.8p52; /* the nearest integer */
    double t = (x - k) * 0.693147180559945309417; /* |t| <= ln(2)/2; the series of e^t */
    double p = 1.0 / 479001600.0;
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
    return p * mw_of_bits((mw_bits(shifted) << 52) + 0x3ff0000000000000ULL);
}

/* Gain that takes down by so many octaves, 126 at most: what is logged is a normal float. */
static inline float mw_taken_down(double octaves) { return (float)mw_amplitude(-mw_smaller(octaves, 126.0)); }

/* By how much a straight line of slope 1 from 0 on is raised at `above` when its corner is bent over `knee`: what
 * Giannoulis, Massberg and Reiss (2012) call the soft knee. */
static inline double mw_bent(double above, double knee, double half_of_inverse) {
    double inside = mw_smaller(mw_larger(above + 0.5 * knee, 0.0), knee);
    return inside * inside * half_of_inverse + mw_larger(above - 0.5 * knee, 0.0);
}

#endif
