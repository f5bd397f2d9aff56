/* SPDX-License-Identifier: Apache-2.0
 * What the core needs of string.h where there is no C library: the compiler makes single instructions of these. */
#ifndef MW_WASM_STRING_H
#define MW_WASM_STRING_H

#include <stddef.h>

#define memcpy __builtin_memcpy
#define memmove __builtin_memmove
#define memset __builtin_memset

#endif
