/* SPDX-License-Identifier: Apache-2.0
 * Long filters without feedback, run through Fourier transforms of fixed length: one every MW_STRIDE frames from reset on,
 * whatever the blocks. What comes out is MW_STRIDE frames late. */
#ifndef MW_CONVOLUTION_H
#define MW_CONVOLUTION_H

#include "stage.h"

enum { MW_PART = 2 * MW_STRIDE }; /* doubles of a spectrum; frames of a transform */

/* Coefficients: the waves of the transform, then a spectrum for every MW_STRIDE taps; `count` of them. State: MW_PART +
 * MW_STRIDE + count * MW_PART a channel. */
void mw_convolve(const mw_stage *at);

/* Coefficients from count * MW_STRIDE taps. */
MW_API void mw_design_convolution(const double *taps, int32_t count, double *c);

/* 2 * `half` taps, symmetric around the one numbered `half`, with the magnitude of `count` sections in series.
 * `room`: 16 * half doubles. */
MW_API void mw_design_linear(const double *sections, int32_t count, int32_t half, double *room, double *taps);

#endif
