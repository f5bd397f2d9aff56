/* SPDX-License-Identifier: Apache-2.0
 * Metering: interleaved blocks to planar float, and the sums of every sub-block of 10 ms.
 * Sums run in a fixed order (sequential, or in four fixed lanes), so every build gives the same bits. */
#include "mw.h"

#define LANES 4

/* A sample is usable when finite and below 1e30: nothing that follows can then overflow a float. */
#define USABLE(v) ((v) <= 1e30f && (v) >= -1e30f)

/* Copy interleaved `in` (frames x channels) into rows of `out`, `stride` floats apart.
 * Returns the first frame with a sample that is not usable, or -1. */
MW_API int64_t mw_planar_f32(const float *in, int64_t frames, int32_t channels, float *out, int64_t stride) {
    int32_t bad = 0;
    if (channels == 2) {
        float *left = out, *right = out + stride;
        for (int64_t i = 0; i < frames; i++) {
            float a = in[2 * i], b = in[2 * i + 1];
            bad |= !USABLE(a) | !USABLE(b);
            left[i] = a;
            right[i] = b;
        }
    } else {
        for (int32_t c = 0; c < channels; c++)
            for (int64_t i = 0; i < frames; i++) {
                float a = in[i * channels + c];
                bad |= !USABLE(a);
                out[c * stride + i] = a;
            }
    }
    if (bad)
        for (int64_t i = 0; i < frames * channels; i++)
            if (!USABLE(in[i])) return i / channels;
    return -1;
}

/* The same for double input, which is rounded to float. */
MW_API int64_t mw_planar_f64(const double *in, int64_t frames, int32_t channels, float *out, int64_t stride) {
    int32_t bad = 0;
    for (int32_t c = 0; c < channels; c++)
        for (int64_t i = 0; i < frames; i++) {
            double a = in[i * channels + c];
            bad |= !USABLE(a);
            out[c * stride + i] = (float)a;
        }
    if (bad)
        for (int64_t i = 0; i < frames * channels; i++)
            if (!USABLE(in[i])) return i / channels;
    return -1;
}

static int all_zero(const float *x, int32_t n) {
    int32_t any = 0;
    for (int32_t i = 0; i < n; i++) any |= x[i] != 0.0f;
    return !any;
}

static double lanes_total(const double *lane) { return (lane[0] + lane[1]) + (lane[2] + lane[3]); }

/* Sum, sum of squares, and sum of products of two channels. */
static void plain_sums(const float *a, const float *b, int32_t n, double *sum_a, double *sum_b, double *square_a,
                       double *square_b, double *product) {
    double sa[LANES] = {0}, sb[LANES] = {0}, qa[LANES] = {0}, qb[LANES] = {0}, pr[LANES] = {0};
    int32_t i = 0;
    for (; i + LANES <= n; i += LANES)
        for (int32_t j = 0; j < LANES; j++) {
            double u = a[i + j], v = b[i + j];
            sa[j] += u;
            sb[j] += v;
            qa[j] += u * u;
            qb[j] += v * v;
            pr[j] += u * v;
        }
    for (int32_t j = 0; i < n; i++, j++) {
        double u = a[i], v = b[i];
        sa[j] += u;
        sb[j] += v;
        qa[j] += u * u;
        qb[j] += v * v;
        pr[j] += u * v;
    }
    *sum_a = lanes_total(sa);
    *sum_b = lanes_total(sb);
    *square_a = lanes_total(qa);
    *square_b = lanes_total(qb);
    *product = lanes_total(pr);
}

/* K-weighting of ITU-R BS.1770-5, Annex 1: shelf (b0 b1 b2 a1 a2), then high-pass (1 -2 1, a1 a2), both in transposed
 * direct form 2, two channels side by side. State: shelf 1, shelf 2, high-pass 1, high-pass 2. */
static void k_weighted_power(const float *a, const float *b, int32_t n, const double *k, double *state_a,
                             double *state_b, double *power_a, double *power_b) {
    const double b0 = k[0], b1 = k[1], b2 = k[2], a1 = k[3], a2 = k[4], c1 = k[5], c2 = k[6];
    double s1[2] = {state_a[0], state_b[0]}, s2[2] = {state_a[1], state_b[1]};
    double t1[2] = {state_a[2], state_b[2]}, t2[2] = {state_a[3], state_b[3]};
    double power[2] = {0.0, 0.0};
    for (int32_t i = 0; i < n; i++) {
        double x[2] = {a[i], b[i]};
        for (int32_t c = 0; c < 2; c++) {
            double y = b0 * x[c] + s1[c];
            s1[c] = (b1 * x[c] + s2[c]) - a1 * y;
            s2[c] = b2 * x[c] - a2 * y;
            double v = y + t1[c];
            t1[c] = (t2[c] - (y + y)) - c1 * v;
            t2[c] = y - c2 * v;
            power[c] += v * v;
        }
    }
    state_a[0] = s1[0], state_a[1] = s2[0], state_a[2] = t1[0], state_a[3] = t2[0];
    state_b[0] = s1[1], state_b[1] = s2[1], state_b[2] = t1[1], state_b[3] = t2[1];
    *power_a = power[0];
    *power_b = power[1];
}

/* A filter that has rung out below this (power 1e-40) is set to rest: no denormal numbers in silence. */
static int at_rest(const double *state) {
    for (int32_t i = 0; i < 4; i++)
        if (state[i] > 1e-20 || state[i] < -1e-20) return 0;
    return 1;
}

/* Sums of sub-blocks [edges[i], edges[i + 1]) of planar `x`. One row of `out` per sub-block:
 * K-weighted square sum of each channel, plain sum of each, plain square sum of each, sum of the products of channels 0
 * and 1 (0 for mono). `state` holds 4 doubles a channel. */
MW_API void mw_sub_blocks(const float *x, int64_t stride, int32_t channels, const int32_t *edges, int32_t blocks,
                          const double *k, double *state, double *out) {
    for (int32_t block = 0; block < blocks; block++) {
        double *row = out + (int64_t)block * (3 * channels + 1);
        double *sum = row + channels, *square = sum + channels;
        int32_t start = edges[block], n = edges[block + 1] - start;
        row[3 * channels] = 0.0;
        /* The last channel of an odd number stands beside itself: both lanes write the same values. */
        for (int32_t c = 0; c < channels; c += 2) {
            int32_t d = c + 1 < channels ? c + 1 : c;
            const float *a = x + c * stride + start, *b = x + d * stride + start;
            double *state_a = state + 4 * c, *state_b = state + 4 * d, product;
            if (at_rest(state_a) && at_rest(state_b) && all_zero(a, n) && all_zero(b, n)) {
                for (int32_t i = 0; i < 4; i++) state_a[i] = state_b[i] = 0.0;
                row[c] = row[d] = sum[c] = sum[d] = square[c] = square[d] = 0.0;
                continue;
            }
            k_weighted_power(a, b, n, k, state_a, state_b, row + c, row + d);
            plain_sums(a, b, n, sum + c, sum + d, square + c, square + d, &product);
            if (c == 0 && d == 1) row[3 * channels] = product;
        }
    }
}
