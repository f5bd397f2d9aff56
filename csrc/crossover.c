/* SPDX-License-Identifier: Apache-2.0 */
#include "crossover.h"

#include "mathematics.h"
#include "sections.h"
#include "stage.h"

#include <string.h>

/* One section of a Butterworth filter by the bilinear transform, as all-pass D(-s) / D(s) and as low-pass 1 / D(s). */
static void section(double *all, double *low, double b0, double b1, double b2, double d0, double d1, double d2) {
    low[0] = b0 / d0;
    low[1] = b1 / d0;
    low[2] = b2 / d0;
    all[3] = low[3] = d1 / d0;
    all[4] = low[4] = d2 / d0;
    all[0] = b2 == 0.0 ? all[3] : all[4]; /* of first order, or of second */
    all[1] = b2 == 0.0 ? 1.0 : all[3];
    all[2] = b2 == 0.0 ? 0.0 : 1.0;
}

void mw_design_crossover(const double *hz, int32_t ranges, int32_t order, double rate_hz, double *c) {
    int32_t half = order / 2, count = mw_crossover_sections(order);
    for (int32_t split = 0; split < ranges - 1; split++, c += 10 * count) {
        double w = 2.0 * MW_PI * hz[split] / rate_hz, s = mw_sin(0.5 * w), t = mw_tan(0.5 * w);
        double *all = c, *low = c + 5 * count;
        if (half & 1) section(all, low, t, t, 0.0, 1.0 + t, t - 1.0, 0.0), all += 5, low += 5;
        for (int32_t pair = half / 2; pair >= 1; pair--, all += 5, low += 5) {
            double alpha = mw_sin(w) * mw_sin(MW_PI * (2 * pair - 1) / (2.0 * half)); /* sin w / 2Q */
            double edge = s * s;                                                     /* (1 - cos w) / 2 */
            section(all, low, edge, 2.0 * edge, edge, 1.0 + alpha, -2.0 * mw_cos(w), 1.0 - alpha);
        }
    }
}

void mw_crossover(const double *c, int32_t ranges, int32_t order, double *state, int32_t channels,
                  const double *audio, int32_t frames, int32_t forget, double *const *out) {
    int32_t count = mw_crossover_sections(order), samples = frames * channels, step = 2 * channels * count;
    double *high = out[ranges - 1], *start = state;
    memcpy(high, audio, sizeof(double) * (size_t)samples);
    for (int32_t split = 0; split < ranges - 1; split++, c += 10 * count) {
        double *low = out[split];
        memcpy(low, high, sizeof(double) * (size_t)samples);
        for (int32_t twice = 0; twice < 2; twice++, state += step)
            mw_sections(c + 5 * count, count, state, channels, low, frames);
        mw_sections(c, count, state, channels, high, frames);
        state += step;
        for (int32_t i = 0; i < samples; i++) high[i] -= low[i];
        for (int32_t below = 0; below < split; below++, state += step)
            mw_sections(c, count, state, channels, out[below], frames);
    }
    for (; forget && start < state; start++) *start = mw_kept(*start, 1);
}
