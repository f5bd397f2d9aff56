/* SPDX-License-Identifier: Apache-2.0
 * What processors that follow a signal share. Sections run in transposed direct form II, up to four at once (a constant
 * where it is called, so that their states stay in registers). */
#include "keyed.h"
#include "sections.h"

#include <string.h>

#define INLINE static inline __attribute__((always_inline))

INLINE mw_pair load(const double *from) {
    mw_pair both;
    memcpy(&both, from, sizeof both);
    return both;
}

INLINE void store(mw_pair both, double *to) { memcpy(to, &both, sizeof both); }

typedef struct {
    mw_pair b0, b1, b2, a1, a2, s1, s2;
} section;

INLINE section begin(const double *c, const double *state) {
    mw_pair none = {0.0, 0.0};
    return (section){none + c[0], none + c[1], none + c[2], none + c[3], none + c[4], load(state), load(state + 2)};
}

INLINE mw_pair through(section *f, mw_pair x) {
    mw_pair y = f->b0 * x + f->s1;
    f->s1 = (f->b1 * x + f->s2) - f->a1 * y;
    f->s2 = f->b2 * x - f->a2 * y;
    return y;
}

INLINE void end(const section *f, int32_t forget, double *state) {
    store(f->s1, state);
    store(f->s2, state + 2);
    for (int32_t k = 0; forget && k < 4; k++) state[k] = mw_kept(state[k], 1);
}

/* Run a function of a constant number of bands over all of them. */
#define IN_FOURS(run, bands) \
    do { \
        int32_t band = 0; \
        for (; (bands) - band >= 4; band += 4) run(4); \
        if ((bands) - band == 3) run(3); \
        else if ((bands) - band == 2) run(2); \
        else if ((bands) - band == 1) run(1); \
    } while (0)

void mw_pairs_of_audio(const mw_stage *at, double *pairs) {
    if (at->channels == 2) memcpy(pairs, at->audio, (size_t)at->frames * 2 * sizeof *pairs);
    else
        for (int32_t i = 0; i < at->frames; i++) pairs[2 * i] = pairs[2 * i + 1] = at->audio[i];
}

void mw_pairs_of_key(const mw_stage *at, double *pairs) {
    for (int32_t i = 0; i < at->frames; i++) {
        const float *key = at->key + (int64_t)i * at->key_step;
        pairs[2 * i] = key[0];
        pairs[2 * i + 1] = key[1];
    }
}

void mw_audio_of_pairs(const mw_stage *at, const double *pairs) {
    if (at->channels == 2) memcpy(at->audio, pairs, (size_t)at->frames * 2 * sizeof *pairs);
    else
        for (int32_t i = 0; i < at->frames; i++) at->audio[i] = pairs[2 * i];
}

void mw_late(const mw_stage *at, int64_t late, double *ring, double *pairs) {
    if (late == 0) return;
    int64_t place = at->frame % late;
    for (int32_t i = 0; i < at->frames; i++) {
        mw_pair out = load(ring + 2 * place);
        store(load(pairs + 2 * i), ring + 2 * place);
        store(out, pairs + 2 * i);
        if (++place == late) place = 0;
    }
}

INLINE void hear(const int count, const mw_stage *at, const double *sections, double *ear, const double *pairs) {
    section f[4];
    mw_pair sum[4];
    int32_t first = (int32_t)(at->frame % MW_STRIDE);
    for (int k = 0; k < count; k++) f[k] = begin(sections + 5 * k, ear + MW_EAR * k);
    for (int32_t i = 0; i < at->frames;) {
        int32_t inside = (first + i) % MW_LOOK, left = MW_LOOK - inside;
        double *sums = ear + 4 + 2 * ((first + i) / MW_LOOK);
        int32_t stop = left < at->frames - i ? i + left : at->frames;
        for (int k = 0; k < count; k++) sum[k] = inside ? load(sums + MW_EAR * k) : (mw_pair){0.0, 0.0};
        for (; i < stop; i++) {
            mw_pair x = load(pairs + 2 * i);
            for (int k = 0; k < count; k++) {
                mw_pair y = through(f + k, x);
                sum[k] += y * y;
            }
        }
        for (int k = 0; k < count; k++) store(sum[k], sums + MW_EAR * k);
    }
    for (int k = 0; k < count; k++) end(f + k, at->forget, ear + MW_EAR * k);
}

