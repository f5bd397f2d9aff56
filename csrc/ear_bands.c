/* SPDX-License-Identifier: Apache-2.0
 * Two ears that inhibit each other (Moore and Glasberg 2007; ISO 532-2:2017), and loudness by bands. What inhibits is
 * spread over 18 Cam to either side: that is worked out at every fourth filter and interpolated. */
#include "ear.h"

#define GROUP 4
#define COARSE (FILTERS / GROUP)

/* Specific loudness spread along the ear: spread[from][to] between the middles of groups. */
static void spread_out(const float *x, const float *spread, float *out) {
    float coarse[COARSE];
    for (int32_t c = 0; c < COARSE; c++) coarse[c] = 1e-13f;
    for (int32_t g = 0; g < COARSE; g++) {
        const float sum = x[GROUP * g] + x[GROUP * g + 1] + x[GROUP * g + 2] + x[GROUP * g + 3];
        for (int32_t c = 0; c < COARSE; c++) coarse[c] += sum * spread[COARSE * g + c];
    }
    /* The filters of a group lie at -3/8, -1/8, 1/8 and 3/8 of its width from its middle. */
    for (int32_t g = 0; g < COARSE; g++) {
        const float here = coarse[g], before = coarse[g > 0 ? g - 1 : g], after = coarse[g < COARSE - 1 ? g + 1 : g];
        out[GROUP * g] = here + 0.375f * (before - here);
        out[GROUP * g + 1] = here + 0.125f * (before - here);
        out[GROUP * g + 2] = here + 0.125f * (after - here);
        out[GROUP * g + 3] = here + 0.375f * (after - here);
    }
}

/* What one ear keeps: x (1 + sech(other / own)^1.5978) / 2. */
static void inhibit(const float *x, const float *own, const float *other, float *restrict out) {
    for (int32_t i = 0; i < FILTERS; i++) {
        float ratio = other[i] / own[i];
        ratio = ratio < 40.0f ? ratio : 40.0f;
        float up = power_of_two(1.44269504f * ratio), down = power_of_two(-1.44269504f * ratio);
        out[i] = x[i] * (0.5f + 0.5f * raise(2.0f / (up + down), 1.5978f));
    }
}

static int any(const float *x) {
    int32_t found = 0;
    for (int32_t i = 0; i < FILTERS; i++) found |= x[i] != 0.0f;
    return found;
}

/* Loudness of a layer in each band, both ears together: bands[cell][alone, strict, cued][band]. `edges`: first filter of
 * every band, and the end. left and right: patterns[cell][PATTERNS][FILTERS], which may be the same. */
MW_API void mw_ear_bands(const float *left, const float *right, int64_t cells, const float *spread, const int32_t *edges,
                         int32_t count, float step_cam, float *bands) {
    for (int64_t t = 0; t < cells; t++, left += PATTERNS * FILTERS, right += PATTERNS * FILTERS)
        for (int32_t k = 0; k < 3; k++, bands += count) {
            if (!any(left + k * FILTERS) && !any(right + k * FILTERS)) {
                memset(bands, 0, (size_t)count * sizeof *bands);
                continue;
            }
            float wide_left[FILTERS], wide_right[FILTERS], kept_left[FILTERS], kept_right[FILTERS];
            spread_out(left + k * FILTERS, spread, wide_left);
            spread_out(right + k * FILTERS, spread, wide_right);
            inhibit(left + k * FILTERS, wide_left, wide_right, kept_left);
            inhibit(right + k * FILTERS, wide_right, wide_left, kept_right);
            for (int32_t band = 0; band < count; band++) {
                float sum = 0.0f;
                for (int32_t i = edges[band]; i < edges[band + 1]; i++) sum += kept_left[i] + kept_right[i];
                bands[band] = step_cam * sum;
            }
        }
}
