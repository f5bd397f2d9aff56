/* SPDX-License-Identifier: Apache-2.0
 * Expander and gate: the compressor's curve and detector mirrored (D. Giannoulis, M. Massberg, J. D. Reiss 2012). What
 * lies below the threshold is taken down; the reduction falls by the attack time (it opens) and rises by the release
 * time (it closes), after it has been held for the hold time. Once the threshold was reached, it lies lower by the
 * hysteresis until the level has been below that for the hold time. `count` sections filter what is listened to.
 *
 * state: released and smoothed reduction, frames still held, frames still open, of two lanes each, then the detector's. */
#include "dynamics.h"

#include "detector.h"

typedef struct {
    double threshold, slope, knee, range, hysteresis; /* octaves; the slope is ratio - 1 */
    double attack, release;                           /* what one frame leaves of a difference */
    double hold;                                      /* frames */
    mw_detector detector;
} settings;

enum { RELEASED, REDUCTION, HELD, OPEN, LANE };

/* Levels in octaves below the threshold; what both channels have together counts in each as far as they are linked. */
static void lie_below(const settings *s, int32_t lanes, double *heard, int32_t frames) {
    double scale = mw_scale(&s->detector), offset = s->threshold - s->detector.offset, link = s->detector.link;
    int32_t together = lanes == 2 && s->detector.kind == MW_LOUDNESS, rows = together ? 3 : lanes;
    for (int32_t k = 0; k < rows; k++)
        for (int32_t i = 0; i < frames; i++)
            heard[MW_STRIDE * k + i] = offset - scale * mw_octaves(heard[MW_STRIDE * k + i]);
    double *left = heard, *right = left + MW_STRIDE, *both = right + MW_STRIDE;
    for (int32_t i = 0; lanes == 2 && i < frames; i++) {
        double least = together ? both[i] : mw_smaller(left[i], right[i]);
        left[i] += link * (least - left[i]);
        right[i] += link * (least - right[i]);
    }
}

static void smoothed(const settings *s, double *state, const double *below, float *gains, const mw_stage *at) {
    double attack = s->attack, release = s->release, bend = s->knee > 0.0 ? 0.5 / s->knee : 0.0, out[MW_STRIDE];
    double released = state[RELEASED], reduction = state[REDUCTION], held = state[HELD], open = state[OPEN];
    for (int32_t i = 0; i < at->frames; i++) {
        int32_t lower = open > 0.0 || below[i] <= 0.0;
        double under = lower ? below[i] - s->hysteresis : below[i];
        open = lower && under <= 0.0 ? s->hold + 1.0 : mw_larger(open - 1.0, 0.0);
        double wanted = mw_smaller(s->slope * mw_bent(under, s->knee, bend), s->range);
        if (wanted <= released) {
            released = wanted;
            held = s->hold;
        } else if (held > 0.0) {
            held -= 1.0;
        } else {
            released = release * released + (1.0 - release) * wanted;
        }
        reduction = attack * reduction + (1.0 - attack) * released;
        out[i] = reduction;
    }
    state[RELEASED] = mw_kept(released, at->forget);
    state[REDUCTION] = mw_kept(reduction, at->forget);
    state[HELD] = held;
    state[OPEN] = open;
    for (int32_t i = 0; i < at->frames; i++) gains[i] = mw_taken_down(out[i]);
}

void mw_expand(const mw_stage *at) {
    const settings *s = (const settings *)at->c;
    int32_t lanes = mw_lanes(at, &s->detector);
    if (!at->replay) {
        double heard[3 * MW_STRIDE];
        float gains[MW_STRIDE];
        mw_listen(at, &s->detector, at->count, at->state + 2 * LANE, heard);
        lie_below(s, lanes, heard, at->frames);
        for (int32_t k = 0; k < lanes; k++) {
            smoothed(s, at->state + LANE * k, heard + MW_STRIDE * k, gains, at);
            mw_write_gains(at, k, gains);
        }
    }
    mw_multiply(at, lanes);
}
