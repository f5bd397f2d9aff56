/* SPDX-License-Identifier: Apache-2.0 */
#include "sections.h"

#include <string.h>

/* Transposed direct form II, `count` sections at once (a constant where it is called, so that states stay in registers). */
#define CASCADE(name, type, load, store) \
    static inline __attribute__((always_inline)) void name(const int count, const double *c, double *state, \
                                                           int32_t channels, double *audio, int32_t frames) { \
        type b0[4], b1[4], b2[4], a1[4], a2[4], s1[4], s2[4]; \
        for (int k = 0; k < count; k++) { \
            b0[k] = (type){0} + c[5 * k]; \
            b1[k] = (type){0} + c[5 * k + 1]; \
            b2[k] = (type){0} + c[5 * k + 2]; \
            a1[k] = (type){0} + c[5 * k + 3]; \
            a2[k] = (type){0} + c[5 * k + 4]; \
            load(s1[k], state + 2 * channels * k); \
            load(s2[k], state + 2 * channels * k + channels); \
        } \
        for (int32_t i = 0; i < frames; i++) { \
            type x; \
            load(x, audio + channels * i); \
            for (int k = 0; k < count; k++) { \
                type y = b0[k] * x + s1[k]; \
                s1[k] = (b1[k] * x + s2[k]) - a1[k] * y; \
                s2[k] = b2[k] * x - a2[k] * y; \
                x = y; \
            } \
            store(x, audio + channels * i); \
        } \
        for (int k = 0; k < count; k++) { \
            store(s1[k], state + 2 * channels * k); \
            store(s2[k], state + 2 * channels * k + channels); \
        } \
    }

#define LOAD(value, from) memcpy(&(value), (from), sizeof(value))
#define STORE(value, to) memcpy((to), &(value), sizeof(value))
CASCADE(cascade_one, double, LOAD, STORE)
CASCADE(cascade_two, mw_pair, LOAD, STORE)

void mw_sections(const double *c, int32_t count, double *state, int32_t channels, double *audio, int32_t frames) {
#define RUN(n) (channels == 2 ? cascade_two(n, c, state, 2, audio, frames) : cascade_one(n, c, state, 1, audio, frames))
    for (; count >= 4; count -= 4, c += 20, state += 8 * channels) RUN(4);
    if (count == 3) RUN(3);
    if (count == 2) RUN(2);
    if (count == 1) RUN(1);
#undef RUN
}
