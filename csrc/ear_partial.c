/* SPDX-License-Identifier: Apache-2.0
 * Specific loudness of places at moments by themselves, alone and in the rest of the mix, and how it changes with what
 * excites them: the laws of ear_loudness.c and their derivatives. Straight loops, the same bits at any vector width. */
#include "ear_law.h"

/* A law and its slope. */
typedef struct {
    float value, slope;
} Law;

static inline Law sloped(float e, int loud, float gain, float offset, float exponent, float floor_) {
    float growth = loud ? 1.0f / 1.0707f : gain;
    float base = growth * e + (loud ? 1e-20f : offset);
    float power = loud ? 0.2f : exponent;
    float raised = raise(base, power);
    Law found = {raised - (loud ? 0.0f : floor_), power * growth * raised / base};
    return found;
}

static int32_t sounds(const float *own, int32_t places) {
    int32_t any = 0;
    for (int32_t i = 0; i < places; i++) any |= own[i] > QUIET;
    return any;
}

static void alone(const float *own, int32_t places, const float *constants, float scale, float *restrict sone,
                  float *restrict slope) {
    const float *gain = constants + GAIN * places, *offset = constants + OFFSET * places;
    const float *exponent = constants + EXPONENT * places, *floor_ = constants + FLOOR * places;
    const float *threshold = constants + THRESHOLD * places;
    for (int32_t i = 0; i < places; i++) {
        float e = own[i] > LEAST_HEARD ? own[i] : LEAST_HEARD, t = threshold[i];
        Law whole = sloped(e, e > LOUD, gain[i], offset[i], exponent[i], floor_[i]);
        float shrunk = shrink(e, t), less = e < t ? shrunk : 1.0f;
        float steeper = e < t ? 1.5f * t / (e * (e + t)) : 0.0f;
        float value = scale * less * whole.value, change = scale * less * (whole.slope + steeper * whole.value);
        sone[i] = value > 0.0f ? value : 0.0f; /* what is near zero may be rounded below it */
        slope[i] = value > 0.0f ? change : 0.0f;
    }
}

/* The laws of total, of noise and of noise with what it masks, and of their slopes. */
typedef struct {
    float total[MOST_PLACES], by_total[MOST_PLACES], noise[MOST_PLACES], by_noise[MOST_PLACES];
    float at[MOST_PLACES], by_at[MOST_PLACES];
} Laws;

static void laws_of(const float *own, const float *rest, int32_t places, const float *constants, const float *ratio,
                    Laws *restrict laws) {
    const float *gain = constants + GAIN * places, *offset = constants + OFFSET * places;
    const float *exponent = constants + EXPONENT * places, *floor_ = constants + FLOOR * places;
    const float *threshold = constants + THRESHOLD * places;
    for (int32_t i = 0; i < places; i++) {
        const int loud = own[i] + rest[i] > LOUD;
        Law total = sloped(own[i] + rest[i] + 1e-6f, loud, gain[i], offset[i], exponent[i], floor_[i]);
        Law noise = sloped(rest[i] + 1e-6f, loud, gain[i], offset[i], exponent[i], floor_[i]);
        Law at = sloped(rest[i] + (ratio[i] * rest[i] + threshold[i]), loud, gain[i], offset[i], exponent[i], floor_[i]);
        laws->total[i] = total.value, laws->by_total[i] = total.slope;
        laws->noise[i] = noise.value, laws->by_noise[i] = noise.slope;
        laws->at[i] = at.value, laws->by_at[i] = at.slope * (1.0f + ratio[i]);
    }
}

static void in_rest(const float *own, const float *rest, const Laws *laws, int32_t places, const float *constants,
                    const float *ratio, float scale, float *restrict sone, float *restrict by_own,
                    float *restrict by_rest) {
    const float *threshold = constants + THRESHOLD * places, *least = constants + LEAST * places;
    for (int32_t i = 0; i < places; i++) {
        const float s = own[i] > LEAST_HEARD ? own[i] : LEAST_HEARD, k = ratio[i];
        const float masked = k * rest[i] + threshold[i], total = laws->total[i], noise = laws->noise[i];
        const float by_total = laws->by_total[i], by_noise = laws->by_noise[i], by_at = laws->by_at[i];
        /* Above masked threshold. */
        const float falls = raise(masked / s, 0.3f), held = (laws->at[i] - least[i]) * falls;
        const float above = total - held, above_by_own = by_total + 0.3f * held / s;
        const float above_by_rest = by_total - by_at * falls - 0.3f * held * k / masked;
        /* And below it. */
        const float gap = laws->at[i] - noise, size = shrink(s, masked) * least[i] / gap, over = total - noise;
        const float below = size * over, below_by_own = size * (1.5f * masked / (s * (s + masked)) * over + by_total);
        const float below_by_rest =
            size * (by_total - by_noise) - below * (1.5f * k / (s + masked) + (by_at - by_noise) / gap);
        const float value = s >= masked ? above : below;
        const float change = s >= masked ? above_by_own : below_by_own;
        const float taken = s >= masked ? above_by_rest : below_by_rest;
        sone[i] = value > 0.0f ? scale * value : 0.0f;
        by_own[i] = value > 0.0f ? scale * change : 0.0f;
        by_rest[i] = value > 0.0f ? scale * taken : 0.0f;
    }
}

/* Rows of `places` excitations alone: sone[row][place], scale times specific loudness; by_own, its derivative, may be NULL.
 * constants[8][places]. A row in which nothing is heard is 0. */
MW_API void mw_ear_alone(const float *own, int64_t rows, int32_t places, const float *constants, float scale,
                         float *sone, float *by_own) {
    for (int64_t t = 0; t < rows; t++, own += places, sone += places) {
        float unasked[MOST_PLACES], *slope = by_own ? by_own + t * places : unasked;
        if (sounds(own, places)) {
            alone(own, places, constants, scale, sone, slope);
        } else {
            memset(sone, 0, (size_t)places * sizeof *sone);
            memset(slope, 0, (size_t)places * sizeof *slope);
        }
    }
}

/* Rows of `places` excitations in what else there is: sone[row][place], scale times partial specific loudness, and its
 * derivatives by both, of which both may be NULL. `ratio`: of signal to noise at masked threshold, by place; the rest is as
 * in mw_ear_alone. */
MW_API void mw_ear_partial(const float *own, const float *rest, int64_t rows, int32_t places, const float *constants,
                           const float *ratio, float scale, float *sone, float *by_own, float *by_rest) {
    for (int64_t t = 0; t < rows; t++, own += places, rest += places, sone += places) {
        Laws laws;
        float unasked[2][MOST_PLACES];
        float *s_slope = by_own ? by_own + t * places : unasked[0], *n_slope = by_own ? by_rest + t * places : unasked[1];
        if (sounds(own, places)) {
            laws_of(own, rest, places, constants, ratio, &laws);
            in_rest(own, rest, &laws, places, constants, ratio, scale, sone, s_slope, n_slope);
        } else {
            memset(sone, 0, (size_t)places * sizeof *sone);
            memset(s_slope, 0, (size_t)places * sizeof *s_slope);
            memset(n_slope, 0, (size_t)places * sizeof *n_slope);
        }
    }
}
