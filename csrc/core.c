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
