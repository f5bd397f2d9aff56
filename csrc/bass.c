/* SPDX-License-Identifier: Apache-2.0
 * Basses: harmonics of a low range for loudspeakers that do not play it, and a low range levelled.
 *
 * Harmonics: what sections let through of the low range, times what a curve gives beside 1, through more sections, times a
 * level, is added. count: sections before, 16 times those after. c: the curve (MW_CURVE), level, the sections.
 * One column of gains a channel.
 *
 * Low end: below a crossover, one gain takes the range towards a target. Levels are mean squares of both channels, in
 * octaves (3.01 dB); every LOOK frames one is looked at, between two looks the gain goes in a straight line.
 * c: part of a new frame in the mean, target, least level that is acted on, most up and down (octaves of amplitude), parts
 * of the way at a look where the gain falls and rises, the crossover of 24 dB/oct. One column of gains. */
#include "colour.h"
#include "crossover.h"
#include "levels.h"
#include "sections.h"

#include <string.h>

enum { LEVEL = MW_CURVE, SECTIONS };

void mw_bass_harmonics(const mw_stage *at) {
    double band[2 * MW_STRIDE];
    float g[2 * MW_STRIDE];
    int32_t before = at->count & 15, after = at->count >> 4, channels = at->channels, n = at->frames * channels;
    int32_t states = 2 * channels * (before + after);
    memcpy(band, at->audio, (size_t)n * sizeof *band);
    mw_sections(at->c + SECTIONS, before, at->state, channels, band, at->frames);
    if (!at->replay) mw_curve_gains(MW_SMOOTH, at->c, band, n, g);
    for (int32_t i = 0; i < at->frames; i++)
        for (int32_t k = 0; k < channels; k++) {
            float *logged = at->gains + (int64_t)at->gain_step * i + k, *made = g + channels * i + k;
            if (at->replay) *made = *logged;
            else *logged = *made;
        }
    for (int32_t i = 0; i < n; i++) band[i] *= (double)g[i] - 1.0;
    mw_sections(at->c + SECTIONS + 5 * before, after, at->state + 2 * channels * before, channels, band, at->frames);
    for (int32_t i = 0; i < n; i++) at->audio[i] += at->c[LEVEL] * band[i];
    for (int32_t i = 0; at->forget && i < states; i++) at->state[i] = mw_kept(at->state[i], 1);
}

enum { PART, TARGET, LEAST, UP, DOWN, FALL, RISE, CROSSOVER };
enum { MEAN, MOVED, NOW, NEXT, SPLIT }; /* gains less 1, so that a reset is rest */
enum { LOOK = 32 };

static void look(const double *c, double *state) {
    double level = mw_octaves(state[MEAN]), wanted = 0.5 * (c[TARGET] - level);
    wanted = level < c[LEAST] ? 0.0 : mw_larger(mw_smaller(wanted, c[UP]), -c[DOWN]);
    state[MOVED] += (wanted < state[MOVED] ? c[FALL] : c[RISE]) * (wanted - state[MOVED]);
    state[MOVED] = mw_kept(state[MOVED], 1);
    state[NOW] = state[NEXT];
    state[NEXT] = mw_amplitude(state[MOVED]) - 1.0;
}

void mw_low_end(const mw_stage *at) {
    double low[2 * MW_STRIDE], high[2 * MW_STRIDE], *const parts[2] = {low, high}, *state = at->state;
    const int32_t channels = at->channels;
    mw_crossover(at->c + CROSSOVER, 2, 4, state + SPLIT, channels, at->audio, at->frames, at->forget, parts);
    for (int32_t i = 0; i < at->frames; i++) {
        const double *x = low + channels * i, *y = high + channels * i;
        float *gain = at->gains + (int64_t)at->gain_step * i;
        if (!at->replay) {
            int32_t inside = (int32_t)((at->frame + i) % LOOK);
            double power = channels == 2 ? 0.5 * (x[0] * x[0] + x[1] * x[1]) : x[0] * x[0];
            if (inside == 0) look(at->c, state);
            *gain = (float)(1.0 + (state[NOW] + (inside * (1.0 / LOOK)) * (state[NEXT] - state[NOW])));
            state[MEAN] += at->c[PART] * (power - state[MEAN]);
        }
        for (int32_t k = 0; k < channels; k++) at->audio[channels * i + k] = (double)*gain * x[k] + y[k];
    }
    state[MEAN] = mw_kept(state[MEAN], at->forget);
}
