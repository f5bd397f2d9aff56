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

/* Where the weights of every component at its level lie, and which components count in each tile of filters. */
static void find(const uint8_t *levels, const float *table, const uint8_t *reach, const float **row, int32_t *from,
                 int32_t *to) {
    for (int32_t g = 0; g < FILTERS / TILE; g++) from[g] = COMPONENTS, to[g] = 0;
    for (int32_t j = 0; j < COMPONENTS; j++) {
        const int32_t at = j * LEVELS + levels[j];
        row[j] = table + (int64_t)at * FILTERS;
        for (int32_t g = reach[2 * at] / TILE; g < reach[2 * at + 1] / TILE; g++) {
            if (from[g] > j) from[g] = j;
            to[g] = j + 1;
        }
    }
}

/* A tile of weighted powers of components `from` to `to`: four sums side by side, as an addition takes a while. */
static Eight summed(const float *const *row, int32_t at, const float *power, int32_t from, int32_t to) {
    Eight a = {0}, b = {0}, c = {0}, d = {0};
    int32_t j = from;
    for (; j + 4 <= to; j += 4) {
        a += power[j] * load_eight(row[j] + at), b += power[j + 1] * load_eight(row[j + 1] + at);
        c += power[j + 2] * load_eight(row[j + 2] + at), d += power[j + 3] * load_eight(row[j + 3] + at);
    }
    for (; j < to; j++) a += power[j] * load_eight(row[j] + at);
    return (a + b) + (c + d);
}

/* Excitation of one sound through filters set by the levels given. reach[component][level][2]: from which filter to
 * which its row counts, multiples of 8. */
MW_API void mw_ear_excitation(const float *power, const uint8_t *levels, int64_t frames, const int32_t *parts,
                              int32_t count, const float *table, const uint8_t *reach, float *excitation) {
    const int32_t width = powers_of(parts, count), places = places_of(parts, count);
    for (int64_t t = 0; t < frames; t++, power += width, levels += COMPONENTS, excitation += places) {
        int32_t from[FILTERS / TILE], to[FILTERS / TILE];
        const float *row[COMPONENTS], *own = power + COMPONENTS;
        float *out = excitation;
        find(levels, table, reach, row, from, to);
        for (const int32_t *part = parts; part < parts + PART * count; part += PART) {
            const int32_t first = part[0], filters = part[1] - first, steps = part[2], fine = part[3];
            for (int32_t i = 0; i < filters; i += TILE) {
                const int32_t g = (first + i) / TILE;
                const int32_t last = to[g] < fine ? to[g] : fine, later = from[g] > fine ? from[g] : fine;
                /* What holds for the frame is added up once. */
                const Eight held = summed(row, g * TILE, power, from[g], last);
                for (int32_t s = 0; s < steps; s++) {
                    const float *step = own + s * (COMPONENTS - fine) - fine;
                    store_eight(out + s * filters + i, held + summed(row, g * TILE, step, later, to[g]));
                }
            }
            own += steps * (COMPONENTS - fine);
            out += steps * filters;
        }
    }
}

/* Adds components `from` to `to` of some powers at once, each by the same weights of a tile. */
#define MANY 8
static void add_to_many(const float *const *power, const float (*weights)[TILE], int32_t from, int32_t to,
                        float (*out)[TILE]) {
    /* By name: compilers keep arrays of vectors in memory. */
    Eight a = load_eight(out[0]), b = load_eight(out[1]), c = load_eight(out[2]), d = load_eight(out[3]);
    Eight e = load_eight(out[4]), f = load_eight(out[5]), g = load_eight(out[6]), h = load_eight(out[7]);
    for (int32_t j = from; j < to; j++) {
        const Eight weight = load_eight(weights[j]);
        a += power[0][j] * weight, b += power[1][j] * weight, c += power[2][j] * weight, d += power[3][j] * weight;
        e += power[4][j] * weight, f += power[5][j] * weight, g += power[6][j] * weight, h += power[7][j] * weight;
    }
    store_eight(out[0], a), store_eight(out[1], b), store_eight(out[2], c), store_eight(out[3], d);
    store_eight(out[4], e), store_eight(out[5], f), store_eight(out[6], g), store_eight(out[7], h);
}

