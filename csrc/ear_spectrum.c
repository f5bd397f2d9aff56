/* SPDX-License-Identifier: Apache-2.0
 * The running spectrum of one ear: outer and middle ear as filters in the time domain, then six windows, each at the
 * lowest rate that holds its range. At its own rate every window is 96 samples long, centred on the instant of its frame.
 * Nothing is kept between calls: a frame depends on the samples around it alone, however the audio was cut. */
#include "ear.h"

#define RANGES 6
#define HALF_BAND 6 /* coefficients at the odd distances 1 ... 11 from the centre, which is 1/2 */
#define HALF_WINDOW 48
#define LANES 8
#define TILE 32
#define MOST_BINS 64 /* of one range */

/* y[i] = the half-band low-pass of x at x[2 i]. */
static void halve(const float *x, float *y, int32_t count, const float *h) {
    for (int32_t i = 0; i < count; i++, x += 2)
        y[i] = 0.5f * x[0] + h[0] * (x[-1] + x[1]) + h[1] * (x[-3] + x[3]) + h[2] * (x[-5] + x[5]) +
               h[3] * (x[-7] + x[7]) + h[4] * (x[-9] + x[9]) + h[5] * (x[-11] + x[11]);
}

/* A symmetric filter: y[i] = h[0] x[i] + sum over k of h[k] (x[i - k] + x[i + k]). */
static void filter(const float *x, float *y, int32_t count, const float *h, int32_t reach) {
    int32_t i = 0;
    for (; i + TILE <= count; i += TILE) {
        float sum[TILE];
        for (int32_t j = 0; j < TILE; j++) sum[j] = h[0] * x[i + j];
        for (int32_t k = 1; k <= reach; k++) {
            const float *a = x + i - k, *b = x + i + k;
            for (int32_t j = 0; j < TILE; j++) sum[j] += h[k] * (a[j] + b[j]);
        }
        for (int32_t j = 0; j < TILE; j++) y[i + j] = sum[j];
    }
    for (; i < count; i++) {
        float sum = h[0] * x[i];
        for (int32_t k = 1; k <= reach; k++) sum += h[k] * (x[i - k] + x[i + k]);
        y[i] = sum;
    }
}

/* Even (sign +1) or odd parts of four windows, `hop` samples apart: part[m][window]. */
static void fold(const float *x, int32_t hop, float sign, float *part) {
    for (int32_t w = 0; w < 4; w++, x += hop) {
        part[w] = x[0];
        for (int32_t m = 1; m < HALF_WINDOW; m++) part[4 * m + w] = x[m] + sign * x[-m];
    }
}

/* out[window][lane] = sum over m of part[m][window] wave[m][lane]. */
static void project(const float *part, const float *wave, float *out) {
    float sum[4][LANES] = {{0}};
    for (int32_t m = 0; m < HALF_WINDOW; m++)
        for (int32_t w = 0; w < 4; w++)
            for (int32_t j = 0; j < LANES; j++) sum[w][j] += part[4 * m + w] * wave[LANES * m + j];
    for (int32_t w = 0; w < 4; w++)
        for (int32_t j = 0; j < LANES; j++) out[LANES * w + j] = sum[w][j];
}

/* All bins of one range: `windows` of them, a multiple of 4, to bins[window][2][padded]. */
static void transform(const float *x, int32_t hop, int32_t windows, int32_t groups, const float *waves, float *bins) {
    float even[4 * HALF_WINDOW], odd[4 * HALF_WINDOW], out[4 * LANES];
    const int32_t padded = groups * LANES, size = HALF_WINDOW * LANES;
    for (int32_t w = 0; w < windows; w += 4, x += 4 * hop) {
        fold(x, hop, 1.0f, even);
        fold(x, hop, -1.0f, odd);
        for (int32_t g = 0; g < groups; g++)
            for (int32_t part = 0; part < 2; part++) {
                project(part ? odd : even, waves + (2 * g + part) * size, out);
                for (int32_t k = 0; k < 4; k++)
                    for (int32_t j = 0; j < LANES; j++)
                        bins[(int64_t)(2 * (w + k) + part) * padded + g * LANES + j] = out[LANES * k + j];
            }
    }
}

/* Bins of `frames` frames of 192 samples, a multiple of 4; the first is centred on x[0]. x is readable from `margin`
 * samples before to `margin` samples after. `shape`, six rows from the longest window on: windows a frame, hop, groups of
 * 8 bins, reach of the ear's filter, all at the range's own rate. `ear` and `waves` hold the rows one after another;
 * `bins` likewise, each row (frames * windows, 2, 8 * groups). `room` holds 3 (192 frames + 2 margin) floats. */
