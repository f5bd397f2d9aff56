/* SPDX-License-Identifier: Apache-2.0
 * Filters from settings, true to their analogue prototypes up to two thirds of half the rate. A section is five doubles
 * b0 b1 b2 a1 a2, divided by a0.
 *
 * Poles and zeros of the prototype go to e^s, so that they lie right at every frequency. What is then missing from the
 * prototype's squared magnitude is smooth, and is made up for by zeros: a polynomial in p = sin^2(w / 2), through the
 * prototype at as many frequencies as it has coefficients, and from it the section of minimum phase (the idea and the
 * formulae of the last step: M. Vicanek, "Matched second order digital filters", 2016).
 * Prototypes: Audio EQ Cookbook (R. Bristow-Johnson; W3C Working Group Note, 2021); Butterworth; tilt
 * (A s + 1) / (s + A). Frequencies are radians per frame. A cut is the inverse of the boost: they cancel. */
#include "mathematics.h"

#include <math.h> /* sqrt alone, which IEEE 754 rounds correctly everywhere */

enum { BELL, LOW_SHELF, HIGH_SHELF, NOTCH, BAND_PASS, TILT };
enum { MOST = 8 }; /* poles or zeros */

/* A pole or zero at -a + jb; where it goes is e^(-to_a + j to_b). */
typedef struct {
    double a, b, to_a, to_b;
} root;

/* gain * product of (s - zero) / product of (s - pole) */
typedef struct {
    double gain;
    int32_t zeros, poles;
    root zero[MOST], pole[MOST];
} prototype;

MW_API int32_t mw_design_band(int32_t kind, double hz, double rate_hz, double gain_db, double q, double *sections);
MW_API int32_t mw_design_pass(int32_t high, double hz, double rate_hz, int32_t order, double *sections);
MW_API void mw_design_bands(int32_t kind, const double *hz, double rate_hz, const double *gain_db, const double *q,
                            int64_t count, double *sections);
MW_API void mw_design_passes(int32_t high, const double *hz, double rate_hz, int32_t order, int64_t count,
                             double *sections);

/* p of the frequencies at which polynomials are made to fit, and the pole that eases their way: e^jw = -EASE. */
static const double FIT[3] = {0.0, 0.76, 0.4};
#define EASE 0.35

/* Where one section is checked before a second is taken, in p, and how far its power may be off: 0.04 dB up to the
 * first CLOSE of them (a sixth of half the rate), then 0.12 dB. */
enum { CLOSE = 5, CHECKS = 13 };
static const double CHECK[CHECKS] = {0.001, 0.005, 0.015, 0.04, 0.067, 0.1, 0.15, 0.22, 0.3, 0.4, 0.5, 0.62, 0.75};

static double squared(double x) { return x * x; }
static double exponential(double x) { return mw_exp2(1.44269504088896340736 * x); }
static double of_p(double p) { /* w in (0, pi) */
    /* asin by Newton's method from a start that is near enough: cos w = 1 - 2 p */
    double w = 2.0 * sqrt(p) + (3.14159265358979323846 - 2.0) * p * sqrt(p);
    for (int32_t k = 0; k < 6; k++) w -= (squared(mw_sin(0.5 * w)) - p) / (0.5 * mw_sin(w) + 1e-300);
    return w;
}

/* One from beyond half the rate must not come back below it: of such a pair one goes to the edge, one to the origin. */
static root at(double a, double b) {
    root r = {a, b, a, b};
    if (b > 0.95 * MW_PI) r.to_a = sqrt(a * a + squared(b - MW_PI)), r.to_b = MW_PI;
    if (b < -0.95 * MW_PI) r.to_a = 700.0, r.to_b = 0.0;
    return r;
}

/* s^2 + s w / q + w^2 */
static void two(double w, double q, root *r) {
    double half = 0.5 / q, inside = 1.0 - half * half;
    if (inside > 0.0) {
        r[0] = at(w * half, w * sqrt(inside));
        r[1] = at(w * half, -w * sqrt(inside));
    } else {
        double far = half + sqrt(-inside);
        r[0] = at(w * far, 0.0);
        r[1] = at(w / far, 0.0);
    }
}

