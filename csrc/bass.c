/* SPDX-License-Identifier: Apache-2.0
 * Harmonics of a low range for loudspeakers that do not play it: what sections let through of the range, times what a
 * curve gives beside 1, through more sections, times a level, is added.
 *
 * count: sections before, 16 times those after. c: the curve (MW_CURVE), level, the sections. One column of gains a
 * channel. */
#include "colour.h"
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