MW_API void mw_ear_spectrum(const float *x, int32_t frames, int32_t margin, const int32_t *shape, const float *half_band,
                            const float *ear, const float *waves, float *bins, float *room) {
    const float *at_rate[RANGES];
    int32_t before[RANGES], length[RANGES];
    at_rate[RANGES - 1] = x - margin;
    before[RANGES - 1] = margin;
    length[RANGES - 1] = 192 * frames + 2 * margin;
    for (int32_t r = RANGES - 1; r > 0; r--) {
        /* What the half-band does not reach is left out at both ends. */
        const int32_t skip = 2 * HALF_BAND;
        before[r - 1] = (before[r] - skip) / 2;
        length[r - 1] = (length[r] - 2 * skip) / 2;
        halve(at_rate[r] + before[r] - 2 * before[r - 1], room, length[r - 1], half_band);
        at_rate[r - 1] = room;
        room += length[r - 1];
    }
    for (int32_t r = 0; r < RANGES; r++, shape += 4) {
        const int32_t windows = frames * shape[0], hop = shape[1], reach = shape[3];
        const int32_t span = (windows - 1) * hop + 2 * HALF_WINDOW;
        filter(at_rate[r] + before[r] - HALF_WINDOW, room, span, ear, reach);
        transform(room + HALF_WINDOW, hop, windows, shape[2], waves, bins);
        ear += reach + 1;
        waves += 2 * HALF_WINDOW * LANES * shape[2];
        bins += (int64_t)windows * 2 * LANES * shape[2];
    }
}

static void mean(float (*each)[MOST_BINS], int32_t windows, int32_t count, float scale, float *restrict out) {
    const float share = scale / (float)windows;
    for (int32_t j = 0; j < count; j++) {
        float sum = each[0][j];
        for (int32_t w = 1; w < windows; w++) sum += each[w][j];
        out[j] = share * sum;
    }
}

/* Rows of powers, laid out as `parts` say: scale[range] times the mean over the windows of a frame, or of a step of it, of
 * |bins|^2, or of |other - bins|^2 where `other` is given. `counts`: components of each range. Where a part has steps,
 * there are at least as many windows. */
MW_API void mw_ear_power(const float *bins, const float *other, int32_t frames, const int32_t *shape,
                         const int32_t *counts, const float *scale, const int32_t *parts, int32_t count,
                         float *power) {
    const int32_t width = powers_of(parts, count);
    for (int32_t r = 0, first = 0; r < RANGES; first += counts[r], r++, shape += 4) {
        const int32_t padded = LANES * shape[2], windows = shape[0];
        for (int32_t t = 0; t < frames; t++) {
            float each[MOST_STEPS][MOST_BINS], *row = power + (int64_t)t * width, *own = row + COMPONENTS;
            for (int32_t w = 0; w < windows; w++) {
                const float *re = bins + (int64_t)2 * (t * windows + w) * padded, *im = re + padded;
                if (other) {
                    const float *re2 = other + (re - bins), *im2 = re2 + padded;
                    for (int32_t j = 0; j < padded; j++) {
                        float a = re2[j] - re[j], b = im2[j] - im[j];
                        each[w][j] = a * a + b * b;
                    }
                } else {
                    for (int32_t j = 0; j < padded; j++) each[w][j] = re[j] * re[j] + im[j] * im[j];
                }
            }
            mean(each, windows, counts[r], scale[r], row + first);
            for (const int32_t *part = parts; part < parts + PART * count; part += PART) {
                const int32_t steps = part[2], fine = part[3], step = windows / steps;
                for (int32_t s = 0; first >= fine && s < steps; s++)
                    mean(each + s * step, step, counts[r], scale[r], own + s * (COMPONENTS - fine) + first - fine);
                own += steps * (COMPONENTS - fine);
            }
        }
        bins += (int64_t)2 * frames * windows * padded;
        if (other) other += (int64_t)2 * frames * windows * padded;
    }
}

/* Powers of all components at one moment of some frames, from rows of powers: moment[k], from 0 to below 1, of frame
 * chosen[k]. */
MW_API void mw_ear_moments(const float *power, const int32_t *chosen, const float *moment, int32_t count,
                           const int32_t *parts, int32_t parted, float *out) {
    const int32_t width = powers_of(parts, parted);
    for (int32_t k = 0; k < count; k++, out += COMPONENTS) {
        const float *row = power + (int64_t)chosen[k] * width, *own = row + COMPONENTS;
        memcpy(out, row, COMPONENTS * sizeof *out);
        for (const int32_t *part = parts; part < parts + PART * parted; part += PART) {
            const int32_t steps = part[2], size = COMPONENTS - part[3];
            memcpy(out + part[3], own + (int32_t)(moment[k] * (float)steps) * size, (size_t)size * sizeof *out);
            own += steps * size;
        }
    }
}
