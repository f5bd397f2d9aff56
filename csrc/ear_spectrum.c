/* SPDX-License-Identifier: Apache-2.0
 * The running spectrum of one ear: outer and middle ear as filters in the time domain, then six windows, each at the
 * lowest rate that holds its range. At its own rate every window is 96 samples long, centred on the instant of its frame.
 * Nothing is kept between calls: a frame depends on the samples around it alone, however the audio was cut. */
#include "ear.h"

#define RANGES 6
#define HALF_BAND 6 /* coefficients at the odd distances 1 ... 11 from the centre, which is 1/2 */
#define HALF_WINDOW 48
#define LANES 8
#define TILE 8 /* vectors */
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
    for (; i + TILE * LANES <= count; i += TILE * LANES) {
        Eight sum[TILE];
        for (int32_t j = 0; j < TILE; j++) sum[j] = h[0] * load_eight(x + i + LANES * j);
        for (int32_t k = 1; k <= reach; k++)
            for (int32_t j = 0; j < TILE; j++)
                sum[j] += h[k] * (load_eight(x + i - k + LANES * j) + load_eight(x + i + k + LANES * j));
        for (int32_t j = 0; j < TILE; j++) store_eight(y + i + LANES * j, sum[j]);
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
static void project(const float *part, const float *wave, float (*out)[LANES]) {
    Eight a = {0}, b = {0}, c = {0}, d = {0}; /* by name: compilers keep arrays of vectors in memory */
    for (int32_t m = 0; m < HALF_WINDOW; m++, part += 4, wave += LANES) {
        const Eight weight = load_eight(wave);
        a += part[0] * weight, b += part[1] * weight, c += part[2] * weight, d += part[3] * weight;
    }
    store_eight(out[0], a), store_eight(out[1], b), store_eight(out[2], c), store_eight(out[3], d);
}

/* What is heard of one sound at the lowest rates that hold the ranges; `before`: samples before the first frame. */
typedef struct {
    const float *at_rate[RANGES];
    int32_t before[RANGES];
    float *room;
} Decimated;

static Decimated decimated(const float *x, int32_t frames, int32_t margin, const float *half_band, float *room) {
    Decimated d;
    int32_t length = 192 * frames + 2 * margin;
    d.at_rate[RANGES - 1] = x - margin;
    d.before[RANGES - 1] = margin;
    for (int32_t r = RANGES - 1; r > 0; r--) {
        /* What the half-band does not reach is left out at both ends. */
        const int32_t skip = 2 * HALF_BAND;
        d.before[r - 1] = (d.before[r] - skip) / 2;
        length = (length - 2 * skip) / 2;
        halve(d.at_rate[r] + d.before[r] - 2 * d.before[r - 1], room, length, half_band);
        d.at_rate[r - 1] = room;
        room += length;
    }
    d.room = room;
    return d;
}

/* The windows of a range after the ear's filter, in the room that is left: the middle of the first of them. */
static const float *through_ear(const Decimated *d, int32_t range, int32_t windows, int32_t hop, const float *ear,
                                int32_t reach) {
    const int32_t span = (windows - 1) * hop + 2 * HALF_WINDOW;
    filter(d->at_rate[range] + d->before[range] - HALF_WINDOW, d->room, span, ear, reach);
    return d->room + HALF_WINDOW;
}

/* Bins of `frames` frames of 192 samples, a multiple of 4; the first is centred on x[0]. x is readable from `margin`
 * samples before to `margin` samples after. `shape`, six rows from the longest window on: windows a frame, hop, groups of
 * 8 bins, reach of the ear's filter, all at the range's own rate. `ear` and `waves` hold the rows one after another;
 * `bins` likewise, each row (frames * windows, 2, 8 * groups). `room` holds 3 (192 frames + 2 margin) floats. */
MW_API void mw_ear_spectrum(const float *x, int32_t frames, int32_t margin, const int32_t *shape, const float *half_band,
                            const float *ear, const float *waves, float *bins, float *room) {
    const Decimated d = decimated(x, frames, margin, half_band, room);
    for (int32_t r = 0; r < RANGES; r++, shape += 4) {
        const int32_t windows = frames * shape[0], hop = shape[1], groups = shape[2], padded = LANES * groups;
        const float *at = through_ear(&d, r, windows, hop, ear, shape[3]);
        for (int32_t w = 0; w < windows; w += 4, at += 4 * hop) {
            float even[4 * HALF_WINDOW], odd[4 * HALF_WINDOW], out[4][LANES];
            fold(at, hop, 1.0f, even);
            fold(at, hop, -1.0f, odd);
            for (int32_t g = 0; g < 2 * groups; g++) {
                project(g % 2 ? odd : even, waves + g * HALF_WINDOW * LANES, out);
                for (int32_t k = 0; k < 4; k++)
                    memcpy(bins + (int64_t)(2 * (w + k) + g % 2) * padded + g / 2 * LANES, out[k], sizeof out[k]);
            }
        }
        ear += shape[3] + 1;
        waves += 2 * HALF_WINDOW * LANES * groups;
        bins += (int64_t)windows * 2 * padded;
    }
}

/* How rows of powers are laid out, and by what powers of bins are scaled in each range. */
typedef struct {
    const int32_t *counts, *parts;
    const float *scale;
    int32_t parted, width;
} Rows;

static void mean(float (*each)[MOST_BINS], int32_t windows, int32_t count, float scale, float *out) {
    const float share = scale / (float)windows;
    for (int32_t j = 0; j < count; j += LANES) {
        Eight whole = load_eight(each[0] + j);
        for (int32_t w = 1; w < windows; w++) whole += load_eight(each[w] + j);
        whole *= share;
        if (j + LANES <= count)
            store_eight(out + j, whole);
        else
            for (int32_t k = 0; j + k < count; k++) out[j + k] = whole[k];
    }
}

/* The windows of one frame in a range whose first component is `first`, into the frame's row. */
static void into_row(float (*each)[MOST_BINS], int32_t windows, int32_t range, int32_t first, const Rows *rows,
                     float *row) {
    const int32_t count = rows->counts[range];
    const float scale = rows->scale[range];
    float *own = row + COMPONENTS;
    mean(each, windows, count, scale, row + first);
    for (const int32_t *part = rows->parts; part < rows->parts + PART * rows->parted; part += PART) {
        const int32_t steps = part[2], fine = part[3], step = windows / steps;
        for (int32_t s = 0; first >= fine && s < steps; s++)
            mean(each + s * step, step, count, scale, own + s * (COMPONENTS - fine) + first - fine);
        own += steps * (COMPONENTS - fine);
    }
}

/* Rows of powers, laid out as `parts` say: scale[range] times the mean over the windows of a frame, or of a step of it, of
 * |bins|^2. `counts`: components of each range. Where a part has steps, there are at least as many windows. */
MW_API void mw_ear_power(const float *bins, int32_t frames, const int32_t *shape, const int32_t *counts,
                         const float *scale, const int32_t *parts, int32_t count, float *power) {
    const Rows rows = {counts, parts, scale, count, powers_of(parts, count)};
    for (int32_t r = 0, first = 0; r < RANGES; first += counts[r], r++, shape += 4) {
        const int32_t padded = LANES * shape[2], windows = shape[0];
        for (int32_t t = 0; t < frames; t++) {
            float each[MOST_STEPS][MOST_BINS];
            for (int32_t w = 0; w < windows; w++, bins += 2 * padded)
                for (int32_t j = 0; j < padded; j++)
                    each[w][j] = bins[j] * bins[j] + bins[padded + j] * bins[padded + j];
            into_row(each, windows, r, first, &rows, power + (int64_t)t * rows.width);
        }
    }
}

static void powers(const float *x, int32_t frames, int32_t margin, const int32_t *shape, const float *half_band,
                   const float *ear, const float *waves, const float *other, const int32_t *counts, const float *scale,
                   const int32_t *parts, int32_t count, float *power, float *rest, float *room) {
    const Decimated d = decimated(x, frames, margin, half_band, room);
    const Rows rows = {counts, parts, scale, count, powers_of(parts, count)};
    for (int32_t r = 0, first = 0; r < RANGES; first += counts[r], r++, shape += 4) {
        const int32_t windows = frames * shape[0], hop = shape[1], groups = shape[2], padded = LANES * groups;
        const float *at = through_ear(&d, r, windows, hop, ear, shape[3]);
        for (int32_t w = 0; w < windows; w += 4, at += 4 * hop, other += 8 * padded) {
            float even[4 * HALF_WINDOW], odd[4 * HALF_WINDOW], own[4][MOST_BINS], left[4][MOST_BINS];
            fold(at, hop, 1.0f, even);
            fold(at, hop, -1.0f, odd);
            for (int32_t g = 0; g < groups; g++) {
                const float *wave = waves + 2 * g * HALF_WINDOW * LANES;
                float re[4][LANES], im[4][LANES];
                project(even, wave, re);
                project(odd, wave + HALF_WINDOW * LANES, im);
                for (int32_t k = 0; k < 4; k++) {
                    const float *whole = other + 2 * k * padded + g * LANES;
                    const Eight x = load_eight(re[k]), y = load_eight(im[k]);
                    const Eight a = load_eight(whole) - x, b = load_eight(whole + padded) - y;
                    store_eight(own[k] + g * LANES, x * x + y * y);
                    store_eight(left[k] + g * LANES, a * a + b * b);
                }
            }
            for (int32_t k = 0; k < 4; k += shape[0]) {
                const int64_t row = (int64_t)((w + k) / shape[0]) * rows.width;
                into_row(own + k, shape[0], r, first, &rows, power + row);
                into_row(left + k, shape[0], r, first, &rows, rest + row);
            }
        }
        ear += shape[3] + 1;
        waves += 2 * HALF_WINDOW * LANES * groups;
    }
}

/* Rows of powers of each channel of a sound, and of another without it, whose bins are given; as mw_ear_spectrum and
 * mw_ear_power, but the bins of the sound are never stored. x[channel], and so on. */
MW_API void mw_ear_powers(const float *const *x, int32_t channels, int32_t frames, int32_t margin, const int32_t *shape,
                          const float *half_band, const float *ear, const float *waves, const float *const *other,
                          const int32_t *counts, const float *scale, const int32_t *parts, int32_t count,
                          float *const *power, float *const *rest, float *room) {
    for (int32_t k = 0; k < channels; k++)
        powers(x[k] + margin, frames, margin, shape, half_band, ear, waves, other[k], counts, scale, parts, count,
               power[k], rest[k], room);
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