void mw_hear(const mw_stage *at, const double *sections, int32_t bands, double *ear, const double *pairs) {
#define HEAR(n) hear(n, at, sections + 5 * band, ear + MW_EAR * band, pairs)
    IN_FOURS(HEAR, bands);
#undef HEAR
}

int32_t mw_sounds(const double *settings, double least, double near, double *gate, double power) {
    enum { MOST, SOUNDS };
    double most = gate[MOST] * (gate[SOUNDS] != 0.0 ? settings[MW_OPEN] : power > least ? settings[MW_SHUT] : 1.0);
    if (power > most) most = power;
    double above = most * near > least ? most * near : least;
    if (gate[SOUNDS] != 0.0) above *= settings[MW_STAYS];
    gate[MOST] = most < MW_NOTHING ? 0.0 : most;
    gate[SOUNDS] = power > above;
    return power > above;
}

void mw_follow(const mw_stage *at, double *ramps, void (*look)(const mw_stage *at, int32_t look)) {
    int32_t first = (int32_t)(at->frame % MW_STRIDE);
    for (int32_t i = 0; i < at->frames;) {
        int32_t inside = (first + i) % MW_LOOK, left = MW_LOOK - inside;
        int32_t count = left < at->frames - i ? left : at->frames - i;
        for (int32_t k = 0; k < at->count; k++) {
            double now = ramps[MW_RAMP * k + MW_NOW], slope = (ramps[MW_RAMP * k + MW_NEXT] - now) / MW_LOOK;
            float *gains = at->gains + (int64_t)i * at->gain_step + k;
            for (int32_t j = 0; j < count; j++)
                gains[(int64_t)j * at->gain_step] = (float)(1.0 - (now + slope * (inside + j + 1)));
        }
        i += count;
        if (inside + count < MW_LOOK) return;
        look(at, (first + i - 1) / MW_LOOK);
        for (int32_t k = 0; k < at->count; k++) {
            double *ramp = ramps + MW_RAMP * k;
            ramp[MW_NOW] = ramp[MW_NEXT];
            ramp[MW_NEXT] = 1.0 - mw_amplitude(-0.16609640474436811739 * ramp[MW_DIP]); /* log2(10) / 20 */
        }
    }
}

INLINE void lower_in_series(const int count, const mw_stage *at, const float *gains, const double *sections,
                            double *state, double *pairs) {
    section f[4];
    for (int k = 0; k < count; k++) f[k] = begin(sections + 5 * k, state + MW_LOWERED * k);
    for (int32_t i = 0; i < at->frames; i++, gains += at->gain_step) {
        mw_pair x = load(pairs + 2 * i);
        for (int k = 0; k < count; k++) {
            mw_pair y = through(f + k, x);
            x += (gains[k] - 1.0) * y;
        }
        store(x, pairs + 2 * i);
    }
    for (int k = 0; k < count; k++) end(f + k, at->forget, state + MW_LOWERED * k);
}

void mw_lower_in_series(const mw_stage *at, const double *sections, double *state, double *pairs) {
#define LOWER(n) \
    lower_in_series(n, at, at->gains + band, sections + 5 * band, state + MW_LOWERED * band, pairs)
    IN_FOURS(LOWER, at->count);
#undef LOWER
}

INLINE void lower_in_parallel(const int count, const mw_stage *at, const float *gains, const double *sections,
                              double *state, const double *pairs, double *out) {
    section f[4];
    for (int k = 0; k < count; k++) f[k] = begin(sections + 5 * k, state + MW_LOWERED * k);
    for (int32_t i = 0; i < at->frames; i++, gains += at->gain_step) {
        mw_pair x = load(pairs + 2 * i), sum = load(out + 2 * i);
        for (int k = 0; k < count; k++) {
            mw_pair y = through(f + k, x);
            sum += (gains[k] - 1.0) * y;
        }
        store(sum, out + 2 * i);
    }
    for (int k = 0; k < count; k++) end(f + k, at->forget, state + MW_LOWERED * k);
}

void mw_lower_in_parallel(const mw_stage *at, const double *sections, double *state, double *pairs) {
    double in[2 * MW_STRIDE];
    memcpy(in, pairs, (size_t)at->frames * 2 * sizeof *pairs);
#define LOWER(n) \
    lower_in_parallel(n, at, at->gains + band, sections + 5 * band, state + MW_LOWERED * band, in, pairs)
    IN_FOURS(LOWER, at->count);
#undef LOWER
}
