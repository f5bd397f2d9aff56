/* SPDX-License-Identifier: Apache-2.0
 * Late reverberation: a feedback delay network (Jot & Chaigne 1991). The input is spread over 16 lines and diffused by
 * stages of different delays, each followed by a Hadamard matrix, so that no energy is lost and no pole is added; the
 * lines are fed back through another Hadamard matrix, each through a one-pole filter that sets its decay.
 *
 * All steps run over up to CHUNK frames at a time, line by line; no frame's arithmetic depends on where chunks end. */
#include "reverb.h"

#include <string.h>

enum { LINES = REVERB_LINES, STAGES = REVERB_STAGES, CHUNK = 64, TOGETHER = 8 };

/* A bent sequence, (-1)^(x1 x2 + x3 x4) of the bits of the line: its Hadamard transform is flat, so that the lowest
 * frequencies, too, spread over all lines. */
static const double SIGN[LINES] = {1, 1, 1, -1, 1, 1, 1, -1, 1, 1, 1, -1, -1, -1, -1, 1};

/* A stretch of a ring that ends with it or with the frames wanted. */
static int32_t stretch(int64_t length, int64_t at, int32_t frames) {
    return (int32_t)(frames < length - at ? frames : length - at);
}

/* Give out what went into the ring `length` frames earlier; 0: what comes in. */
static void delay(double *ring, int64_t length, int64_t frame, double *x, int32_t frames) {
    if (length == 0) return;
    int64_t at = frame % length;
    while (frames > 0) {
        int32_t run = stretch(length, at, frames);
        double *restrict r = ring + at, *restrict y = x;
        for (int32_t t = 0; t < run; t++) {
            double late = r[t];
            r[t] = y[t];
            y[t] = late;
        }
        x += run;
        frames -= run;
        at = 0;
    }
}

static void read_ring(const double *ring, int64_t length, int64_t at, double *x, int32_t frames) {
    int32_t run = stretch(length, at, frames);
    memcpy(x, ring + at, sizeof(double) * (size_t)run);
    memcpy(x + run, ring, sizeof(double) * (size_t)(frames - run));
}

static void write_ring(double *ring, int64_t length, int64_t at, const double *x, int32_t frames) {
    int32_t run = stretch(length, at, frames);
    memcpy(ring + at, x, sizeof(double) * (size_t)run);
    memcpy(ring, x + run, sizeof(double) * (size_t)(frames - run));
}

/* Hadamard matrices over groups of `width` lines, without their scale; two steps of the butterfly at a time. */
static void mix(double (*x)[CHUNK], int32_t width, int32_t frames) {
    int32_t step = 1;
    for (; 4 * step <= width; step *= 4) {
        for (int32_t i = 0; i < LINES; i++) {
            if (i & (3 * step)) continue;
            double *restrict a = x[i], *restrict b = x[i + step];
            double *restrict c = x[i + 2 * step], *restrict d = x[i + 3 * step];
            for (int32_t t = 0; t < frames; t++) {
                double ab = a[t] + b[t], a_b = a[t] - b[t], cd = c[t] + d[t], c_d = c[t] - d[t];
                a[t] = ab + cd;
                b[t] = a_b + c_d;
                c[t] = ab - cd;
                d[t] = a_b - c_d;
            }
        }
    }
    for (int32_t i = 0; step < width && i < LINES; i++) {
        if (i & step) continue;
        double *restrict a = x[i], *restrict b = x[i + step];
        for (int32_t t = 0; t < frames; t++) {
            double sum = a[t] + b[t];
            b[t] = a[t] - b[t];
            a[t] = sum;
        }
    }
}

/* The filters of TOGETHER lines, side by side: each waits for its own last value. */
static void damp(const double *gain, const double *pole, double *state, double (*x)[CHUNK], int32_t frames) {
    double s[TOGETHER];
    for (int32_t k = 0; k < TOGETHER; k++) s[k] = state[k];
    for (int32_t t = 0; t < frames; t++) {
        for (int32_t k = 0; k < TOGETHER; k++) {
            s[k] = gain[k] * x[k][t] + pole[k] * s[k];
            x[k][t] = s[k];
        }
    }
    for (int32_t k = 0; k < TOGETHER; k++) state[k] = s[k];
}

/* At most CHUNK frames, and not more than the shortest line has. */
static void chunk(const double *c, double *state, int64_t frame, int32_t channels, double *audio, int32_t frames,
                  double nothing) {
    double in[LINES][CHUNK], back[LINES][CHUNK];
    double *ring = state + LINES;
    for (int32_t i = 0; i < LINES; i++) {
        int32_t side = i < LINES / 2 ? 0 : channels - 1;
        for (int32_t t = 0; t < frames; t++) in[i][t] = SIGN[i] * audio[channels * t + side];
    }
    for (int32_t stage = 0; stage < STAGES; stage++) {
        for (int32_t i = 0; i < LINES; i++) {
            int64_t length = (int64_t)c[REVERB_DIFFUSION + LINES * stage + i];
            delay(ring, length, frame, in[i], frames);
            ring += length;
        }
        mix(in, (int32_t)c[REVERB_WIDTH], frames);
    }
    double *line = ring;
    for (int32_t i = 0; i < LINES; i++) {
        int64_t length = (int64_t)c[REVERB_LENGTH + i];
        read_ring(line, length, frame % length, back[i], frames);
        line += length;
    }
    for (int32_t i = 0; i < LINES; i += TOGETHER)
        damp(c + REVERB_FEEDBACK + i, c + REVERB_DAMPING + i, state + i, back + i, frames);
    mix(back, LINES, frames);
    line = ring;
    double out[2][CHUNK] = {{0}};
    for (int32_t i = 0; i < LINES; i++) {
        int64_t length = (int64_t)c[REVERB_LENGTH + i];
        double *restrict to = out[i < LINES / 2 ? 0 : 1], *restrict b = back[i];
        for (int32_t t = 0; t < frames; t++) {
            double v = b[t] + in[i][t];
            to[t] += SIGN[i] * (b[t] + c[REVERB_EARLY] * in[i][t]);
            b[t] = v < nothing && v > -nothing ? 0.0 : v;
        }
        write_ring(line, length, frame % length, b, frames);
        line += length;
    }
    for (int32_t t = 0; t < frames; t++)
        for (int32_t side = 0; side < channels; side++) audio[channels * t + side] = c[REVERB_GAIN] * out[side][t];
}

void mw_reverb(const double *c, double *state, int64_t frame, int32_t channels, double *audio, int32_t frames,
               int forget, double nothing) {
    int32_t longest = CHUNK;
    for (int32_t i = 0; i < LINES; i++)
        if (c[REVERB_LENGTH + i] < longest) longest = (int32_t)c[REVERB_LENGTH + i];
    for (int32_t done = 0; done < frames;) {
        int32_t n = frames - done < longest ? frames - done : longest;
        chunk(c, state, frame + done, channels, audio + (int64_t)done * channels, n, nothing);
        done += n;
    }
    for (int32_t i = 0; forget && i < LINES; i++)
        if (state[i] < nothing && state[i] > -nothing) state[i] = 0.0;
}
