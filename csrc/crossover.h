/* SPDX-License-Identifier: Apache-2.0
 * Linkwitz-Riley crossovers (S. Linkwitz, "Active crossover networks for noncoincident drivers", J. Audio Eng. Soc.
 * 24(1), 1976): 2 to 5 ranges whose sum is an all-pass, so that it is flat. Each split is a Butterworth low-pass twice,
 * and what the all-pass of the split has beside it; lower ranges pass through the all-passes of the splits above, so
 * that all are in phase. With slopes of 12 dB/oct every range above a split comes out inverted, as the sum asks for. */
#ifndef MW_CROSSOVER_H
#define MW_CROSSOVER_H

#include "mw.h"

enum { MW_RANGES = 5 };

/* Sections of the Butterworth filter of a split; `order` is that of the crossover: 2, 4 or 8 (6 dB/oct each). */
static inline int32_t mw_crossover_sections(int32_t order) { return (order / 2 + 1) / 2; }

/* Doubles of coefficients, and of state for each channel (all zeros at reset). */
static inline int32_t mw_crossover_coefficients(int32_t ranges, int32_t order) {
    return (ranges - 1) * 10 * mw_crossover_sections(order);
}
static inline int32_t mw_crossover_states(int32_t ranges, int32_t order) {
    int32_t splits = ranges - 1;
    return 2 * mw_crossover_sections(order) * (3 * splits + splits * (splits - 1) / 2);
}

/* Coefficients for `ranges` - 1 splits at `hz`, ascending, below half the rate: of each split the all-pass's sections,
 * then the low-pass's. Between two tables of them any part of the way is a crossover with a flat sum, too. */
MW_API void mw_design_crossover(const double *hz, int32_t ranges, int32_t order, double rate_hz, double *c);

/* Split a run of interleaved audio: out[0] the lowest range ... out[ranges - 1], each frames * channels, none of them
 * `audio`. `forget` as in stage.h. */
MW_API void mw_crossover(const double *c, int32_t ranges, int32_t order, double *state, int32_t channels,
                         const double *audio, int32_t frames, int32_t forget, double *const *out);

#endif