/* The weights of every component at its level, room[tile][component], and which of them count in each tile of filters. */
static void fetch(const uint8_t *levels, const float *table, const uint8_t *reach, float (*room)[COMPONENTS][TILE],
                  int32_t *from, int32_t *to) {
    for (int32_t g = 0; g < FILTERS / TILE; g++) from[g] = COMPONENTS, to[g] = 0;
    for (int32_t j = 0; j < COMPONENTS; j++) {
        const int32_t at = j * LEVELS + levels[j], low = reach[2 * at] / TILE, high = reach[2 * at + 1] / TILE;
        const float *row = table + (int64_t)at * FILTERS;
        for (int32_t g = low; g < high; g++) {
            if (from[g] > j) from[g] = j;
            for (int32_t k = to[g]; k < j && k >= from[g]; k++) memset(room[g][k], 0, sizeof room[g][k]);
            to[g] = j + 1;
            memcpy(room[g][j], row + g * TILE, sizeof room[g][j]);
        }
    }
}

/* One tile of the filters of one part, in one frame: of MANY sounds, or of fewer, whose last is repeated. */
typedef struct {
    const float (*weights)[TILE];
    int32_t from, to, fine, steps, own, first; /* `own`: where the powers of the steps begin in a row */
} Tile;

static void excite(const float *const *power, float *const *excitation, int32_t rows, Tile tile, int64_t step_filters) {
    const int32_t last = tile.to < tile.fine ? tile.to : tile.fine;
    const int32_t later = tile.from > tile.fine ? tile.from : tile.fine;
    float held[MANY][TILE] = {{0}}, sum[MANY][TILE];
    const float *p[MANY];
    for (int32_t k = 0; k < MANY; k++) p[k] = power[k < rows ? k : rows - 1];
    add_to_many(p, tile.weights, tile.from, last, held);
    /* MANY at a time: the steps of one sound, then those of the next. */
    for (int32_t n = 0; n < rows * tile.steps; n += MANY) {
        for (int32_t k = 0; k < MANY; k++) {
            const int32_t at = n + k < rows * tile.steps ? n + k : rows * tile.steps - 1;
            const int32_t sound = at / tile.steps, step = at % tile.steps;
            p[k] = power[sound] + tile.own + step * (COMPONENTS - tile.fine) - tile.fine;
            memcpy(sum[k], held[sound], sizeof sum[k]);
        }
        add_to_many(p, tile.weights, later, tile.to, sum);
        for (int32_t k = 0; k < MANY && n + k < rows * tile.steps; k++) {
            const int32_t sound = (n + k) / tile.steps, step = (n + k) % tile.steps;
            memcpy(excitation[sound] + tile.first + step * step_filters, sum[k], sizeof sum[k]);
        }
    }
}

/* Excitation of `rows` sounds through the same filters: power[row][frame] to excitation[row][frame]. `room` holds
 * COMPONENTS * FILTERS floats. */
MW_API void mw_ear_shared_excitation(const float *const *power, float *const *excitation, int32_t rows,
                                     const uint8_t *levels, int64_t frames, const int32_t *parts, int32_t count,
                                     const float *table, const uint8_t *reach, float *room) {
    const int32_t width = powers_of(parts, count), places = places_of(parts, count);
    float(*weights)[COMPONENTS][TILE] = (float(*)[COMPONENTS][TILE])room;
    for (int64_t t = 0; t < frames; t++, levels += COMPONENTS) {
        int32_t from[FILTERS / TILE], to[FILTERS / TILE], own = COMPONENTS, place = 0;
        fetch(levels, table, reach, weights, from, to);
        for (const int32_t *part = parts; part < parts + PART * count; part += PART) {
            const int32_t filters = part[1] - part[0], steps = part[2], fine = part[3];
            for (int32_t i = 0; i < filters; i += TILE) {
                const int32_t g = (part[0] + i) / TILE;
                const Tile tile = {weights[g], from[g], to[g], fine, steps, own, place + i};
                for (int32_t r = 0; r < rows; r += MANY) {
                    const int32_t here = rows - r < MANY ? rows - r : MANY;
                    const float *p[MANY];
                    float *out[MANY];
                    for (int32_t k = 0; k < here; k++) p[k] = power[r + k] + t * width, out[k] = excitation[r + k] + t * places;
                    excite(p, out, here, tile, filters);
                }
            }
            own += steps * (COMPONENTS - fine);
            place += steps * filters;
        }
    }
}
