/* SPDX-License-Identifier: Apache-2.0
 * Excitation: the power of the components through auditory filters whose lower slopes depend on the level around each
 * component. Levels are in steps of 1 dB; a table holds the weight of every component in every filter at every level, and
 * where along the filters it counts. */
#include "ear.h"

#define COMPONENTS 134
#define PADDED 136  /* components, a multiple of 8 */
#define LEVELS 141
#define TILE 16

/* The nearest whole dB of a power, -20 ... 120, counted from -20. */
static uint8_t level(float power) {
    if (!(power > 0.01f)) return 0;
    uint32_t bits;
    memcpy(&bits, &power, sizeof bits);
    float e = (float)((int32_t)(bits >> 23) - 127);
    bits = (bits & 0x7fffffu) | 0x3f800000u;
    float m;
    memcpy(&m, &bits, sizeof m);
    /* log2 of 1 ... 2 within 9e-5: 0.0003 dB */
    float log2m = -2.51285803f + m * (4.07010135f + m * (-2.12068722f + m * (0.64514841f + m * -0.08161692f)));
    float db = (e + log2m) * 3.01029996f;
    int32_t whole = (int32_t)(db + 20.5f);
    return (uint8_t)(whole < 0 ? 0 : whole >= LEVELS ? LEVELS - 1 : whole);
}

/* levels[frame][component]: `around[from][component]` weighs what lies at `from`; first and last say which it reaches. */
MW_API void mw_ear_levels(const float *power, int64_t frames, const float *around, const int32_t *first,
                          const int32_t *last, uint8_t *levels) {
    for (int64_t t = 0; t < frames; t++, power += COMPONENTS, levels += COMPONENTS) {
        float sum[PADDED] = {0};
        for (int32_t k = 0; k < COMPONENTS; k++) {
            const float p = power[k];
            if (p < 1e-6f) continue;
            const float *row = around + k * PADDED;
            for (int32_t j = first[k]; j < last[k]; j += 8)
                for (int32_t i = 0; i < 8; i++) sum[j + i] += p * row[j + i];
        }
        for (int32_t j = 0; j < COMPONENTS; j++) levels[j] = level(sum[j]);
    }
}

/* Excitation of one sound through filters set by the levels given. reach[component][level][2]: from which filter to
 * which its row counts, multiples of 8. */
MW_API void mw_ear_excitation(const float *power, const uint8_t *levels, int64_t frames, const float *table,
                              const uint8_t *reach, float *excitation) {
    for (int64_t t = 0; t < frames; t++, power += COMPONENTS, levels += COMPONENTS, excitation += FILTERS) {
        float sum[FILTERS] = {0};
        for (int32_t j = 0; j < COMPONENTS; j++) {
            const float p = power[j];
            if (p < 1e-4f) continue;
            const int32_t at = j * LEVELS + levels[j];
            const float *row = table + (int64_t)at * FILTERS;
            for (int32_t i = reach[2 * at]; i < reach[2 * at + 1]; i += 8)
                for (int32_t k = 0; k < 8; k++) sum[i + k] += p * row[i + k];
        }
        memcpy(excitation, sum, sizeof sum);
    }
}

static void tile_of_four(const float *const *power, const float *weights, int32_t from, int32_t to, float *const *out) {
    float sum[4][TILE] = {{0}};
    for (int32_t j = from; j < to; j++) {
        const float *row = weights + j * FILTERS;
        for (int32_t r = 0; r < 4; r++)
            for (int32_t i = 0; i < TILE; i++) sum[r][i] += power[r][j] * row[i];
    }
    for (int32_t r = 0; r < 4; r++) memcpy(out[r], sum[r], sizeof sum[r]);
}

/* Excitation of `rows` sounds, a multiple of 4, through the same filters: power[row][frame][component] to
 * excitation[row][frame][filter]. room holds COMPONENTS * FILTERS floats. */
MW_API void mw_ear_shared_excitation(const float *const *power, float *const *excitation, int32_t rows,
                                     const uint8_t *levels, int64_t frames, const float *table, const uint8_t *reach,
                                     float *room) {
    for (int64_t t = 0; t < frames; t++, levels += COMPONENTS) {
        int32_t from[FILTERS / TILE], to[FILTERS / TILE];
        for (int32_t g = 0; g < FILTERS / TILE; g++) from[g] = COMPONENTS, to[g] = 0;
        for (int32_t j = 0; j < COMPONENTS; j++) {
            const int32_t at = j * LEVELS + levels[j];
            const int32_t a = reach[2 * at] / TILE, b = (reach[2 * at + 1] + TILE - 1) / TILE;
            const int32_t low = a * TILE, high = b * TILE;
            memcpy(room + j * FILTERS + low, table + (int64_t)at * FILTERS + low, (size_t)(high - low) * sizeof *room);
            for (int32_t g = 0; g < FILTERS / TILE; g++) {
                if (g < a || g >= b) {
                    memset(room + j * FILTERS + g * TILE, 0, TILE * sizeof *room);
                } else {
                    if (from[g] > j) from[g] = j;
                    to[g] = j + 1;
                }
            }
        }
        for (int32_t r = 0; r < rows; r += 4) {
            const float *p[4];
            for (int32_t k = 0; k < 4; k++) p[k] = power[r + k] + t * COMPONENTS;
            for (int32_t g = 0; g < FILTERS / TILE; g++) {
                float *out[4];
                for (int32_t k = 0; k < 4; k++) out[k] = excitation[r + k] + t * FILTERS + g * TILE;
                tile_of_four(p, room + g * TILE, from[g], to[g], out);
            }
        }
    }
}
