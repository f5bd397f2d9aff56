/* SPDX-License-Identifier: Apache-2.0
 * Levelling: two ranges or more of a crossover (24 dB/oct), each moved towards a target level as far as its limits allow.
 *
 * What a range asks for is the difference of its level (RMS, the louder channel) from the target, within the limits; it
 * is raised by no more than it lies above the floor. The gain in octaves follows with the attack time where it falls and
 * with the release time where it rises (smooth branching; Giannoulis, Massberg and Reiss 2012). count: ranges.
 *
 * state: for each range two mean squares and the gain in octaves, then the crossover's. */
#include "dynamics.h"

#include "crossover.h"
#include "detector.h"
#include "sections.h"

enum { ORDER = 4, MOST = MW_RANGES };

typedef struct {
    double target, raise, lower, floor; /* octaves */
    double attack, release;             /* what one frame leaves of a difference */
} range;

enum { MEANS, GAIN = 2, STATES };

/* Gains of a range, from what lies in it. */
static void listen(const mw_stage *at, const range *r, double keeps, double *state, const double *audio, float *gains) {
    double wanted[MW_STRIDE], takes = 1.0 - keeps, gain = state[GAIN];
    int32_t two = at->channels == 2;
    mw_pair mean = {state[MEANS], state[MEANS + 1]};
    for (int32_t i = 0; i < at->frames; i++) {
        mw_pair x = {audio[i * at->channels], audio[i * at->channels + two]};
        mean = keeps * mean + takes * (x * x);
        wanted[i] = mw_larger(mean[0], mean[1]);
    }
    for (int32_t i = 0; i < at->frames; i++) {
        double level = 0.5 * mw_octaves(wanted[i]);
        double within = mw_smaller(mw_larger(r->target - level, -r->lower), r->raise);
        wanted[i] = mw_smaller(within, mw_larger(level - r->floor, 0.0));
    }
    for (int32_t i = 0; i < at->frames; i++) {
        double keeps_gain = wanted[i] < gain ? r->attack : r->release;
        wanted[i] = gain = keeps_gain * gain + (1.0 - keeps_gain) * wanted[i];
    }
    state[MEANS] = mw_kept(mean[0], at->forget);
    state[MEANS + 1] = mw_kept(mean[1], at->forget);
    state[GAIN] = mw_kept(gain, at->forget);
    for (int32_t i = 0; i < at->frames; i++) gains[i] = (float)mw_amplitude(wanted[i]);
}

void mw_level(const mw_stage *at) {
    const range *ranges = (const range *)(at->c + 1);
    const double *crossover = (const double *)(ranges + at->count);
    double bands[MOST][2 * MW_STRIDE], *in[MOST];
    int32_t samples = at->frames * at->channels;
    for (int32_t k = 0; k < at->count; k++) in[k] = bands[k];
    mw_crossover(crossover, at->count, ORDER, at->state + STATES * at->count, at->channels, at->audio, at->frames,
                 at->forget, in);
    for (int32_t i = 0; i < samples; i++) at->audio[i] = 0.0;
    for (int32_t k = 0; k < at->count; k++) {
        float gains[MW_STRIDE];
        if (!at->replay) {
            listen(at, ranges + k, at->c[0], at->state + STATES * k, bands[k], gains);
            mw_write_gains(at, k, gains);
        }
        for (int32_t i = 0; i < at->frames; i++)
            for (int32_t c = 0; c < at->channels; c++)
                at->audio[i * at->channels + c] +=
                    bands[k][i * at->channels + c] * (double)at->gains[i * at->gain_step + k];
    }
}
