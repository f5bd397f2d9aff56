/* SPDX-License-Identifier: Apache-2.0
 * Second-order sections in series. */
#ifndef MW_SECTIONS_H
#define MW_SECTIONS_H

#include "mw.h"

/* Left and right. */
typedef double mw_pair __attribute__((vector_size(16)));

/* Run `count` sections (b0 b1 b2 a1 a2 each) over interleaved audio of 1 or 2 channels in place; state: 2 * channels
 * each. */
void mw_sections(const double *c, int32_t count, double *state, int32_t channels, double *audio, int32_t frames);

#endif
