/* SPDX-License-Identifier: Apache-2.0
 * Dip: bands of a victim lowered while its key sounds; the rules stand in engine/processors/keyed.py.
 *
 * AGAINST (count = bands): coefficients: the bands' sections; adds its key to the victim of the DIP that follows it,
 *   whose state it has.
 * DIP (count = bands): coefficients as below, then the bands' sections and that of the whole key, then for each band
 *   its own. */
#include "keyed.h"

enum { LATE, GATE, LEAST = GATE + MW_GATE_SETTINGS, NEAR, NEAR_IN_BAND, QUICK, RISE, EXCESS, OVER_DB, COMMON };
enum { FALL, MOST, ATTACK, RELEASE, HOLD, OF_A_BAND };
/* Of each band: smoothed powers of victim and key, the key's of a moment, its gate, looks that it goes on for. */
enum { VICTIM, KEY, MOMENT, BAND_GATE, GOES_ON = BAND_GATE + MW_GATE, HEARD };

typedef struct {
    double *against, *own, *key, *lowered, *ramps, *bands, *whole, *ring;
} states;

static states of(const mw_stage *at) {
    states s;
    s.against = at->state;
    s.own = s.against + MW_EAR * at->count;
    s.key = s.own + MW_EAR * at->count;
    s.lowered = s.key + MW_EAR * (at->count + 1);
    s.ramps = s.lowered + MW_LOWERED * at->count;
    s.bands = s.ramps + MW_RAMP * at->count;
    s.whole = s.bands + HEARD * at->count;
    s.ring = s.whole + 1 + MW_GATE;
    return s;
}

/* How far a band is to be lowered, in dB. */
static double wanted(const double *common, const double *own, const double *heard) {
    double victim = common[EXCESS] != 0.0 ? mw_power_db(heard[VICTIM]) : 0.0, key = mw_power_db(heard[KEY]);
    double over = (common[EXCESS] != 0.0 ? victim - key : key) + common[OVER_DB];
    return over < 0.0 ? 0.0 : over > own[MOST] ? own[MOST] : over;
}

static void look(const mw_stage *at, int32_t look) {
    states s = of(at);
    const double *c = at->c, *own = c + COMMON + 5 * (at->count + 1);
    s.whole[0] = mw_smoothed(s.whole[0], mw_power(s.key, at->count, look), c[QUICK]);
    int32_t whole = mw_sounds(c + GATE, c[LEAST], c[NEAR], s.whole + 1, s.whole[0]);
    for (int32_t k = 0; k < at->count; k++, own += OF_A_BAND) {
        double *heard = s.bands + HEARD * k, *dip = s.ramps + MW_RAMP * k + MW_DIP;
        double victim = mw_power(s.own, k, look) + mw_power(s.against, k, look), key = mw_power(s.key, k, look);
        heard[VICTIM] = mw_smoothed(heard[VICTIM], victim, victim > heard[VICTIM] ? c[RISE] : own[FALL]);
        heard[MOMENT] = mw_smoothed(heard[MOMENT], key, c[QUICK]);
        int32_t sounds = mw_sounds(c + GATE, 0.0, c[NEAR_IN_BAND], heard + BAND_GATE, heard[MOMENT]) && whole;
        if (sounds) heard[KEY] = mw_smoothed(heard[KEY], key, key > heard[KEY] ? c[RISE] : own[FALL]);
        int32_t acts = sounds || heard[GOES_ON] > 0.0;
        heard[GOES_ON] = sounds ? own[HOLD] : heard[GOES_ON] > 0.0 ? heard[GOES_ON] - 1.0 : 0.0;
        *dip = mw_step(*dip, acts ? wanted(c, own, heard) : 0.0, own[ATTACK], own[RELEASE]);
    }
}

void mw_against(const mw_stage *at) {
    if (!at->key) return;
    double pairs[2 * MW_STRIDE];
    mw_pairs_of_key(at, pairs);
    mw_hear(at, at->c, at->count, at->state, pairs);
}

void mw_dip(const mw_stage *at) {
    states s = of(at);
    double pairs[2 * MW_STRIDE], key[2 * MW_STRIDE];
    mw_pairs_of_audio(at, pairs);
    if (!at->replay) {
        mw_pairs_of_key(at, key);
        mw_hear(at, at->c + COMMON, at->count, s.own, pairs);
        mw_hear(at, at->c + COMMON, at->count + 1, s.key, key);
        mw_follow(at, s.ramps, look);
    }
    mw_late(at, (int64_t)at->c[LATE], s.ring, pairs);
    mw_lower_in_series(at, at->c + COMMON, s.lowered, pairs);
    mw_audio_of_pairs(at, pairs);
}
