/* SPDX-License-Identifier: Apache-2.0
 * Saturation: a curve at 2, 4 or 8 times the rate, as gains over the oversampled signal.
 *
 * What comes out is the signal, late, and beside it what the curve takes away or adds, u (gain - 1), brought back: what
 * is small passes unchanged up to half the rate. A curve with a bias makes a constant: a high-pass takes it out of what is
 * added. count: stages of oversampling, 4 times the kind of curve, 16 where there is a bias.
 * c: the curve (MW_CURVE), a factor for all, the high-pass's section.
 * Gains: those of each frame's oversampled values, channel by channel. */
#include "colour.h"
#include "oversample.h"
#include "sections.h"

enum { LEVEL = MW_CURVE, HIGH_PASS };
enum { BIASED = 16, WAITING = MW_OVERSAMPLE_STATES + 2 };

/* state: of oversampling, of the high-pass, then the frames that wait. */
static void one_channel(const mw_stage *at, double *state, double *audio, float *gains) {
    int32_t stages = at->count & 3, factor = 1 << stages, late = mw_oversample_latency(stages), n = at->frames << stages;
    double u[MW_OVERSAMPLED], added[MW_STRIDE], *filter = state + MW_OVERSAMPLE_STATES;
    double *waiting = state + WAITING;
    float g[MW_OVERSAMPLED];
    mw_up(stages, state, audio, at->channels, at->frames, u);
    if (at->replay) {
        for (int32_t i = 0; i < at->frames; i++)
            for (int32_t k = 0; k < factor; k++) g[factor * i + k] = gains[(int64_t)at->gain_step * i + k];
    } else {
        mw_curve_gains(at->count >> 2 & 3, at->c, u, n, g);
        for (int32_t i = 0; i < at->frames; i++)
            for (int32_t k = 0; k < factor; k++) gains[(int64_t)at->gain_step * i + k] = g[factor * i + k];
    }
    for (int32_t i = 0; i < n; i++) u[i] *= (double)g[i] - 1.0;
    mw_down(stages, state, u, at->frames, added, 1);
    if (at->count & BIASED) {
        mw_sections(at->c + HIGH_PASS, 1, filter, 1, added, at->frames);
        for (int32_t k = 0; k < 2; k++) filter[k] = mw_kept(filter[k], at->forget);
    }
    int32_t ring = (int32_t)(at->frame % late);
    for (int32_t i = 0; i < at->frames; i++) {
        double *x = audio + (int64_t)at->channels * i, now = waiting[ring];
        waiting[ring] = *x;
        *x = at->c[LEVEL] * (now + added[i]);
        if (++ring == late) ring = 0;
    }
}

void mw_saturation(const mw_stage *at) {
    int32_t stages = at->count & 3, states = WAITING + mw_oversample_latency(stages);
    for (int32_t k = 0; k < at->channels; k++)
        one_channel(at, at->state + (int64_t)states * k, at->audio + k, at->gains + ((int64_t)k << stages));
}
