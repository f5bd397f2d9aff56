/* SPDX-License-Identifier: Apache-2.0
 * A chain: a list of operations run over one block, in place.
 *
 * operations: rows of four int32: kind, count, index of its first coefficient, index of its first state.
 *   GAIN      factor                          no state
 *   DELAY     count = frames                  state: count * channels
 *   SECTIONS  count = second-order sections,  coefficients b0 b1 b2 a1 a2 each; state: 2 * channels each
 *   REVERB    coefficients and state as in reverb.h
 * state[0] counts the frames since reset (all zeros); the operations' states follow it. */
#include "reverb.h"

#include <string.h>

enum { GAIN, DELAY, SECTIONS, REVERB };

/* Frames handled at a time; states that have decayed below NOTHING are set to zero at multiples of it, counted from
 * reset, so that no block size changes a bit and no denormal slows the filters. */
#define STRIDE 256
#define NOTHING 1e-30
#define LARGEST 3.4028234663852886e38 /* of float */

typedef double pair __attribute__((vector_size(16)));

MW_API void mw_chain(const int32_t *operations, int32_t count, const double *coefficients, double *state,
                     int32_t channels, double *audio, int64_t frames);
MW_API void mw_chain_float(const int32_t *operations, int32_t count, const double *coefficients, double *state,
                           int32_t channels, const float *in, float *out, int64_t frames);

/* Transposed direct form II, `count` sections at once (a constant where it is called, so that states stay in registers). */
#define CASCADE(name, type, load, store) \
    static inline __attribute__((always_inline)) void name(const int count, const double *c, double *state, \
                                                           int32_t channels, double *audio, int32_t frames) { \
        type b0[4], b1[4], b2[4], a1[4], a2[4], s1[4], s2[4]; \
        for (int k = 0; k < count; k++) { \
            b0[k] = (type){0} + c[5 * k]; \
            b1[k] = (type){0} + c[5 * k + 1]; \
            b2[k] = (type){0} + c[5 * k + 2]; \
            a1[k] = (type){0} + c[5 * k + 3]; \
            a2[k] = (type){0} + c[5 * k + 4]; \
            load(s1[k], state + 2 * channels * k); \
            load(s2[k], state + 2 * channels * k + channels); \
        } \
        for (int32_t i = 0; i < frames; i++) { \
            type x; \
            load(x, audio + channels * i); \
            for (int k = 0; k < count; k++) { \
                type y = b0[k] * x + s1[k]; \
                s1[k] = (b1[k] * x + s2[k]) - a1[k] * y; \
                s2[k] = b2[k] * x - a2[k] * y; \
                x = y; \
            } \
            store(x, audio + channels * i); \
        } \
        for (int k = 0; k < count; k++) { \
            store(s1[k], state + 2 * channels * k); \
            store(s2[k], state + 2 * channels * k + channels); \
        } \
    }

#define LOAD(value, from) memcpy(&(value), (from), sizeof(value))
#define STORE(value, to) memcpy((to), &(value), sizeof(value))
CASCADE(cascade_one, double, LOAD, STORE)
CASCADE(cascade_two, pair, LOAD, STORE)

static void sections(const double *c, int32_t count, double *state, int32_t channels, double *audio, int32_t frames) {
#define RUN(n) (channels == 2 ? cascade_two(n, c, state, 2, audio, frames) : cascade_one(n, c, state, 1, audio, frames))
    for (; count >= 4; count -= 4, c += 20, state += 8 * channels) RUN(4);
    if (count == 3) RUN(3);
    if (count == 2) RUN(2);
    if (count == 1) RUN(1);
#undef RUN
}

static void delay(double *ring, int64_t length, int64_t frame, int32_t channels, double *audio, int32_t frames) {
    int64_t at = frame % length * channels;
    for (int32_t i = 0; i < frames * channels; i++) {
        double late = ring[at];
        ring[at] = audio[i];
        audio[i] = late;
        if (++at == length * channels) at = 0;
    }
}

/* At most STRIDE frames, not across a multiple of STRIDE. */
static void stride(const int32_t *row, int32_t count, const double *coefficients, double *state, int32_t channels,
                   double *audio, int32_t frames) {
    int64_t frame = (int64_t)state[0];
    int forget = (frame + frames) % STRIDE == 0;
    for (; count > 0; count--, row += 4) {
        const double *c = coefficients + row[2];
        double *s = state + row[3];
        if (row[0] == GAIN) {
            for (int32_t i = 0; i < frames * channels; i++) audio[i] *= c[0];
        } else if (row[0] == DELAY) {
            delay(s, row[1], frame, channels, audio, frames);
        } else if (row[0] == REVERB) {
            mw_reverb(c, s, frame, channels, audio, frames, forget, NOTHING);
        } else {
            sections(c, row[1], s, channels, audio, frames);
            for (int32_t i = 0; forget && i < 2 * channels * row[1]; i++)
                if (s[i] < NOTHING && s[i] > -NOTHING) s[i] = 0.0;
        }
    }
    state[0] += frames;
}

static int32_t next_stride(const double *state, int64_t frames) {
    int64_t left = STRIDE - (int64_t)state[0] % STRIDE;
    return (int32_t)(frames < left ? frames : left);
}

void mw_chain(const int32_t *operations, int32_t count, const double *coefficients, double *state, int32_t channels,
              double *audio, int64_t frames) {
    while (frames > 0) {
        int32_t n = next_stride(state, frames);
        stride(operations, count, coefficients, state, channels, audio, n);
        audio += (int64_t)n * channels;
        frames -= n;
    }
}

void mw_chain_float(const int32_t *operations, int32_t count, const double *coefficients, double *state,
                    int32_t channels, const float *in, float *out, int64_t frames) {
    double audio[2 * STRIDE];
    while (frames > 0) {
        int32_t n = next_stride(state, frames);
        for (int32_t i = 0; i < n * channels; i++) {
            float x = in[i];
            audio[i] = x - x == 0.0f ? x : 0.0f; /* neither NaN nor infinity */
        }
        stride(operations, count, coefficients, state, channels, audio, n);
        for (int32_t i = 0; i < n * channels; i++) {
            double x = audio[i];
            out[i] = (float)(x > LARGEST ? LARGEST : x < -LARGEST ? -LARGEST : x);
        }
        in += (int64_t)n * channels;
        out += (int64_t)n * channels;
        frames -= n;
    }
}
