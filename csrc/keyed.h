/* SPDX-License-Identifier: Apache-2.0
 * What processors that follow a signal share: ears that listen in bands, gates, and bands lowered by gains. */
#ifndef MW_KEYED_H
#define MW_KEYED_H

#include "levels.h"
#include "stage.h"

/* Frames from one look at what was heard to the next, counted from reset, and looks in a stride. */
#define MW_LOOK 32
#define MW_LOOKS (MW_STRIDE / MW_LOOK)

/* Most bands that peaks are looked for in. */
#define MW_PEAK_BANDS 40

/* State of an ear for each band: a section's, and for each look of a stride the power let through, as a pair of sums.
 * State of each band that is lowered: a section's. */
#define MW_EAR (4 + 2 * MW_LOOKS)
#define MW_LOWERED 4

/* Audio and key of a run as pairs of left and right; mono audio is on both sides. */
void mw_pairs_of_audio(const mw_stage *at, double *pairs);
void mw_pairs_of_key(const mw_stage *at, double *pairs);
void mw_audio_of_pairs(const mw_stage *at, const double *pairs);

/* Give out pairs that came in `late` frames earlier; state: 2 * late. */
void mw_late(const mw_stage *at, int64_t late, double *ring, double *pairs);

/* Listen to pairs through `bands` sections side by side (b0 b1 b2 a1 a2 each). */
void mw_hear(const mw_stage *at, const double *sections, int32_t bands, double *ear, const double *pairs);

/* Mean power of both sides in a band over a look of this stride that has ended. */
static inline double mw_power(const double *ear, int32_t band, int32_t look) {
    const double *sum = ear + MW_EAR * band + 4 + 2 * look;
    return (sum[0] + sum[1]) * (0.5 / MW_LOOK);
}

/* A power in dB, at least -200. */
static inline double mw_power_db(double power) { return 3.01029995663981195214 * mw_octaves(power + 1e-20); }

/* Smoothed power; what has decayed is forgotten at looks. */
static inline double mw_smoothed(double before, double power, double part) {
    double now = before + part * (power - before);
    return now < MW_NOTHING ? 0.0 : now;
}

/* Whether what has this power sounds, look by look: it stands above `least` and above a part `near` of its own recent
 * maximum. What sounds goes on sounding above a part STAYS of both. The maximum fades to a part OPEN with every look
 * while it sounds; above `least`, while it does not, to SHUT. */
enum { MW_STAYS, MW_OPEN, MW_SHUT, MW_GATE_SETTINGS };
#define MW_GATE 2 /* doubles of state */
int32_t mw_sounds(const double *settings, double least, double near, double *gate, double power);

/* Gains of `count` columns in straight lines from look to look. State of each: how much is taken now and at the next
 * look, and the dip in dB of which that is made; `look` sets the dip by what was heard over one of a stride's looks. */
enum { MW_NOW, MW_NEXT, MW_DIP, MW_RAMP };
void mw_follow(const mw_stage *at, double *ramps, void (*look)(const mw_stage *at, int32_t look));

/* A look's step of a dip towards what is wanted, in dB. */
static inline double mw_step(double dip, double wanted, double attack, double release) {
    if (dip < wanted) return dip + attack < wanted ? dip + attack : wanted;
    return dip - release > wanted ? dip - release : wanted;
}

/* Lower bands of pairs by the stage's gains: of each what its section lets through, times the gain, in place of that.
 * One after another, or side by side: of what came in. */
void mw_lower_in_series(const mw_stage *at, const double *sections, double *state, double *pairs);
void mw_lower_in_parallel(const mw_stage *at, const double *sections, double *state, double *pairs);

/* The operations; their coefficients and states stand in their files. */
void mw_against(const mw_stage *at);
void mw_dip(const mw_stage *at);
void mw_duck(const mw_stage *at);
void mw_peaks(const mw_stage *at);

#endif