/* |jw - s|^2, and what has come of it. */
static double before(root r, double w) { return r.a * r.a + squared(w - r.b); }
static double after(root r, double w) {
    double e = exponential(-r.to_a);
    return squared(1.0 - e) + 4.0 * e * squared(mw_sin(0.5 * (w - r.to_b)));
}
static double ratio(root r, double w) {
    double was = before(r, w);
    return was < 1e-20 ? exponential(-r.to_a) : after(r, w) / was;
}

/* What is missing from the squared magnitude at w. */
static double missing(const prototype *h, double w) {
    double value = h->gain * h->gain;
    for (int32_t k = 0; k < h->poles; k++) value *= ratio(h->pole[k], w);
    for (int32_t k = 0; k < h->zeros; k++) value /= ratio(h->zero[k], w);
    return value;
}

/* The squared magnitude that a numerator over the mapped poles is to have. */
static double numerator(const prototype *h, double w) {
    double value = h->gain * h->gain;
    for (int32_t k = 0; k < h->poles; k++) value *= ratio(h->pole[k], w);
    for (int32_t k = 0; k < h->zeros; k++) value *= before(h->zero[k], w);
    return value;
}

/* 1 + c1 z^-1 + c2 z^-2 of `count` roots, 0 to 2. */
static void polynomial(const root *r, int32_t count, double *c) {
    double re[2] = {0.0, 0.0}, size[2] = {0.0, 0.0};
    for (int32_t k = 0; k < count; k++) {
        size[k] = exponential(-r[k].to_a);
        re[k] = size[k] * mw_cos(r[k].to_b);
    }
    c[0] = -(re[0] + re[1]);
    c[1] = count < 2 ? 0.0 : r[0].to_b == 0.0 ? re[0] * re[1] : size[0] * size[1];
}

/* b0 b1 b2 of minimum phase whose squared magnitude goes through y at p[0] = 0, p[1] and (`count` 3) p[2]; 0 where there
 * is none. */
static int32_t zeros_through(const double *p, const double *y, int32_t count, double *b) {
    double first = (y[1] - y[0]) / p[1];
    double second = count < 3 ? 0.0 : ((y[2] - y[1]) / (p[2] - p[1]) - first) / p[2];
    double end = y[0] + first + second * (1.0 - p[1]); /* at half the rate */
    if (y[0] < 0.0 || end < 0.0) return 0;
    double zero = sqrt(y[0]), half = sqrt(end), middle = 0.5 * (zero + half);
    double inside = middle * middle - 0.25 * second;
    if (inside <= 0.0) return 0;
    b[0] = 0.5 * (middle + sqrt(inside));
    b[1] = 0.5 * (zero - half);
    b[2] = 0.0625 * second / b[0];
    return 1;
}

static double through(const double *p, const double *y, double at_p) {
    double first = (y[1] - y[0]) / p[1], second = ((y[2] - y[1]) / (p[2] - p[1]) - first) / p[2];
    return y[0] + at_p * (first + (at_p - p[1]) * second);
}

static int32_t near(double ratio, int32_t check) {
    return squared(ratio - 1.0) < (check < CLOSE ? squared(0.009) : squared(0.028));
}

/* Both zeros made to fit, near `w`, 0 Hz and a third frequency; 0 where that is not near enough elsewhere. */
static int32_t one_section(const prototype *h, double w, double *out) {
    double p[3] = {0.0, squared(mw_sin(0.5 * (w < 0.55 * MW_PI ? w : 0.55 * MW_PI))), 0.0}, y[3];
    p[2] = p[1] < 0.4 ? 0.7 : 0.2;
    for (int32_t k = 0; k < 3; k++) y[k] = numerator(h, of_p(p[k]));
    if (!zeros_through(p, y, 3, out)) return 0;
    for (int32_t k = 0; k < CHECKS; k++)
        if (!near(through(p, y, CHECK[k]) / numerator(h, of_p(CHECK[k])), k)) return 0;
    polynomial(h->pole, 2, out + 3);
    return 1;
}

