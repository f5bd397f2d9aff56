/* SPDX-License-Identifier: Apache-2.0 */
#include "fft.h"

#include "mathematics.h"

void mw_fft_waves(int32_t n, double *waves) {
    for (int32_t k = 0; k < n / 2; k++) {
        waves[2 * k] = mw_cos(2.0 * MW_PI * k / n);
        waves[2 * k + 1] = -mw_sin(2.0 * MW_PI * k / n);
    }
}

/* Complex, n values, with every `step`-th wave; `turn` -1 for the inverse, without its 1 / n. */
static void complex_fft(double *x, int32_t n, const double *waves, int32_t step, double turn) {
    for (int32_t i = 1, j = 0; i < n; i++) { /* order by reversed bits */
        int32_t bit = n >> 1;
        for (; j & bit; bit >>= 1) j ^= bit;
        j ^= bit;
        if (i < j) {
            double re = x[2 * i], im = x[2 * i + 1];
            x[2 * i] = x[2 * j], x[2 * i + 1] = x[2 * j + 1];
            x[2 * j] = re, x[2 * j + 1] = im;
        }
    }
    for (int32_t half = 1; half < n; half *= 2) {
        int32_t stride = n / half * step; /* doubles between the waves of this pass */
        for (int32_t start = 0; start < n; start += 2 * half) {
            double *a = x + 2 * start, *b = a + 2 * half;
            for (int32_t k = 0; k < half; k++, a += 2, b += 2) {
                double c = waves[k * stride], s = turn * waves[k * stride + 1];
                double re = b[0] * c - b[1] * s, im = b[0] * s + b[1] * c;
                b[0] = a[0] - re, b[1] = a[1] - im;
                a[0] += re, a[1] += im;
            }
        }
    }
}

/* From the spectrum of even values as real and odd values as imaginary part to that of the real signal, or back. */
static void untangle(double *x, int32_t n, const double *waves, double turn) {
    for (int32_t k = 1; k <= n / 4; k++) {
        double *a = x + 2 * k, *b = x + n - 2 * k;
        double even_re = 0.5 * (a[0] + b[0]), even_im = 0.5 * (a[1] - b[1]);
        double odd_re = 0.5 * turn * (a[1] + b[1]), odd_im = -0.5 * turn * (a[0] - b[0]);
        double c = waves[2 * k], s = turn * waves[2 * k + 1];
        double re = odd_re * c - odd_im * s, im = odd_re * s + odd_im * c;
        a[0] = even_re + re, a[1] = even_im + im;
        b[0] = even_re - re, b[1] = im - even_im;
    }
}

void mw_fft(double *x, int32_t n, const double *waves) {
    complex_fft(x, n / 2, waves, 2, 1.0);
    double first = x[0] + x[1], last = x[0] - x[1];
    untangle(x, n, waves, 1.0);
    x[0] = first, x[1] = last;
}

void mw_fft_inverse(double *x, int32_t n, const double *waves) {
    double even = 0.5 * (x[0] + x[1]), odd = 0.5 * (x[0] - x[1]);
    untangle(x, n, waves, -1.0);
    x[0] = even, x[1] = odd;
    complex_fft(x, n / 2, waves, 2, -1.0);
    double scale = 2.0 / n;
    for (int32_t i = 0; i < n; i++) x[i] *= scale;
}
