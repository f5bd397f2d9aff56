/* SPDX-License-Identifier: Apache-2.0
 * What the core needs of math.h: functions that IEEE 754 rounds correctly, single instructions everywhere. */
#ifndef MW_WASM_MATH_H
#define MW_WASM_MATH_H

#define fabs __builtin_fabs
#define fabsf __builtin_fabsf
#define fmax __builtin_fmax
#define fmin __builtin_fmin
#define sqrt __builtin_sqrt

#endif
