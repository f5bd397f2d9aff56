/* SPDX-License-Identifier: Apache-2.0 */
#include "mw.h"

int32_t mw_abi(void) { return MW_ABI; }

int32_t mw_has_avx2(void) {
#if defined(__x86_64__) && (defined(__GNUC__) || defined(__clang__))
    __builtin_cpu_init();
    return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma") ? 1 : 0;
#else
    return 0;
#endif
}

#ifdef __GLIBC__
#include <malloc.h>
/* Arrays as large as a block come and go many times a second. Given back to the system each time, and cleared by it when
 * they come again, they cost a third of a mix: the C library is asked to hold on to them, in one place for all threads,
 * as it gives back whole places of single threads whatever it was asked. */
MW_API void mw_hold_memory(void) {
    mallopt(M_ARENA_MAX, 1);
    mallopt(M_MMAP_THRESHOLD, 32 << 20);
    mallopt(M_TRIM_THRESHOLD, 256 << 20);
}
#endif
