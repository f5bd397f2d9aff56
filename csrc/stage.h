/* SPDX-License-Identifier: Apache-2.0
 * One operation of a chain at work: what csrc/chain.c hands to it for a run of frames. */
#ifndef MW_STAGE_H
#define MW_STAGE_H

#include "mw.h"

/* Frames handled at a time; a run never crosses a multiple of MW_STRIDE counted from reset. States that have decayed
 * below MW_NOTHING are set to zero where `forget` is set, so that no block size changes a bit and no denormal slows. */
#define MW_STRIDE 256
#define MW_NOTHING 1e-30

typedef struct {
    const double *c;  /* coefficients */
    double *state;    /* its own; all zeros at reset */
    int32_t count;    /* what the row says */
    int32_t channels; /* 1 or 2 */
    int32_t frames;   /* 1 to MW_STRIDE */
    int32_t forget;   /* this run ends at a multiple of MW_STRIDE */
    int32_t replay;   /* read the gains instead of writing them */
    int64_t frame;    /* of the run's first, since reset */
    double *audio;    /* interleaved, in place */
    const float *key; /* stereo: key[i * key_step] and the next are those of frame i; NULL without a key */
    int32_t key_step;
    float *gains;     /* gains[i * gain_step + k] is the k-th of frame i; NULL where it makes none */
    int32_t gain_step;
} mw_stage;

/* A state that has decayed counts as none. */
static inline double mw_kept(double state, int32_t forget) {
    return forget && state < MW_NOTHING && state > -MW_NOTHING ? 0.0 : state;
}

#endif
