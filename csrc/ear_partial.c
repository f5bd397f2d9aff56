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

static void in_rest(const float *own, const float *rest, int32_t places, const float *constants, const float *ratio,
                    float scale, float *restrict sone, float *restrict s_slope, float *restrict n_slope) {
    const float *gain = constants + GAIN * places, *offset = constants + OFFSET * places;
    const float *exponent = constants + EXPONENT * places, *floor_ = constants + FLOOR * places;
    const float *threshold = constants + THRESHOLD * places, *least = constants + LEAST * places;
    for (int32_t i = 0; i < places; i++) {
        const float s = own[i] > LEAST_HEARD ? own[i] : LEAST_HEARD, n = rest[i], k = ratio[i];
        const int loud = own[i] + n > LOUD;
        const float masked = k * n + threshold[i], part = masked / s;
        Law total = sloped(own[i] + n + 1e-6f, loud, gain[i], offset[i], exponent[i], floor_[i]);
        Law noise = sloped(n + 1e-6f, loud, gain[i], offset[i], exponent[i], floor_[i]);
        Law at = sloped(n + masked, loud, gain[i], offset[i], exponent[i], floor_[i]);
        const float at_slope = at.slope * (1.0f + k);
        /* Above masked threshold. */
        const float falls = raise(part, 0.3f), held = (at.value - least[i]) * falls;
        const float above = total.value - held, above_by_s = total.slope + 0.3f * held / s;
        const float above_by_n = total.slope - at_slope * falls - 0.3f * held * k / masked;
        /* And below it. */
        const float less = shrink(s, masked), gap = at.value - noise.value;
        const float size = less * least[i] / gap, over = total.value - noise.value;
        const float below = size * over;
        const float below_by_s = size * (1.5f * masked / (s * (s + masked)) * over + total.slope);
        const float below_by_n = size * (total.slope - noise.slope) -
                                 below * (1.5f * k / (s + masked) + (at_slope - noise.slope) / gap);
        const int clear = s >= masked;
        const float value = clear ? above : below;
        const int heard = value > 0.0f;
        sone[i] = heard ? scale * value : 0.0f;
        s_slope[i] = heard ? scale * (clear ? above_by_s : below_by_s) : 0.0f;
        n_slope[i] = heard ? scale * (clear ? above_by_n : below_by_n) : 0.0f;
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
        float unasked[2][MOST_PLACES];
        float *s_slope = by_own ? by_own + t * places : unasked[0], *n_slope = by_own ? by_rest + t * places : unasked[1];
        if (sounds(own, places)) {
            in_rest(own, rest, places, constants, ratio, scale, sone, s_slope, n_slope);
        } else {
            memset(sone, 0, (size_t)places * sizeof *sone);
            memset(s_slope, 0, (size_t)places * sizeof *s_slope);
            memset(n_slope, 0, (size_t)places * sizeof *n_slope);
        }
    }
}
