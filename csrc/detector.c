/* SPDX-License-Identifier: Apache-2.0 */
#include "detector.h"
#include "sections.h"

/* Magnitudes, or mean squares. */
static void follow(const mw_detector *d, int32_t channels, const double *audio, double *means, double *out,
                   int32_t frames) {
    if (d->kind == MW_PEAK) {
        for (int32_t k = 0; k < channels; k++)
            for (int32_t i = 0; i < frames; i++) out[MW_STRIDE * k + i] = mw_magnitude(audio[channels * i + k]);
        return;
    }
    double keeps = d->keeps, takes = 1.0 - keeps;
    if (channels == 1) {
        double mean = means[0];
        for (int32_t i = 0; i < frames; i++) out[i] = mean = keeps * mean + takes * (audio[i] * audio[i]);
        means[0] = mean;
        return;
    }
    mw_pair mean = {means[0], means[1]};
    for (int32_t i = 0; i < frames; i++) {
        mw_pair x = {audio[2 * i], audio[2 * i + 1]};
        mean = keeps * mean + takes * (x * x);
        out[i] = mean[0];
        out[MW_STRIDE + i] = mean[1];
    }
    means[0] = mean[0];
    means[1] = mean[1];
}

void mw_listen(const mw_stage *at, const mw_detector *d, int32_t sections, double *state, double *heard) {
    double own[2 * MW_STRIDE], *audio = at->audio;
    int32_t n = at->frames, channels = at->key ? 2 : at->channels, lanes = mw_lanes(at, d);
    if (at->key || sections) audio = own;
    for (int32_t i = 0; at->key && i < n; i++) {
        own[2 * i] = at->key[i * at->key_step];
        own[2 * i + 1] = at->key[i * at->key_step + 1];
    }
    if (!at->key && sections) memcpy(own, at->audio, sizeof(double) * (size_t)(n * channels));
    mw_sections((const double *)(d + 1), sections, state + 2, channels, audio, n);
    follow(d, channels, audio, state, heard, n);
    for (int32_t i = 0; at->forget && i < (int32_t)MW_DETECTOR_STATE(sections); i++) state[i] = mw_kept(state[i], 1);
    if (channels == 1) return;
    const double *left = heard, *right = heard + MW_STRIDE;
    if (d->kind == MW_LOUDNESS) { /* the loudness of both is that of the sum (ITU-R BS.1770) */
        double *both = lanes == 1 ? heard : heard + 2 * MW_STRIDE;
        for (int32_t i = 0; i < n; i++) both[i] = left[i] + right[i];
    } else if (lanes == 1) {
        for (int32_t i = 0; i < n; i++) heard[i] = mw_larger(left[i], right[i]);
    }
}

void mw_write_gains(const mw_stage *at, int32_t column, const float *gains) {
    for (int32_t i = 0; i < at->frames; i++) at->gains[i * at->gain_step + column] = gains[i];
}

void mw_multiply(const mw_stage *at, int32_t columns) {
    const float *gains = at->gains;
    int32_t other = columns - 1;
    if (at->channels == 1) {
        for (int32_t i = 0; i < at->frames; i++) at->audio[i] *= gains[i * at->gain_step];
        return;
    }
    for (int32_t i = 0; i < at->frames; i++) {
        at->audio[2 * i] *= gains[i * at->gain_step];
        at->audio[2 * i + 1] *= gains[i * at->gain_step + other];
    }
}
