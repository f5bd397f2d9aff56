/* SPDX-License-Identifier: Apache-2.0
 * Run a chain over a block; csrc/chain.c says what stands in its list, keys, gains and tables. */
#ifndef MW_CHAIN_H
#define MW_CHAIN_H

#include "mw.h"

/* int32 of a row of the list. */
#define MW_CHAIN_ROW 9

/* All that stays the same from block to block. */
typedef struct {
    const int32_t *rows;
    int32_t count;
    const double *coefficients;
    double *state;
    int32_t channels, key_count, gain_count, replay;
} mw_list;

MW_API void mw_chain(const mw_list *list, const float *keys, float *gains, const double *moving, int32_t first,
                     double *audio, int64_t frames);
MW_API void mw_chain_float(const mw_list *list, const float *keys, float *gains, const double *moving, int32_t first,
                           const float *in, float *out, int64_t frames);

#endif