/* Poles and zeros as they are; 0 where more is missing than a gain. */
static int32_t plain_section(const prototype *h, double *out) {
    double none = missing(h, 0.0), gain = sqrt(none), c[2];
    for (int32_t k = 0; k < CHECKS; k++)
        if (!near(missing(h, of_p(CHECK[k])) / none, k)) return 0;
    polynomial(h->zero, 2, c);
    out[0] = gain;
    out[1] = gain * c[0];
    out[2] = gain * c[1];
    polynomial(h->pole, 2, out + 3);
    return 1;
}

static const double NOTHING[5] = {1.0, 0.0, 0.0, 0.0, 0.0};

static void copy(const double *from, double *to) {
    for (int32_t k = 0; k < 5; k++) to[k] = from[k];
}

/* Poles and zeros as they are, and a section for what is missing. */
static void two_sections(const prototype *h, double *out) {
    double y[3], ease = squared(1.0 + EASE);
    out[0] = 1.0;
    polynomial(h->zero, 2, out + 1);
    polynomial(h->pole, 2, out + 3);
    copy(NOTHING, out + 5);
    for (int32_t k = 0; k < 3; k++) y[k] = missing(h, of_p(FIT[k])) * (ease - 4.0 * EASE * FIT[k]);
    for (int32_t count = 3; count >= 2; count--) { /* a resonance beyond half the rate may leave room for one zero only */
        if (!zeros_through(FIT, y, count, out + 5)) continue;
        out[8] = EASE;
        return;
    }
    out[5] = sqrt(missing(h, 0.0));
}

/* One pole or two, one zero, and one more for what is missing. */
static void free_zero(const prototype *h, double *out) {
    double y[2], c[2], b[3], ease = h->poles == 1 ? EASE : 0.0; /* a pole is free, too */
    for (int32_t k = 0; k < 2; k++) y[k] = missing(h, of_p(FIT[k])) * (squared(1.0 + ease) - 4.0 * ease * FIT[k]);
    zeros_through(FIT, y, 2, b);
    polynomial(h->zero, 1, c);
    polynomial(h->pole, h->poles, out + 3);
    if (h->poles == 1) {
        out[4] = ease * out[3];
        out[3] += ease;
    }
    out[0] = b[0];
    out[1] = b[1] + c[0] * b[0];
    out[2] = c[0] * b[1];
}

static void invert(double *section) {
    double b0 = section[0], b1 = section[1], b2 = section[2];
    section[0] = 1.0 / b0;
    section[1] = section[3] / b0;
    section[2] = section[4] / b0;
    section[3] = b1 / b0;
    section[4] = b2 / b0;
}

