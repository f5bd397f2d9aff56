/* SPDX-License-Identifier: Apache-2.0
 * Duck: bands of a victim, or all of it, lowered while a key sounds, or by each of its hits; the rules stand in
 * engine/processors/keyed.py.
 *
 * DUCK (count = rules): coefficients as below, then of each rule the section that it listens through, of each the
 *   section that it lowers, then for each its own. */
#include "keyed.h"

enum { LATE, GATE, QUICK = GATE + MW_GATE_SETTINGS, PEAK, SLOW, APART, COMMON };
enum { HITS, LEAST, NEAR, RISE, DEPTH, ATTACK, RELEASE, HOLD, OF_A_RULE };
/* Of each rule: level, what it was before, its gate, looks until there may be another hit, looks that it goes on for. */
enum { LEVEL, BEFORE, RULE_GATE, REST = RULE_GATE + MW_GATE, GOES_ON, HEARD };

typedef struct {
    double *key, *lowered, *ramps, *rules, *ring;
} states;

static states of(const mw_stage *at) {
    states s;
    s.key = at->state;
    s.lowered = s.key + MW_EAR * at->count;
    s.ramps = s.lowered + MW_LOWERED * at->count;
    s.rules = s.ramps + MW_RAMP * at->count;
    s.ring = s.rules + HEARD * at->count;
    return s;
}

/* A hit: the level stands by more than RISE above the one before it. */
static int32_t hit(const double *c, const double *own, double *heard, double power) {
    double falling = c[PEAK] * heard[LEVEL];
    heard[LEVEL] = power > falling ? power : falling < MW_NOTHING ? 0.0 : falling;
    int32_t sounds = mw_sounds(c + GATE, own[LEAST], own[NEAR], heard + RULE_GATE, heard[LEVEL]);
    int32_t rests = heard[REST] > 0.0, struck = sounds && !rests && heard[LEVEL] > own[RISE] * heard[BEFORE];
    double before = mw_smoothed(heard[BEFORE], heard[LEVEL], c[SLOW]);
    heard[BEFORE] = struck || (rests && heard[LEVEL] > before) ? heard[LEVEL] : before;
    heard[REST] = struck ? c[APART] : rests ? heard[REST] - 1.0 : 0.0;
    return struck;
}

static int32_t sounds(const double *c, const double *own, double *heard, double power) {
    heard[LEVEL] = mw_smoothed(heard[LEVEL], power, c[QUICK]);
    return mw_sounds(c + GATE, own[LEAST], own[NEAR], heard + RULE_GATE, heard[LEVEL]);
}

static void look(const mw_stage *at, int32_t look) {
    states s = of(at);
    const double *own = at->c + COMMON + 10 * at->count;
    for (int32_t k = 0; k < at->count; k++, own += OF_A_RULE) {
        double *heard = s.rules + HEARD * k, *dip = s.ramps + MW_RAMP * k + MW_DIP, power = mw_power(s.key, k, look);
        int32_t now = own[HITS] != 0.0 ? hit(at->c, own, heard, power) : sounds(at->c, own, heard, power);
        int32_t acts = now || heard[GOES_ON] > 0.0;
        heard[GOES_ON] = now ? own[HOLD] : heard[GOES_ON] > 0.0 ? heard[GOES_ON] - 1.0 : 0.0;
        *dip = mw_step(*dip, acts ? own[DEPTH] : 0.0, own[ATTACK], own[RELEASE]);
    }
}

void mw_duck(const mw_stage *at) {
    states s = of(at);
    double pairs[2 * MW_STRIDE], key[2 * MW_STRIDE];
    mw_pairs_of_audio(at, pairs);
    if (!at->replay) {
        mw_pairs_of_key(at, key);
        mw_hear(at, at->c + COMMON, at->count, s.key, key);
        mw_follow(at, s.ramps, look);
    }
    mw_late(at, (int64_t)at->c[LATE], s.ring, pairs);
    mw_lower_in_series(at, at->c + COMMON + 5 * at->count, s.lowered, pairs);
    mw_audio_of_pairs(at, pairs);
}
