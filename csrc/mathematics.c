/* SPDX-License-Identifier: Apache-2.0
 * Range reduction and Taylor series, long enough that the series' own error lies below the rounding of doubles. */
#include "mathematics.h"

#include <string.h>

/* 2^k for -1022 <= k <= 1023. */
static double power_of_two(int32_t k) {
    uint64_t bits = (uint64_t)(k + 1023) << 52;
    double value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static double infinity(void) { return power_of_two(1023) * 2.0; }

double mw_exp2(double x) {
    if (x != x) return x;
    if (x < -1022.0) return 0.0;
    if (x >= 1024.0) return infinity();
    int32_t k = (int32_t)(x < 0.0 ? x - 0.5 : x + 0.5);
    double t = (x - k) * 0.693147180559945309417; /* |t| <= ln(2)/2; the series of e^t to t^13 */
    double p = 1.0 / 6227020800.0;
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
    int32_t half = k / 2; /* in two steps, so that 2^1023.9 does not pass through 2^1024 */
    return p * power_of_two(half) * power_of_two(k - half);
}

double mw_log2(double x) {
    if (x != x || x >= infinity()) return x;
    if (x == 0.0) return -infinity();
    if (x < 0.0) return infinity() - infinity();
    int32_t e = 0;
    if (x < power_of_two(-1022)) {
        x *= power_of_two(54);
        e = -54;
    }
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    e += (int32_t)(bits >> 52) - 1023;
    bits = (bits & 0xfffffffffffffULL) | 0x3ff0000000000000ULL;
    double m;
    memcpy(&m, &bits, sizeof m);
    if (m > 1.41421356237309504880) {
        m *= 0.5;
        e += 1;
    }
    /* ln m = 2 artanh(s) = 2 s (1 + s^2/3 + s^4/5 + ...), |s| <= 0.1716, to s^24 */
    double s = (m - 1.0) / (m + 1.0), z = s * s;
    double p = 1.0 / 25.0;
    p = p * z + 1.0 / 23.0;
    p = p * z + 1.0 / 21.0;
    p = p * z + 1.0 / 19.0;
    p = p * z + 1.0 / 17.0;
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

/* x minus the nearest multiple of pi/2, which is n times; pi/2 in three pieces of 33 bits, so that n times each is exact. */
static double reduce(double x, int32_t *n) {
    double count = (double)(int64_t)(x < 0.0 ? x * (2.0 / MW_PI) - 0.5 : x * (2.0 / MW_PI) + 0.5);
    *n = (int32_t)((int64_t)count & 3);
    return ((x - count * 0x1.921fb544p+0) - count * 0x1.0b4611a6p-34) - count * 0x1.3198a2e037073p-69;
}

/* |x| <= pi/4 */
static double short_sin(double x) {
    double z = x * x;
    double p = 1.0 / 355687428096000.0;
    p = p * z - 1.0 / 1307674368000.0;
    p = p * z + 1.0 / 6227020800.0;
    p = p * z - 1.0 / 39916800.0;
    p = p * z + 1.0 / 362880.0;
    p = p * z - 1.0 / 5040.0;
    p = p * z + 1.0 / 120.0;
    p = p * z - 1.0 / 6.0;
    return x + x * (z * p);
}

static double short_cos(double x) {
    double z = x * x;
    double p = -1.0 / 6402373705728000.0;
    p = p * z + 1.0 / 20922789888000.0;
    p = p * z - 1.0 / 87178291200.0;
    p = p * z + 1.0 / 479001600.0;
    p = p * z - 1.0 / 3628800.0;
    p = p * z + 1.0 / 40320.0;
    p = p * z - 1.0 / 720.0;
    p = p * z + 1.0 / 24.0;
    /* 1 - z/2 in two parts, so that its rounding is not lost */
    double half = 0.5 * z, w = 1.0 - half;
    return w + (((1.0 - w) - half) + z * (z * p));
}

double mw_sin(double x) {
    int32_t n;
    double r = reduce(x, &n);
    double value = (n & 1) ? short_cos(r) : short_sin(r);
    return (n & 2) ? -value : value;
}

double mw_cos(double x) {
    int32_t n;
    double r = reduce(x, &n);
    double value = (n & 1) ? short_sin(r) : short_cos(r);
    return (n == 1 || n == 2) ? -value : value;
}

double mw_tan(double x) {
    int32_t n;
    double r = reduce(x, &n);
    double s = short_sin(r), c = short_cos(r);
    return (n & 1) ? -c / s : s / c;
}

double mw_ratio(double db) { return mw_exp2(db * 0.16609640474436811739); /* log2(10) / 20 */ }

/* The functions on whole arrays, for tests and tables. */
#define ON_ARRAY(name) \
    MW_API void name##_array(const double *x, double *y, int64_t count); \
    void name##_array(const double *x, double *y, int64_t count) { \
        for (int64_t i = 0; i < count; i++) y[i] = name(x[i]); \
    }

ON_ARRAY(mw_exp2)
ON_ARRAY(mw_log2)
ON_ARRAY(mw_sin)
ON_ARRAY(mw_cos)
ON_ARRAY(mw_tan)
ON_ARRAY(mw_ratio)