/* Writes two sections and returns how many there are: the second may do nothing. */
int32_t mw_design_band(int32_t kind, double hz, double rate_hz, double gain_db, double q, double *sections) {
    double w = 2.0 * MW_PI * hz / rate_hz, boost = gain_db < 0.0 ? -gain_db : gain_db;
    double a = mw_ratio(0.5 * boost), root_a = mw_ratio(0.25 * boost), turn = w;
    prototype h = {.gain = 1.0, .zeros = 2, .poles = 2};
    int32_t count = 1, steep = (kind == LOW_SHELF || kind == HIGH_SHELF) && q > 2.0; /* narrow between the checks */
    copy(NOTHING, sections + 5);
    if (kind == BELL) {
        two(w, q / a, h.zero);
        two(w, q * a, h.pole);
    } else if (kind == LOW_SHELF || kind == HIGH_SHELF) {
        double high = w * root_a, low = w / root_a;
        turn = kind == HIGH_SHELF ? low : high;
        two(turn, q, h.zero);
        two(kind == HIGH_SHELF ? high : low, q, h.pole);
        h.gain = kind == HIGH_SHELF ? a * a : 1.0;
    } else if (kind == NOTCH) {
        h.zero[0] = (root){0.0, w, 0.0, w};
        h.zero[1] = (root){0.0, -w, 0.0, -w};
        two(w, q, h.pole);
    } else if (kind == BAND_PASS) {
        h.zeros = 1;
        h.zero[0] = at(0.0, 0.0);
        two(w, q, h.pole);
        h.gain = w / q;
    } else { /* TILT */
        h.zeros = h.poles = 1;
        h.zero[0] = at(w / (a * a), 0.0);
        h.pole[0] = at(w * a * a, 0.0);
        h.gain = a * a;
    }
    if (h.zeros == 1) free_zero(&h, sections);
    else if (kind == NOTCH ? !plain_section(&h, sections) : steep || !one_section(&h, turn, sections))
        two_sections(&h, sections), count = 2;
    for (int32_t k = 0; gain_db < 0.0 && kind != NOTCH && kind != BAND_PASS && k < count; k++) invert(sections + 5 * k);
    return count;
}

int32_t mw_design_pass(int32_t high, double hz, double rate_hz, int32_t order, double *sections) {
    double w = 2.0 * MW_PI * hz / rate_hz;
    int32_t count = (order + 1) / 2, odd = order & 1;
    prototype h = {.gain = 1.0, .zeros = high ? order : 0, .poles = order};
    for (int32_t k = 0; k < h.zeros; k++) h.zero[k] = at(0.0, 0.0);
    if (odd) h.pole[order - 1] = at(w, 0.0); /* the real pole */
    for (int32_t pair = order / 2; pair >= 1; pair--) /* most damped first */
        two(w, 0.5 / mw_sin(MW_PI * (2 * pair - 1) / (2.0 * order)), h.pole + order - odd - 2 * pair);
    double y[3], b[3] = {1.0, 0.0, 0.0};
    if (high) { /* all zeros are at 0 Hz, but for a free one where the order is odd, taken where it is needed */
        y[0] = missing(&h, 0.0);
        y[1] = missing(&h, of_p(FIT[1]));
        b[0] = sqrt(y[0]);
        if (odd && squared(y[1] / y[0] - 1.0) > squared(0.004)) zeros_through(FIT, y, 2, b);
    } else { /* all sections have the same two zeros, and each is 1 at 0 Hz */
        double none = missing(&h, 0.0);
        for (int32_t k = 0; k < 3; k++) y[k] = mw_exp2(mw_log2(missing(&h, of_p(FIT[k])) / none) / count);
        zeros_through(FIT, y, 3, b);
    }
    double *out = sections;
    for (int32_t k = 0; k < count; k++, out += 5) {
        int32_t single = odd && k == 0;
        polynomial(single ? h.pole + order - 1 : h.pole + 2 * (k - odd), single ? 1 : 2, out + 3);
        double scale = high ? 1.0 : 1.0 + (out[3] + out[4]);
        out[0] = high ? (k == 0 ? b[0] : 1.0) : scale * b[0];
        out[1] = high ? (single ? b[1] - b[0] : -2.0 * out[0]) : scale * b[1];
        out[2] = high ? (single ? -b[1] : out[0]) : scale * b[2];
    }
    return count;
}

/* Tables over settings that move: two sections each. */
void mw_design_bands(int32_t kind, const double *hz, double rate_hz, const double *gain_db, const double *q,
                     int64_t count, double *sections) {
    for (int64_t i = 0; i < count; i++) mw_design_band(kind, hz[i], rate_hz, gain_db[i], q[i], sections + 10 * i);
}

void mw_design_passes(int32_t high, const double *hz, double rate_hz, int32_t order, int64_t count, double *sections) {
    int32_t width = 5 * ((order + 1) / 2);
    for (int64_t i = 0; i < count; i++) mw_design_pass(high, hz[i], rate_hz, order, sections + width * i);
}
