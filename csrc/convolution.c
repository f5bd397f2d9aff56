/* SPDX-License-Identifier: Apache-2.0 */
#include "convolution.h"

#include "fft.h"
#include "mathematics.h"

#include <math.h> /* sqrt alone, which IEEE 754 rounds correctly everywhere */
#include <string.h>

enum { HALF = MW_STRIDE, WHOLE = MW_PART };

/* Real parts first, then imaginary parts: X[0] and X[HALF], both real, are the first of each. */
static void spectrum(const double *x, const double *waves, double *out) {
    double packed[WHOLE];
    memcpy(packed, x, sizeof packed);
    mw_fft(packed, WHOLE, waves);
    for (int32_t k = 0; k < HALF; k++) out[k] = packed[2 * k], out[HALF + k] = packed[2 * k + 1];
}

static void add_product(const double *restrict x, const double *restrict h, double *restrict sum) {
    double first = sum[0] + x[0] * h[0], last = sum[HALF] + x[HALF] * h[HALF];
    for (int32_t k = 0; k < HALF; k++) {
        sum[k] += x[k] * h[k] - x[HALF + k] * h[HALF + k];
        sum[HALF + k] += x[k] * h[HALF + k] + x[HALF + k] * h[k];
    }
    sum[0] = first;
    sum[HALF] = last;
}

/* The block in in[HALF ...] is complete: overlap-save. */
static void block(const double *c, int32_t count, int64_t number, double *in, double *out, double *past) {
    double sum[WHOLE] = {0.0}, packed[WHOLE];
    int32_t now = (int32_t)(number % count);
    spectrum(in, c, past + now * WHOLE);
    for (int32_t part = 0; part < count; part++)
        add_product(past + (now - part + (part > now ? count : 0)) * WHOLE, c + WHOLE * (1 + part), sum);
    for (int32_t k = 0; k < HALF; k++) packed[2 * k] = sum[k], packed[2 * k + 1] = sum[HALF + k];
    mw_fft_inverse(packed, WHOLE, c);
    memcpy(out, packed + HALF, sizeof(double) * HALF);
    memcpy(in, in + HALF, sizeof(double) * HALF);
}

void mw_convolve(const mw_stage *at) {
    int32_t inside = (int32_t)(at->frame % HALF), width = WHOLE + HALF + at->count * WHOLE;
    for (int32_t channel = 0; channel < at->channels; channel++) {
        double *in = at->state + channel * width, *out = in + WHOLE, *audio = at->audio + channel;
        for (int32_t i = 0; i < at->frames; i++, audio += at->channels) {
            in[HALF + inside + i] = *audio;
            *audio = out[inside + i];
        }
        if (inside + at->frames == HALF) block(at->c, at->count, at->frame / HALF, in, out, out + HALF);
    }
}

void mw_design_convolution(const double *taps, int32_t count, double *c) {
    mw_fft_waves(WHOLE, c);
    for (int32_t part = 0; part < count; part++) {
        double padded[WHOLE] = {0.0};
        memcpy(padded, taps + part * HALF, sizeof(double) * HALF);
        spectrum(padded, c, c + WHOLE * (1 + part));
    }
}

static double magnitude(const double *c, double re, double im) { /* of 1, z^-1 = re + j im, z^-2 in these shares */
    double re2 = re * re - im * im, im2 = 2.0 * re * im;
    double a = c[0] + (c[1] * re + c[2] * re2), b = c[1] * im + c[2] * im2;
    return sqrt(a * a + b * b);
}

void mw_design_linear(const double *sections, int32_t count, int32_t half, double *room, double *taps) {
    int32_t n = 8 * half; /* much longer than the filter, so that little comes round */
    double *response = room, *waves = room + n;
    mw_fft_waves(n, waves);
    for (int32_t k = 0; k <= n / 2; k++) {
        double gain = 1.0, re = k < n / 2 ? waves[2 * k] : -1.0, im = k < n / 2 ? waves[2 * k + 1] : 0.0;
        for (int32_t s = 0; s < count; s++) {
            const double *b = sections + 5 * s, a[3] = {1.0, b[3], b[4]};
            gain *= magnitude(b, re, im) / magnitude(a, re, im);
        }
        if (k == 0) response[0] = gain;
        else if (k == n / 2) response[1] = gain;
        else response[2 * k] = gain, response[2 * k + 1] = 0.0;
    }
    mw_fft_inverse(response, n, waves);
    taps[0] = 0.0;
    for (int32_t i = 1; i < 2 * half; i++) { /* the middle half as it is, then falling to 0 like a cosine */
        int32_t from = i < half ? half - i : i - half;
        double part = 2.0 * from / half - 1.0, c = mw_cos(0.5 * MW_PI * (part > 0.0 ? part : 0.0));
        taps[i] = response[from] * (c * c);
    }
}
