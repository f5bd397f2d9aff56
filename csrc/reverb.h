/* SPDX-License-Identifier: Apache-2.0
 * Late reverberation: what csrc/chain.c runs and csrc/reverb_design.c makes coefficients for. */
#ifndef MW_REVERB_H
#define MW_REVERB_H

#include "mw.h"

enum { REVERB_LINES = 16, REVERB_STAGES = 4 };

/* Coefficients. Lengths and delays are whole frames. */
enum {
    REVERB_GAIN,                                          /* of the return */
    REVERB_EARLY,                                         /* gain of the diffused input before it enters the lines */
    REVERB_WIDTH,                                         /* lines that the diffusion mixes: 16, or 8 a side */
    REVERB_LENGTH,                                        /* of the lines, at least 1 */
    REVERB_FEEDBACK = REVERB_LENGTH + REVERB_LINES,       /* gain of each line's one-pole filter, */
    REVERB_DAMPING = REVERB_FEEDBACK + REVERB_LINES,      /* and its pole */
    REVERB_DIFFUSION = REVERB_DAMPING + REVERB_LINES,     /* delays of every stage */
    REVERB_COEFFICIENTS = REVERB_DIFFUSION + REVERB_STAGES * REVERB_LINES
};

/* `state`: one for the filter of each line, then the rings of the diffusion, then those of the lines.
 * `frame` counts from reset; where `forget` is set, filters that have decayed below `nothing` are set to zero after it. */
void mw_reverb(const double *c, double *state, int64_t frame, int32_t channels, double *audio, int32_t frames,
               int forget, double nothing);

#endif
