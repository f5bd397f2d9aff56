/* SPDX-License-Identifier: Apache-2.0
 * Specific loudness alone and in the rest of the mix (Moore, Glasberg and Baer 1997; ISO 532-3:2023), smoothed over time.
 * Straight loops over the filters in float: every lane does the same, so that any vector width gives the same bits. */
#include "ear.h"

#define QUIET 1e-3f /* below this excitation nothing is heard: the least threshold is 2 */

/* The compressive law minus its value at zero; where the total is above 1e10 the law of high levels. */
static inline float law(float e, float total, float gain, float offset, float exponent, float floor_) {
    float base = total > 1e10f ? e * (1.0f / 1.0707f) + 1e-20f : gain * e + offset;
    float power = total > 1e10f ? 0.2f : exponent;
    float zero = total > 1e10f ? 0.0f : floor_;
    return raise(base, power) - zero;
}

static inline float shrink(float signal, float masked) {
    float x = 2.0f * signal / (signal + masked);
    return x * __builtin_sqrtf(x);
}

/* Rows of `constants`: G, A, alpha, A^alpha, threshold, specific loudness at threshold / C, K strict, K cued. */
enum { GAIN, OFFSET, EXPONENT, FLOOR, THRESHOLD, LEAST, STRICT, CUED };

typedef struct {
    const float *gain, *offset, *exponent, *floor_, *threshold, *least;
} Constants;

static void in_quiet(const float *e, Constants c, float scale, float *restrict out) {
    for (int32_t i = 0; i < FILTERS; i++) {
        float x = e[i] > 1e-6f ? e[i] : 1e-6f;
        float value = law(x, x, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
        float less = shrink(x, c.threshold[i]);
        value = x < c.threshold[i] ? value * less : value;
        out[i] = scale * (value > 0.0f ? value : 0.0f); /* what is near zero may be rounded below it */
    }
}

/* The laws of total and noise are the same for every ratio at masked threshold. */
static void laws_of(const float *signal, const float *noise, Constants c, float *restrict of_total,
                    float *restrict of_noise) {
    for (int32_t i = 0; i < FILTERS; i++) {
        float total = signal[i] + noise[i];
        of_total[i] = law(total + 1e-6f, total, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
        of_noise[i] = law(noise[i] + 1e-6f, total, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
    }
}

static void in_noise(const float *signal, const float *noise, const float *of_total, const float *of_noise, Constants c,
                     const float *ratio, float scale, float *restrict out) {
    for (int32_t i = 0; i < FILTERS; i++) {
        float s = signal[i] > 1e-6f ? signal[i] : 1e-6f, n = noise[i];
        float masked = ratio[i] * n + c.threshold[i];
        float at = law(n + masked, signal[i] + n, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
        float above = of_total[i] - (at - c.least[i]) * raise(masked / s, 0.3f);
        float below = shrink(s, masked) * c.least[i] / (at - of_noise[i]) * (of_total[i] - of_noise[i]);
        float value = s >= masked ? above : below;
        out[i] = scale * (value > 0.0f ? value : 0.0f);
    }
}

static void smooth(float *state, const float *x, float attack, float release, float *sum) {
    for (int32_t i = 0; i < FILTERS; i++) {
        float step = x[i] - state[i];
        float next = state[i] + (step > 0.0f ? attack : release) * step;
        state[i] = next > 1e-12f ? next : 0.0f; /* what rings out ends */
        sum[i] += state[i];
    }
}

static float most(const float *x) {
    float lane[16] = {0};
    for (int32_t i = 0; i < FILTERS; i += 16)
        for (int32_t j = 0; j < 16; j++) lane[j] = x[i + j] > lane[j] ? x[i + j] : lane[j];
    float m = lane[0];
    for (int32_t j = 1; j < 16; j++) m = lane[j] > m ? lane[j] : m;
    return m;
}


/* One ear of one layer. `own`: excitation alone through its own filters; `shared` and `rest`: through those of the mix, of
 * the layer and of what is left without it; (frames, FILTERS). Every `hold` frames one cell of patterns[cell][PATTERNS][FILTERS]:
 * means of the smoothed specific loudness alone, strict, cued; of the loss strict, cued at the moment; of shared and rest.
 * state: [3][FILTERS]. */
MW_API void mw_ear_loudness(const float *own, const float *shared, const float *rest, int64_t frames, int32_t hold,
                            const float *constants, float scale, float attack, float release, float *state,
                            float *patterns) {
    const Constants c = {constants + GAIN * FILTERS,   constants + OFFSET * FILTERS,    constants + EXPONENT * FILTERS,
                         constants + FLOOR * FILTERS,  constants + THRESHOLD * FILTERS, constants + LEAST * FILTERS};
    const float share = 1.0f / (float)hold;
    for (int64_t t = 0; t < frames; t++, own += FILTERS, shared += FILTERS, rest += FILTERS) {
        float now[4][FILTERS] = {{0}}, of_total[FILTERS], of_noise[FILTERS];
        if (t % hold == 0) memset(patterns, 0, PATTERNS * FILTERS * sizeof *patterns);
        if (most(own) > QUIET) in_quiet(own, c, scale, now[0]);
        if (most(shared) > QUIET) {
            laws_of(shared, rest, c, of_total, of_noise);
            in_noise(shared, rest, of_total, of_noise, c, constants + STRICT * FILTERS, scale, now[1]);
            in_noise(shared, rest, of_total, of_noise, c, constants + CUED * FILTERS, scale, now[2]);
            in_quiet(shared, c, scale, now[3]);
        }
        for (int32_t k = 0; k < 3; k++) smooth(state + k * FILTERS, now[k], attack, release, patterns + k * FILTERS);
        for (int32_t i = 0; i < FILTERS; i++) {
            patterns[3 * FILTERS + i] += now[3][i] - now[1][i];
            patterns[4 * FILTERS + i] += now[3][i] - now[2][i];
            patterns[5 * FILTERS + i] += shared[i];
            patterns[6 * FILTERS + i] += rest[i];
        }
        if (t % hold == hold - 1) {
            for (int32_t i = 0; i < PATTERNS * FILTERS; i++) patterns[i] *= share;
            patterns += PATTERNS * FILTERS;
        }
    }
}
