/* SPDX-License-Identifier: Apache-2.0
 * Runs one chain over one signal: a list and audio in a file, audio on standard output. For tests on other processors.
 *
 * The file: int32 rows, coefficients, states, channels, keys, gains, frames; then the rows, int32; the coefficients,
 * double; the audio, float; the keys, float. */
#include <stdio.h>
#include <stdlib.h>

#include "chain.h"

enum { BLOCK = 1000 };

static void *taken(FILE *file, size_t size, size_t count) {
    void *values = calloc(count + 1, size);
    if (!values || fread(values, size, count, file) != count) exit(2);
    return values;
}

int main(int count, char **arguments) {
    FILE *file = count == 2 ? fopen(arguments[1], "rb") : NULL;
    if (!file) return 2;
    int32_t *size = taken(file, sizeof(int32_t), 7);
    int32_t channels = size[3], frames = size[6];
    mw_list all = {.count = size[0], .channels = channels, .key_count = size[4], .gain_count = size[5]};
    all.rows = taken(file, sizeof(int32_t), (size_t)(MW_CHAIN_ROW * size[0]));
    all.coefficients = taken(file, sizeof(double), (size_t)size[1]);
    all.state = calloc((size_t)size[2], sizeof(double));
    float *audio = taken(file, sizeof(float), (size_t)frames * (size_t)channels);
    float *keys = taken(file, sizeof(float), (size_t)frames * 2 * (size_t)size[4]);
    float *out = calloc((size_t)frames * (size_t)channels + 1, sizeof(float));
    float *gains = calloc(BLOCK * (size_t)size[5] + 1, sizeof(float));
    for (int32_t at = 0; at < frames; at += BLOCK) {
        int32_t n = frames - at < BLOCK ? frames - at : BLOCK;
        mw_chain_float(&all, keys + 2 * (int64_t)at * size[4], gains, NULL, 0, audio + (int64_t)at * channels,
                       out + (int64_t)at * channels, n);
    }
    return fwrite(out, sizeof(float), (size_t)frames * (size_t)channels, stdout) == (size_t)frames * (size_t)channels ? 0 : 2;
}
