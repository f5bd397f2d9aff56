/* SPDX-License-Identifier: Apache-2.0
 * Fourier transform of real signals whose length is a power of two, at least 4 (J. W. Cooley and J. W. Tukey, Math.
 * Comp. 19, 1965; two halves of a real signal as one complex one). */
#ifndef MW_FFT_H
#define MW_FFT_H

#include "mw.h"

/* The n doubles that transforms of n values need: cos and -sin of 2 pi k / n for k < n / 2. */
MW_API void mw_fft_waves(int32_t n, double *waves);

/* In place: x becomes X[0], X[n / 2], then real and imaginary part of X[1] ... X[n / 2 - 1]. */
MW_API void mw_fft(double *x, int32_t n, const double *waves);

/* The inverse, in place. */
MW_API void mw_fft_inverse(double *x, int32_t n, const double *waves);

#endif
