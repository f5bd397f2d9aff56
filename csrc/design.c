/* SPDX-License-Identifier: Apache-2.0
 * Filters from settings. A section is five doubles b0 b1 b2 a1 a2, divided by a0.
 * Bell and shelves: Audio EQ Cookbook (R. Bristow-Johnson; W3C Working Group Note, 2021).
 * High-pass and low-pass: Butterworth through the bilinear transform with the cutoff kept. */
#include "mathematics.h"

enum { BELL, LOW_SHELF, HIGH_SHELF };

MW_API void mw_design_band(int32_t kind, double hz, double rate_hz, double gain_db, double q, double *section);
MW_API int32_t mw_design_pass(int32_t high, double hz, double rate_hz, int32_t order, double *sections);

static double *divided(double *out, double b0, double b1, double b2, double a0, double a1, double a2) {
    out[0] = b0 / a0;
    out[1] = b1 / a0;
    out[2] = b2 / a0;
    out[3] = a1 / a0;
    out[4] = a2 / a0;
    return out + 5;
}

void mw_design_band(int32_t kind, double hz, double rate_hz, double gain_db, double q, double *section) {
    double w = 2.0 * MW_PI * hz / rate_hz;
    double c = mw_cos(w), alpha = mw_sin(w) / (2.0 * q);
    double a = mw_ratio(0.5 * gain_db);
    if (kind == BELL) {
        divided(section, 1.0 + alpha * a, -2.0 * c, 1.0 - alpha * a, 1.0 + alpha / a, -2.0 * c, 1.0 - alpha / a);
        return;
    }
    double r = 2.0 * mw_ratio(0.25 * gain_db) * alpha; /* 2 sqrt(A) alpha */
    double up = a + 1.0, down = a - 1.0;
    double k = kind == LOW_SHELF ? c : -c; /* a high shelf is a low shelf seen from the other end */
    double turn = kind == LOW_SHELF ? 1.0 : -1.0;
    divided(section, a * (up - down * k + r), turn * 2.0 * a * (down - up * k), a * (up - down * k - r),
            up + down * k + r, turn * -2.0 * (down + up * k), up + down * k - r);
}

int32_t mw_design_pass(int32_t high, double hz, double rate_hz, int32_t order, double *sections) {
    double w = 2.0 * MW_PI * hz / rate_hz;
    double c = mw_cos(w), s = mw_sin(w), half = mw_sin(0.5 * w), t = mw_tan(0.5 * w);
    double edge = high ? 1.0 + c : 2.0 * half * half; /* 1 - cos w without cancelling */
    double sign = high ? -1.0 : 1.0;
    double *out = sections;
    if (order & 1) { /* the real pole */
        double b = high ? 1.0 : t;
        out = divided(out, b, sign * b, 0.0, 1.0 + t, t - 1.0, 0.0);
    }
    for (int32_t pair = order / 2; pair >= 1; pair--) { /* most damped first */
        double alpha = s * mw_sin(MW_PI * (2 * pair - 1) / (2.0 * order)); /* sin w / 2Q */
        out = divided(out, 0.5 * edge, sign * edge, 0.5 * edge, 1.0 + alpha, -2.0 * c, 1.0 - alpha);
    }
    return (int32_t)((out - sections) / 5);
}
