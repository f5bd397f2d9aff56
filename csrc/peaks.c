/* SPDX-License-Identifier: Apache-2.0
 * Peaks: bands that stand out of their neighbours lowered; the rules stand in engine/processors/keyed.py.
 *
 * PEAKS (count = bands): coefficients as below, then the bands' sections. It listens to its key where it has one. */
#include "keyed.h"

enum { LATE, AROUND, ALLOWED, MOST, ATTACK, RELEASE, SMOOTH, COMMON };

typedef struct {
    double *ear, *lowered, *ramps, *levels, *ring;
} states;

static states of(const mw_stage *at) {
    states s;
    s.ear = at->state;
    s.lowered = s.ear + MW_EAR * at->count;
    s.ramps = s.lowered + MW_LOWERED * at->count;
    s.levels = s.ramps + MW_RAMP * at->count;
    s.ring = s.levels + at->count;
    return s;
}

static void look(const mw_stage *at, int32_t look) {
    states s = of(at);
    const double *c = at->c;
    double db[MW_PEAK_BANDS], below[MW_PEAK_BANDS + 1]; /* levels, and those of all bands below each, added up */
    for (int32_t k = 0; k < at->count; k++) {
        s.levels[k] = mw_smoothed(s.levels[k], mw_power(s.ear, k, look), c[SMOOTH]);
        db[k] = mw_power_db(s.levels[k] + 1e-12);
    }
    below[0] = 0.0;
    for (int32_t k = 0; k < at->count; k++) below[k + 1] = below[k] + db[k];
    for (int32_t k = 0; k < at->count; k++) {
        int32_t around = (int32_t)c[AROUND], above = at->count - 1 - k;
        if (k < around) around = k;
        if (above < around) around = above;
        double over = 0.0, *dip = s.ramps + MW_RAMP * k + MW_DIP;
        if (around > 0) {
            double all = below[k + 1 + around] - below[k - around];
            over = db[k] - (all - db[k]) / (2 * around) - c[ALLOWED];
        }
        *dip = mw_step(*dip, over < 0.0 ? 0.0 : over > c[MOST] ? c[MOST] : over, c[ATTACK], c[RELEASE]);
    }
}

void mw_peaks(const mw_stage *at) {
    states s = of(at);
    double pairs[2 * MW_STRIDE], key[2 * MW_STRIDE];
    mw_pairs_of_audio(at, pairs);
    if (!at->replay) {
        if (at->key) mw_pairs_of_key(at, key);
        mw_hear(at, at->c + COMMON, at->count, s.ear, at->key ? key : pairs);
        mw_follow(at, s.ramps, look);
    }
    mw_late(at, (int64_t)at->c[LATE], s.ring, pairs);
    mw_lower_in_parallel(at, at->c + COMMON, s.lowered, pairs);
    mw_audio_of_pairs(at, pairs);
}
