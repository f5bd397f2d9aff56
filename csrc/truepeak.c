/* SPDX-License-Identifier: Apache-2.0
 * True peak: the largest magnitude of the samples and of 7 (or 15) points between each two, by a 64-tap interpolator.
 * Blocks that cannot exceed the peak found so far are skipped by three bounds that hold for every input. Each has a term
 * in `wide`, the largest sample that any tap of the block reads, which covers the rounding of float sums:
 *
 * 1. |y| <= bounds[0] * wide, the largest L1 norm of a phase.
 * 2. A point between x[n] and x[n+1] is their linear interpolation plus a fixed sum of second differences of x:
 *    |y| <= max|x| + bounds[1] * max|second difference of x| + bounds[2] * wide.
 * 3. The same on the grid of twice the density, once the half-way points are known; what remains has a small L1 norm:
 *    |y| <= max|grid| + bounds[3] * max|second difference of the grid| + bounds[4] * wide.
 *
 * All maxima use the operation `a > m ? a : m`, which does not depend on order; sums run tap by tap. */
#include <math.h>

#include "truepeak.h"

#define TAPS 64
/* Frames of a block; with one half-way point on either side, 64 are computed at once. */
#define BLOCK MW_TOPS
#define WIDTH 64
#define LANES 16

static float larger(float a, float b) { return a > b ? a : b; }

static float across(const float *lane) {
    float m = lane[0];
    for (int32_t j = 1; j < LANES; j++) m = larger(lane[j], m);
    return m;
}

/* Largest |x[i]|. */
static float largest(const float *x, int32_t n) {
    float lane[LANES] = {0};
    int32_t i = 0;
    for (; i + LANES <= n; i += LANES)
        for (int32_t j = 0; j < LANES; j++) lane[j] = larger(fabsf(x[i + j]), lane[j]);
    float m = across(lane);
    for (; i < n; i++) m = larger(fabsf(x[i]), m);
    return m;
}

/* Largest |x[i - 1] - 2 x[i] + x[i + 1]| of 128 places. */
static float roughest(const float *x) {
    float lane[LANES] = {0};
    for (int32_t i = 0; i < 128; i += LANES)
        for (int32_t j = 0; j < LANES; j++) {
            const float *p = x + i + j;
            lane[j] = larger(fabsf((p[-1] - p[0]) + (p[1] - p[0])), lane[j]);
        }
    return across(lane);
}

/* y[i] = sum over k of h[k] x[i + k], k rising, for 64 places. */
static void interpolate(const float *restrict x, const float *restrict h, float *restrict y) {
    for (int32_t i = 0; i < WIDTH; i++) y[i] = 0.0f;
    for (int32_t k = 0; k < TAPS; k += 8) {
        const float h0 = h[k], h1 = h[k + 1], h2 = h[k + 2], h3 = h[k + 3];
        const float h4 = h[k + 4], h5 = h[k + 5], h6 = h[k + 6], h7 = h[k + 7];
        const float *p = x + k;
        for (int32_t i = 0; i < WIDTH; i++)
            y[i] = y[i] + h0 * p[i] + h1 * p[i + 1] + h2 * p[i + 2] + h3 * p[i + 3] + h4 * p[i + 4] + h5 * p[i + 5] +
                   h6 * p[i + 6] + h7 * p[i + 7];
    }
}

/* Largest second difference on the grid x[0] half[1] x[1] half[2] ... x[62]; half[i] lies before x[i]. */
static float grid_roughness(const float *x, const float *half) {
    static const int32_t starts[4] = {0, LANES, 2 * LANES, BLOCK - LANES};
    float lane[LANES] = {0};
    for (int32_t s = 0; s < 4; s++) {
        const float *p = x + starts[s], *h = half + starts[s];
        for (int32_t j = 0; j < LANES; j++) {
            float at_sample = (h[j] - p[j]) + (h[j + 1] - p[j]);
            float at_half = (p[j] - h[j + 1]) + (p[j + 1] - h[j + 1]);
            lane[j] = larger(larger(fabsf(at_sample), fabsf(at_half)), lane[j]);
        }
    }
    return larger(fabsf((half[BLOCK] - x[BLOCK]) + (half[BLOCK + 1] - x[BLOCK])), across(lane));
}

int32_t mw_tops(const float *x, const float *taps, const float *bounds, int32_t phases, float peak, float *tops,
                int64_t *work) {
    float y[WIDTH];
    work[0]++;
    const float wide = largest(x - 40, 144);
    if (bounds[0] * wide <= peak) return 0;
    const float samples = largest(x, WIDTH);
    if (samples + bounds[1] * roughest(x - 32) + bounds[2] * wide <= peak) return 0;
    work[1]++;
    interpolate(x - TAPS / 2, taps + phases / 2 * TAPS, y);
    const float grid = larger(largest(y, WIDTH), samples);
    if (grid + bounds[3] * grid_roughness(x, y) + bounds[4] * wide <= peak) return 0;
    work[2]++;
    for (int32_t i = 0; i < BLOCK; i++) tops[i] = larger(fabsf(x[i]), fabsf(y[i + 1]));
    for (int32_t phase = 1; phase < phases; phase++) {
        if (phase == phases / 2) continue;
        interpolate(x - TAPS / 2 + 1, taps + phase * TAPS, y);
        for (int32_t i = 0; i < BLOCK; i++) tops[i] = larger(fabsf(y[i]), tops[i]);
    }
    return 1;
}

static void true_peak(const float *x, int64_t stride, int32_t channels, const int32_t *edges, int32_t segments,
                      const float *taps, const float *bounds, int32_t phases, float *peaks, int64_t *work) {
    for (int32_t segment = 0; segment < segments; segment++) {
        int32_t start = edges[segment], end = edges[segment + 1];
        float peak = peaks[segment], tops[BLOCK];
        for (int32_t c = 0; c < channels; c++) peak = larger(largest(x + c * stride + start, end - start), peak);
        for (int32_t c = 0; c < channels; c++)
            for (int32_t at = start; at < end; at += BLOCK) {
                int32_t n = end - at < BLOCK ? end - at : BLOCK;
                if (mw_tops(x + c * stride + at, taps, bounds, phases, peak, tops, work))
                    peak = larger(largest(tops, n), peak);
            }
        peaks[segment] = peak;
    }
}

/* Raise peaks[i] to the true peak of segment [edges[i], edges[i + 1]) over all channels of planar `x`.
 * x must be readable from 40 frames before to 127 frames after every segment. `taps`: 8 phases of 64.
 * `work` counts blocks met, blocks with half-way points computed, blocks computed whole. */
MW_API void mw_true_peak(const float *x, int64_t stride, int32_t channels, const int32_t *edges, int32_t segments,
                         const float *taps, const float *bounds, float *peaks, int64_t *work) {
    true_peak(x, stride, channels, edges, segments, taps, bounds, 8, peaks, work);
}

/* The same with 16 phases. */
MW_API void mw_true_peak_16(const float *x, int64_t stride, int32_t channels, const int32_t *edges, int32_t segments,
                            const float *taps, const float *bounds, float *peaks, int64_t *work) {
    true_peak(x, stride, channels, edges, segments, taps, bounds, 16, peaks, work);
}
