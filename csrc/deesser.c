/* SPDX-License-Identifier: Apache-2.0
 * De-esser: takes down a band, or the whole, by what the level of the band is above a threshold: soft knee and smooth
 * decoupled detector as in compressor.c, with a slope of 1. The band's level is told beside that of the voice as a whole
 * (its mean square, which rises faster than it falls, or that of this moment if larger), or beside full scale.
 *
 * The band is what a band-pass b of unit gain lets through; it is heard through b twice. With a gain g what comes out is
 * x + (g - 1) b(x): a bell of g, minimum phase, and x itself where g is 1.
 *
 * state: released and smoothed reduction, level of the voice, a mean square of band and of whole for each channel, then
 * two sections. */
#include "dynamics.h"

#include "detector.h"
#include "sections.h"

typedef struct {
    double threshold, knee, range; /* octaves */
    double attack, release;        /* what one frame leaves of a difference; so in these: */
    double keeps, rises, falls;    /* of mean squares, of the level of the voice as it rises and as it falls */
    double relative, split;        /* 1 or 0 */
    double band[10];               /* two sections */
} settings;

enum { RELEASED, REDUCTION, VOICE, BAND, WHOLE = BAND + 2, FILTERS = WHOLE + 2, STATES = FILTERS + 8 };

/* Powers in the band, and of what it is told beside. */
static void listen(const mw_stage *at, const settings *s, const double *in_band, double *band, double *beside) {
    int32_t two = at->channels == 2;
    double keeps = s->keeps, takes = 1.0 - keeps, rises = s->rises, falls = s->falls, voice = at->state[VOICE];
    mw_pair b, w;
    memcpy(&b, at->state + BAND, sizeof b);
    memcpy(&w, at->state + WHOLE, sizeof w);
    for (int32_t i = 0; i < at->frames; i++) {
        int32_t left = i * at->channels, right = left + two;
        mw_pair y = {in_band[left], in_band[right]}, x = {at->audio[left], at->audio[right]};
        b = keeps * b + takes * (y * y);
        w = keeps * w + takes * (x * x);
        double whole = mw_larger(w[0], w[1]), moves = whole > voice ? rises : falls;
        voice = moves * voice + (1.0 - moves) * whole;
        band[i] = mw_larger(b[0], b[1]);
        beside[i] = mw_larger(whole, voice);
    }
    memcpy(at->state + BAND, &b, sizeof b);
    memcpy(at->state + WHOLE, &w, sizeof w);
    at->state[VOICE] = voice;
}

static void gains_of(const mw_stage *at, const settings *s, const double *band, const double *beside, float *gains) {
    double wanted[MW_STRIDE], bend = 0.5 / s->knee, threshold = s->threshold, knee = s->knee, range = s->range;
    double attack = s->attack, release = s->release;
    double released = at->state[RELEASED], reduction = at->state[REDUCTION];
    for (int32_t i = 0; i < at->frames; i++) {
        double power = s->relative != 0.0 ? band[i] / mw_larger(beside[i], MW_NOTHING * MW_NOTHING) : band[i];
        wanted[i] = mw_smaller(mw_bent(0.5 * mw_octaves(power) - threshold, knee, bend), range);
    }
    for (int32_t i = 0; i < at->frames; i++) {
        double falling = release * released + (1.0 - release) * wanted[i];
        released = mw_larger(wanted[i], falling);
        wanted[i] = reduction = attack * reduction + (1.0 - attack) * released;
    }
    at->state[RELEASED] = released;
    at->state[REDUCTION] = reduction;
    for (int32_t i = 0; i < at->frames; i++) gains[i] = mw_taken_down(wanted[i]);
}

void mw_deess(const mw_stage *at) {
    const settings *s = (const settings *)at->c;
    int32_t samples = at->frames * at->channels, split = s->split != 0.0;
    double in_band[2 * MW_STRIDE], heard[2 * MW_STRIDE], *filters = at->state + FILTERS;
    if (split || !at->replay) {
        memcpy(in_band, at->audio, sizeof(double) * (size_t)samples);
        mw_sections(s->band, 1, filters, at->channels, in_band, at->frames);
    }
    if (!at->replay) {
        double band[MW_STRIDE], beside[MW_STRIDE];
        float gains[MW_STRIDE];
        memcpy(heard, in_band, sizeof(double) * (size_t)samples);
        mw_sections(s->band + 5, 1, filters + 2 * at->channels, at->channels, heard, at->frames);
        listen(at, s, heard, band, beside);
        gains_of(at, s, band, beside, gains);
        mw_write_gains(at, 0, gains);
    }
    for (int32_t k = 0; at->forget && k < STATES; k++) at->state[k] = mw_kept(at->state[k], 1);
    if (!split) {
        mw_multiply(at, 1);
        return;
    }
    for (int32_t i = 0; i < at->frames; i++) {
        double less = at->gains[i * at->gain_step] - 1.0;
        for (int32_t k = i * at->channels; k < (i + 1) * at->channels; k++) at->audio[k] += less * in_band[k];
    }
}
