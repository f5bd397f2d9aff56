/* SPDX-License-Identifier: Apache-2.0
 * Who takes what a layer loses: in every filter and cell each other layer by its part of the excitation by all others. */
#include "ear.h"

#define MOST_FILTERS 4     /* of a place */
#define NOTHING 1e-30f     /* less excitation is none */
#define CORRELATED 1.9952623f /* 3 dB */

enum { LOSS_STRICT = 3, LOSS_CUED, EXCITED, REST };

typedef struct {
    const float *excited, *rest, *strict, *cued; /* of every layer, in one filter and cell */
    int32_t layers, padded;
} Moment;

/* Adds one filter and cell: taken[strict, cued][who loses][who takes], losses[strict, cued][who], apart[who]. */
static void add_moment(Moment m, float *restrict taken, float *restrict losses, float *restrict apart) {
    float whole = 0.0f;
    for (int32_t i = 0; i < m.layers; i++) whole += m.excited[i];
    for (int32_t i = 0; i < m.layers; i++) {
        const float others = whole - m.excited[i], rest = m.rest[i];
        if (!(others > NOTHING)) continue; /* nobody takes anything */
        const float each = 1.0f / others;
        const int differ = rest * each > CORRELATED || (rest > NOTHING && others > CORRELATED * rest);
        for (int32_t k = 0; k < 2; k++) {
            const float loss = k ? m.cued[i] : m.strict[i], part = loss * each;
            if (!(loss > 0.0f)) continue;
            float *to = taken + (int64_t)(k * m.layers + i) * m.padded;
            for (int32_t j = 0; j < m.padded; j += 8)
                for (int32_t l = 0; l < 8; l++) to[j + l] += part * m.excited[j + l];
            losses[k * m.layers + i] += loss;
            if (k && differ) apart[i] += loss;
        }
    }
}

/* Adds cells from `first` to `end` of one ear in places of `filters` filters each, from place `from` to `to`:
 * patterns[layer][cell][PATTERNS][FILTERS], losses at the moment and excitations by the layer and by what is left without
 * it. `which` numbers these layers among `all`. shares[strict, cued][places][all][all], losses[strict, cued][places][all]
 * and apart[places][all], the cued losses where rest and the others' powers differ by over 3 dB, grow. `room` holds
 * 16 p + 2 l p + 3 l floats, where l is the number of layers and p that rounded up to a multiple of 8. */
MW_API void mw_ear_share(const float *const *patterns, const int32_t *which, int32_t layers, int32_t all, int64_t first,
                         int64_t end, int32_t filters, int32_t from, int32_t to, int32_t places, double *shares,
                         double *losses, double *apart, float *room) {
    const int32_t padded = (layers + 7) / 8 * 8;
    float *taken = room + 4 * MOST_FILTERS * padded, *lost = taken + (int64_t)2 * layers * padded, *differ = lost + 2 * layers;
    memset(room, 0, sizeof(float) * 4 * MOST_FILTERS * (size_t)padded);
    for (int32_t place = from; place < to; place++) {
        memset(taken, 0, sizeof(float) * ((size_t)2 * (size_t)layers * (size_t)padded + 3 * (size_t)layers));
        for (int64_t t = first; t < end; t++) {
            for (int32_t i = 0; i < layers; i++) {
                const float *cell = patterns[i] + t * PATTERNS * FILTERS + place * filters;
                for (int32_t f = 0; f < filters; f++) {
                    float *at = room + 4 * f * padded + i;
                    at[0] = cell[EXCITED * FILTERS + f];
                    at[padded] = cell[REST * FILTERS + f];
                    at[2 * padded] = cell[LOSS_STRICT * FILTERS + f];
                    at[3 * padded] = cell[LOSS_CUED * FILTERS + f];
                }
            }
            for (int32_t f = 0; f < filters; f++) {
                const float *at = room + 4 * f * padded;
                Moment m = {at, at + padded, at + 2 * padded, at + 3 * padded, layers, padded};
                add_moment(m, taken, lost, differ);
            }
        }
        for (int32_t i = 0; i < layers; i++) {
            for (int32_t k = 0; k < 2; k++) {
                double *row = shares + (((int64_t)k * places + place) * all + which[i]) * all;
                for (int32_t j = 0; j < layers; j++)
                    if (j != i) row[which[j]] += taken[(int64_t)(k * layers + i) * padded + j];
                losses[((int64_t)k * places + place) * all + which[i]] += lost[k * layers + i];
            }
            apart[(int64_t)place * all + which[i]] += differ[i];
        }
    }
}
