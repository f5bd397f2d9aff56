/* SPDX-License-Identifier: Apache-2.0
 * Transients: gain by how two envelopes of the same signal differ, in octaves, whatever its level.
 *
 * Peaks are held with a short release and with a long one (smooth decoupled detectors). The short one, followed fast and
 * slowly: while the first is above the second, there is an attack. The long one above the short one, both followed fast:
 * something decays. Both parts go from 0 to 1 in an S over ALL_OCTAVES.
 *
 * state: peaks with the short and the long release, short followed fast and slowly, long followed fast. */
#include "dynamics.h"

#include "detector.h"

typedef struct {
    double attack, sustain;   /* octaves of gain */
    double short_release, long_release, fast, slow; /* what one frame leaves of a difference */
} settings;

enum { SHORT, LONG, SHORT_FAST, SHORT_SLOW, LONG_FAST, STATES };

#define ALL_OCTAVES 1.5

/* 0 to 1 in an S for a ratio of 1 to 2^ALL_OCTAVES. */
static double part(double above, double below) {
    double octaves = mw_octaves(mw_larger(above, MW_NOTHING) / mw_larger(below, MW_NOTHING));
    double x = mw_smaller(mw_larger(octaves * (1.0 / ALL_OCTAVES), 0.0), 1.0);
    return x * x * (3.0 - 2.0 * x);
}

static void listen(const mw_stage *at, const settings *s, double *fast, double *slow, double *lasting) {
    double short_release = s->short_release, long_release = s->long_release, keeps = s->fast, keeps_slow = s->slow;
    double v[STATES];
    for (int32_t k = 0; k < STATES; k++) v[k] = at->state[k];
    for (int32_t i = 0; i < at->frames; i++) {
        double peak = mw_magnitude(at->audio[i * at->channels]);
        if (at->channels == 2) peak = mw_larger(peak, mw_magnitude(at->audio[2 * i + 1]));
        v[SHORT] = mw_larger(peak, short_release * v[SHORT] + (1.0 - short_release) * peak);
        v[LONG] = mw_larger(peak, long_release * v[LONG] + (1.0 - long_release) * peak);
        fast[i] = v[SHORT_FAST] = keeps * v[SHORT_FAST] + (1.0 - keeps) * v[SHORT];
        slow[i] = v[SHORT_SLOW] = keeps_slow * v[SHORT_SLOW] + (1.0 - keeps_slow) * v[SHORT];
        lasting[i] = v[LONG_FAST] = keeps * v[LONG_FAST] + (1.0 - keeps) * v[LONG];
    }
    for (int32_t k = 0; k < STATES; k++) at->state[k] = mw_kept(v[k], at->forget);
}

void mw_transients(const mw_stage *at) {
    const settings *s = (const settings *)at->c;
    if (!at->replay) {
        double fast[MW_STRIDE], slow[MW_STRIDE], lasting[MW_STRIDE];
        float gains[MW_STRIDE];
        listen(at, s, fast, slow, lasting);
        for (int32_t i = 0; i < at->frames; i++) {
            double octaves = s->attack * part(fast[i], slow[i]) + s->sustain * part(lasting[i], fast[i]);
            gains[i] = (float)mw_amplitude(octaves);
        }
        mw_write_gains(at, 0, gains);
    }
    mw_multiply(at, 1);
}
