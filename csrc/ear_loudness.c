/* SPDX-License-Identifier: Apache-2.0
 * Specific loudness alone and in the rest of the mix (Moore, Glasberg and Baer 1997; ISO 532-3:2023), smoothed over time.
 * Straight loops over the filters in float, for any vector width. */
#include "ear_law.h"

typedef struct {
    const float *gain, *offset, *exponent, *floor_, *threshold, *least;
} Constants;

static void in_quiet(const float *e, int32_t count, Constants c, float scale, float *restrict out) {
    for (int32_t i = 0; i < count; i++) {
        float x = e[i] > 1e-6f ? e[i] : 1e-6f;
        float value = law(x, x, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
        float less = shrink(x, c.threshold[i]);
        value = x < c.threshold[i] ? value * less : value;
        out[i] = scale * (value > 0.0f ? value : 0.0f); /* what is near zero may be rounded below it */
    }
}

/* The laws of total and noise are the same for every ratio at masked threshold. */
static void laws_of(const float *signal, const float *noise, int32_t count, Constants c, float *restrict of_total,
                    float *restrict of_noise) {
    for (int32_t i = 0; i < count; i++) {
        float total = signal[i] + noise[i];
        of_total[i] = law(total + 1e-6f, total, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
        of_noise[i] = law(noise[i] + 1e-6f, total, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
    }
}

static void in_noise(const float *signal, const float *noise, const float *of_total, const float *of_noise,
                     int32_t count, Constants c, const float *ratio, float scale, float *restrict out) {
    for (int32_t i = 0; i < count; i++) {
        float s = signal[i] > 1e-6f ? signal[i] : 1e-6f, n = noise[i];
        float masked = ratio[i] * n + c.threshold[i];
        float at = law(n + masked, signal[i] + n, c.gain[i], c.offset[i], c.exponent[i], c.floor_[i]);
        float above = of_total[i] - (at - c.least[i]) * raise(masked / s, 0.3f);
        float below = shrink(s, masked) * c.least[i] / (at - of_noise[i]) * (of_total[i] - of_noise[i]);
        float value = s >= masked ? above : below;
        out[i] = scale * (value > 0.0f ? value : 0.0f);
    }
}

static void smooth(float *state, const float *x, int32_t count, float attack, float release, float share, float *sum) {
    for (int32_t i = 0; i < count; i++) {
        float step = x[i] - state[i];
        float next = state[i] + (step > 0.0f ? attack : release) * step;
        state[i] = next > 1e-12f ? next : 0.0f; /* what rings out ends */
        sum[i] += share * state[i];
    }
}

static float most(const float *x, int32_t count) {
    float lane[16] = {0};
    for (int32_t i = 0; i < count; i += 16)
        for (int32_t j = 0; j < 16; j++) lane[j] = x[i + j] > lane[j] ? x[i + j] : lane[j];
    float m = lane[0];
    for (int32_t j = 1; j < 16; j++) m = lane[j] > m ? lane[j] : m;
    return m;
}

/* One ear of one layer. `own`: excitation alone through its own filters, NULL where loudness alone is not asked: zero then;
 * `shared` and `rest`: through those of the mix, of the layer and of what is left without it; rows of excitations, a
 * multiple of 16 places. Every `hold` frames one cell of patterns[cell][PATTERNS][FILTERS]: means of the smoothed specific
 * loudness alone, strict, cued; of the loss strict, cued at the moment; of shared and rest. constants[8][places]; attack
 * and release of one step, by part; state: [3][FILTERS]. */
MW_API void mw_ear_loudness(const float *own, const float *shared, const float *rest, int64_t frames, int32_t hold,
                            const int32_t *parts, int32_t count, const float *constants, float scale,
                            const float *attack, const float *release, float *state, float *patterns) {
    const int32_t n = places_of(parts, count);
    const Constants c = {constants + GAIN * n,   constants + OFFSET * n,    constants + EXPONENT * n,
                         constants + FLOOR * n,  constants + THRESHOLD * n, constants + LEAST * n};
    for (int64_t t = 0; t < frames; t++, own = own ? own + n : own, shared += n, rest += n) {
        float now[4][MOST_PLACES], of_total[MOST_PLACES], of_noise[MOST_PLACES];
        const int alone = own && most(own, n) > QUIET, mixed = most(shared, n) > QUIET;
        for (int32_t k = alone ? 1 : 0; k < 4; k++) memset(now[k], 0, (size_t)n * sizeof now[k][0]);
        if (t % hold == 0) memset(patterns, 0, PATTERNS * FILTERS * sizeof *patterns);
        if (alone) in_quiet(own, n, c, scale, now[0]);
        if (mixed) {
            laws_of(shared, rest, n, c, of_total, of_noise);
            in_noise(shared, rest, of_total, of_noise, n, c, constants + STRICT * n, scale, now[1]);
            in_noise(shared, rest, of_total, of_noise, n, c, constants + CUED * n, scale, now[2]);
            in_quiet(shared, n, c, scale, now[3]);
        }
        for (int32_t part = 0, at = 0; part < count; part++) {
            const int32_t first = parts[PART * part], filters = parts[PART * part + 1] - first;
            const int32_t steps = parts[PART * part + 2];
            const float share = 1.0f / (float)(hold * steps);
            float *to = patterns + first;
            for (int32_t s = 0; s < steps; s++, at += filters) {
                for (int32_t k = own ? 0 : 1; k < 3; k++)
                    smooth(state + k * FILTERS + first, now[k] + at, filters, attack[part], release[part], share,
                           to + k * FILTERS);
                for (int32_t i = 0; i < filters; i++) {
                    to[3 * FILTERS + i] += share * (now[3][at + i] - now[1][at + i]);
                    to[4 * FILTERS + i] += share * (now[3][at + i] - now[2][at + i]);
                    to[5 * FILTERS + i] += share * shared[at + i];
                    to[6 * FILTERS + i] += share * rest[at + i];
                }
            }
        }
        if (t % hold == hold - 1) patterns += PATTERNS * FILTERS;
    }
}
