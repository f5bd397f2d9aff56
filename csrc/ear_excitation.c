/* SPDX-License-Identifier: Apache-2.0
 * Excitation: the power of the components through auditory filters whose lower slopes depend on the level around each
 * component. Levels are in steps of 1 dB; a table holds the weight of every component in every filter at every level, and
 * where along the filters it counts. */
#include "ear.h"

#define PADDED 136  /* components, a multiple of 8 */
#define LEVELS 141
#define TILE 8

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

/* levels[frame][component] from the first of each row of `width` powers: `around[from][component]` weighs what lies at
 * `from`; first and last say which it reaches. */
MW_API void mw_ear_levels(const float *power, int64_t frames, int32_t width, const float *around, const int32_t *first,
                          const int32_t *last, uint8_t *levels) {
    for (int64_t t = 0; t < frames; t++, power += width, levels += COMPONENTS) {
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

/* out[step][filter] += p[step] row[filter] in the filters of one part that the row reaches, whole vectors. */
static void add_row(const float *row, int32_t from, int32_t to, int32_t filters, const float *p, int32_t stride,
                    int32_t steps, float *restrict out) {
    for (int32_t s = 0; s < steps; s++, out += filters)
        for (int32_t i = from; i < to; i += 8)
            for (int32_t k = 0; k < 8; k++) out[i + k] += p[s * stride] * row[i + k];
}

/* Excitation of one sound through filters set by the levels given. reach[component][level][2]: from which filter to
 * which its row counts, multiples of 8. */
MW_API void mw_ear_excitation(const float *power, const uint8_t *levels, int64_t frames, const int32_t *parts,
                              int32_t count, const float *table, const uint8_t *reach, float *excitation) {
    const int32_t width = powers_of(parts, count), places = places_of(parts, count);
    for (int64_t t = 0; t < frames; t++, power += width, levels += COMPONENTS, excitation += places) {
        memset(excitation, 0, (size_t)places * sizeof *excitation);
        for (int32_t j = 0; j < COMPONENTS; j++) {
            const int32_t at = j * LEVELS + levels[j], a = reach[2 * at], b = reach[2 * at + 1];
            const float *row = table + (int64_t)at * FILTERS, *own = power + COMPONENTS;
            float *out = excitation;
            for (const int32_t *part = parts; part < parts + PART * count; part += PART) {
                const int32_t first = part[0], filters = part[1] - first, steps = part[2], fine = part[3];
                const int32_t from = a > first ? a - first : 0, to = b - first < filters ? b - first : filters;
                /* What holds for the frame is added up in the first step. */
                for (int32_t s = 1; j == fine && s < steps; s++)
                    memcpy(out + s * filters, out, (size_t)filters * sizeof *out);
                if (power[j] >= 1e-4f && j < fine)
                    add_row(row + first, from, to, filters, power + j, 0, 1, out);
                else if (power[j] >= 1e-4f)
                    add_row(row + first, from, to, filters, own + j - fine, COMPONENTS - fine, steps, out);
                own += steps * (COMPONENTS - fine);
                out += steps * filters;
            }
        }
    }
}

static void add_to_four(const float *const *power, const float *weights, int32_t from, int32_t to, float (*out)[TILE]) {
    float sum[4][TILE];
    memcpy(sum, out, sizeof sum);
    for (int32_t j = from; j < to; j++) {
        const float *row = weights + j * FILTERS;
        for (int32_t r = 0; r < 4; r++)
            for (int32_t i = 0; i < TILE; i++) sum[r][i] += power[r][j] * row[i];
    }
    memcpy(out, sum, sizeof sum);
}

/* The weights of every component at its level, and which of them count in each tile of filters. */
static void fetch(const uint8_t *levels, const float *table, const uint8_t *reach, float *room, int32_t *from,
                  int32_t *to) {
    for (int32_t g = 0; g < FILTERS / TILE; g++) from[g] = COMPONENTS, to[g] = 0;
    for (int32_t j = 0; j < COMPONENTS; j++, room += FILTERS) {
        const int32_t at = j * LEVELS + levels[j], low = reach[2 * at], high = reach[2 * at + 1];
        memset(room, 0, FILTERS * sizeof *room);
        memcpy(room + low, table + (int64_t)at * FILTERS + low, (size_t)(high - low) * sizeof *room);
        for (int32_t g = low / TILE; g < high / TILE; g++) {
            if (from[g] > j) from[g] = j;
            to[g] = j + 1;
        }
    }
}

/* Excitation of `rows` sounds, a multiple of 4, through the same filters: power[row][frame] to excitation[row][frame].
 * room holds COMPONENTS * FILTERS floats. */
MW_API void mw_ear_shared_excitation(const float *const *power, float *const *excitation, int32_t rows,
                                     const uint8_t *levels, int64_t frames, const int32_t *parts, int32_t count,
                                     const float *table, const uint8_t *reach, float *room) {
    const int32_t width = powers_of(parts, count), places = places_of(parts, count);
    for (int64_t t = 0; t < frames; t++, levels += COMPONENTS) {
        int32_t from[FILTERS / TILE], to[FILTERS / TILE];
        fetch(levels, table, reach, room, from, to);
        for (int32_t r = 0; r < rows; r += 4) {
            int32_t own = COMPONENTS, place = 0;
            for (const int32_t *part = parts; part < parts + PART * count; part += PART) {
                const int32_t filters = part[1] - part[0], steps = part[2], fine = part[3];
                for (int32_t i = 0; i < filters; i += TILE) {
                    const int32_t g = (part[0] + i) / TILE;
                    const int32_t last = to[g] < fine ? to[g] : fine, later = from[g] > fine ? from[g] : fine;
                    const float *p[4], *weights = room + g * TILE;
                    float held[4][TILE] = {{0}}, sum[4][TILE];
                    for (int32_t k = 0; k < 4; k++) p[k] = power[r + k] + t * width;
                    add_to_four(p, weights, from[g], last, held);
                    /* Four at a time: the steps of one sound, then those of the next. */
                    for (int32_t n = 0; n < 4 * steps; n += 4) {
                        for (int32_t k = 0; k < 4; k++) {
                            const int32_t sound = (n + k) / steps, step = (n + k) % steps;
                            p[k] = power[r + sound] + t * width + own + step * (COMPONENTS - fine) - fine;
                            memcpy(sum[k], held[sound], sizeof sum[k]);
                        }
                        add_to_four(p, weights, later, to[g], sum);
                        for (int32_t k = 0; k < 4; k++) {
                            const int32_t sound = (n + k) / steps, step = (n + k) % steps;
                            float *out = excitation[r + sound] + t * places + place + step * filters + i;
                            memcpy(out, sum[k], sizeof sum[k]);
                        }
                    }
                }
                own += steps * (COMPONENTS - fine);
                place += steps * filters;
            }
        }
    }
}
