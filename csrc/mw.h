/* SPDX-License-Identifier: Apache-2.0
 * The C core: plain pointers and counts in, nothing allocated, nothing checked (Python checks everything).
 * Audio is interleaved, frames first; gains and states are double. Compile with -ffp-contract=off. */
#ifndef MW_H
#define MW_H

#include <stdint.h>

#if defined(_WIN32)
#define MW_API __declspec(dllexport)
#elif defined(__wasm__)
#define MW_API __attribute__((visibility("default")))
#else
#define MW_API __attribute__((visibility("default")))
#endif

/* Raised with every change of a signature, a struct or what a chain is made of; native/library.py must name the same number. */
#define MW_ABI 5

MW_API int32_t mw_abi(void);

/* 1 where this processor and its system can run the AVX2 build. */
MW_API int32_t mw_has_avx2(void);

#endif
