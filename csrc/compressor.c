/* SPDX-License-Identifier: Apache-2.0
 * Compressor, after D. Giannoulis, M. Massberg and J. D. Reiss, "Digital dynamic range compressor design: a tutorial and
 * analysis", J. Audio Eng. Soc. 60(6), 2012: feed-forward, gain computer with a soft knee on levels in octaves, then a
 * smooth decoupled peak detector on the reduction. A slow reduction beside it is the mean of the released one: what is
 * released falls no lower. `count` sections filter what is listened to.
 *
 * state: released, slow and smoothed reduction of two lanes each, then the detector's. */
#include "dynamics.h"

#include "detector.h"

typedef struct {
    double threshold, slope, knee, range; /* octaves; the slope is 1 - 1 / ratio */
    double attack, release, slow;         /* what one frame leaves of a difference; slow 1: none */
    mw_detector detector;
} settings;

enum { RELEASED, SLOW, REDUCTION, LANE };

/* Reductions that the static curve asks for; 0 where all that is heard lies below its knee. */
static int32_t computed(const settings *s, const double *heard, double *wanted, int32_t frames) {
    double scale = mw_scale(&s->detector), offset = s->detector.offset - s->threshold;
    double bend = s->knee > 0.0 ? 0.5 / s->knee : 0.0;
    /* A hair low, so that rounding never leaves out a level within the knee. */
    double begins = mw_larger((-0.5 * s->knee - offset) / scale, -1000.0);
    begins = mw_amplitude(mw_smaller(begins, 1000.0)) * (1.0 - 1e-12);
    int32_t quiet = 0;
    while (quiet < frames && heard[quiet] <= begins) quiet++;
    if (quiet == frames) {
        for (int32_t i = 0; i < frames; i++) wanted[i] = 0.0;
        return 0;
    }
    for (int32_t i = 0; i < frames; i++) {
        double above = scale * mw_octaves(heard[i]) + offset;
        wanted[i] = mw_smaller(s->slope * mw_bent(above, s->knee, bend), s->range);
    }
    return 1;
}

/* What both channels together ask for counts in each as far as they are linked. */
static void linked(const settings *s, const double *heard, double *left, double *right, int32_t frames) {
    double both[MW_STRIDE], link = s->detector.link;
    if (s->detector.kind == MW_LOUDNESS) computed(s, heard + 2 * MW_STRIDE, both, frames);
    else
        for (int32_t i = 0; i < frames; i++) both[i] = mw_larger(left[i], right[i]);
    for (int32_t i = 0; i < frames; i++) {
        left[i] += link * (both[i] - left[i]);
        right[i] += link * (both[i] - right[i]);
    }
}

static void smoothed(const settings *s, double *state, const double *wanted, float *gains, const mw_stage *at) {
    double attack = s->attack, release = s->release, slow = s->slow, out[MW_STRIDE];
    double released = state[RELEASED], mean = state[SLOW], reduction = state[REDUCTION];
    for (int32_t i = 0; i < at->frames; i++) {
        double falling = release * released + (1.0 - release) * wanted[i];
        released = mw_larger(wanted[i], falling);
        mean = slow * mean + (1.0 - slow) * released;
        reduction = attack * reduction + (1.0 - attack) * mw_larger(released, mean);
        out[i] = reduction;
    }
    state[RELEASED] = mw_kept(released, at->forget);
    state[SLOW] = mw_kept(mean, at->forget);
    state[REDUCTION] = mw_kept(reduction, at->forget);
    for (int32_t i = 0; i < at->frames; i++) gains[i] = mw_taken_down(out[i]);
}

static int32_t at_rest(const double *lane) {
    return lane[RELEASED] == 0.0 && lane[SLOW] == 0.0 && lane[REDUCTION] == 0.0;
}

void mw_compress(const mw_stage *at) {
    const settings *s = (const settings *)at->c;
    int32_t lanes = mw_lanes(at, &s->detector);
    if (!at->replay) {
        double heard[3 * MW_STRIDE], wanted[2 * MW_STRIDE];
        float gains[MW_STRIDE];
        int32_t works = 0;
        mw_listen(at, &s->detector, at->count, at->state + 2 * LANE, heard);
        for (int32_t k = 0; k < lanes; k++)
            works |= computed(s, heard + MW_STRIDE * k, wanted + MW_STRIDE * k, at->frames);
        if (lanes == 2 && s->detector.link > 0.0) linked(s, heard, wanted, wanted + MW_STRIDE, at->frames);
        works |= lanes == 2 && s->detector.kind == MW_LOUDNESS;
        for (int32_t k = 0; k < lanes; k++) {
            double *lane = at->state + LANE * k;
            if (works || !at_rest(lane)) smoothed(s, lane, wanted + MW_STRIDE * k, gains, at);
            else
                for (int32_t i = 0; i < at->frames; i++) gains[i] = 1.0f;
            mw_write_gains(at, k, gains);
        }
    }
    mw_multiply(at, lanes);
}
