/* SPDX-License-Identifier: Apache-2.0
 * Bus compressor, after Giannoulis, Massberg and Reiss, "Digital dynamic range compressor design: a tutorial and
 * analysis", J. Audio Eng. Soc. 60(6), 2012: feed-forward, gain computer with a soft knee on log levels, then a smooth
 * decoupled peak detector on the gain reduction. One gain for both channels, from the larger of |left| and |right|.
 * Levels are base-2 logarithms of amplitudes (octaves; 1 is 6.02 dB).
 *
 * settings: threshold, slope (1 - 1 / ratio), knee, attack, release, make-up; threshold, knee and make-up in octaves,
 *   attack and release as what is left of a difference after one frame.
 * state: frames since reset, released reduction, reduction; all zeros at reset. */
#include "mathematics.h"

enum { THRESHOLD, SLOPE, KNEE, ATTACK, RELEASE, MAKE_UP };
enum { FRAME, RELEASED, REDUCTION };

/* Frames handled at a time; reductions below NOTHING are set to zero at multiples of it, counted from reset. */
#define STRIDE 256
#define NOTHING 1e-30

MW_API void mw_compressor(const double *settings, double *state, double *audio, float *gains, int64_t frames);

static double magnitude(double x) { return x < 0.0 ? -x : x; }

/* Reduction in octaves that the static curve asks for. */
static double computed(const double *settings, double level) {
    double above = level - settings[THRESHOLD], knee = settings[KNEE];
    if (2.0 * above <= -knee) return 0.0;
    if (2.0 * above >= knee) return settings[SLOPE] * above;
    double inside = above + 0.5 * knee;
    return settings[SLOPE] * inside * inside / (2.0 * knee);
}

/* At most STRIDE frames, not across a multiple of STRIDE. */
static void stride(const double *settings, double knee_begins, double *state, double *audio, float *gains, int32_t n) {
    double wanted[STRIDE];
    for (int32_t i = 0; i < n; i++) {
        double left = magnitude(audio[2 * i]), right = magnitude(audio[2 * i + 1]);
        double peak = left > right ? left : right;
        wanted[i] = peak > knee_begins ? computed(settings, mw_log2(peak)) : 0.0;
    }
    double attack = settings[ATTACK], release = settings[RELEASE];
    double released = state[RELEASED], reduction = state[REDUCTION];
    for (int32_t i = 0; i < n; i++) {
        double falling = release * released + (1.0 - release) * wanted[i];
        released = wanted[i] > falling ? wanted[i] : falling;
        reduction = attack * reduction + (1.0 - attack) * released;
        wanted[i] = reduction;
    }
    for (int32_t i = 0; i < n; i++) {
        gains[i] = (float)mw_exp2(settings[MAKE_UP] - wanted[i]);
        audio[2 * i] *= gains[i];
        audio[2 * i + 1] *= gains[i];
    }
    state[FRAME] += n;
    if ((int64_t)state[FRAME] % STRIDE == 0) {
        if (released < NOTHING) released = 0.0;
        if (reduction < NOTHING) reduction = 0.0;
    }
    state[RELEASED] = released;
    state[REDUCTION] = reduction;
}

/* Compress stereo `audio` in place; gains[i] is what frame i was multiplied by. */
void mw_compressor(const double *settings, double *state, double *audio, float *gains, int64_t frames) {
    /* A hair low, so that rounding never leaves out a level within the knee. */
    double knee_begins = mw_exp2(settings[THRESHOLD] - 0.5 * settings[KNEE]) * (1.0 - 1e-12);
    while (frames > 0) {
        int64_t left = STRIDE - (int64_t)state[FRAME] % STRIDE;
        int32_t n = (int32_t)(frames < left ? frames : left);
        stride(settings, knee_begins, state, audio, gains, n);
        audio += 2 * n;
        gains += n;
        frames -= n;
    }
}
