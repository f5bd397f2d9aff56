/* SPDX-License-Identifier: Apache-2.0
 * A chain: a list of operations run over one block, in place.
 *
 * operations: rows of MW_CHAIN_ROW int32: kind, count, index of its first coefficient, index of its first state, of its key and
 * its first gain (-1: none), what it works on, how many of its coefficients move, index of their table.
 *   GAIN      factor                          no state
 *   DELAY     count = frames                  state: count * channels
 *   SECTIONS  count = second-order sections,  coefficients b0 b1 b2 a1 a2 each; state: 2 * channels each
 *   REVERB    coefficients and state as in reverb.h
 *   KEEP      count = frames                  state: (count + MW_STRIDE) * channels; keeps the audio for the BLEND with
 *   BLEND     part of what came between       the same state, which gives back what was kept, `count` frames late,
 *                                             for as much as that part leaves
 * state[0] counts the frames since reset (all zeros); the operations' states follow it.
 * Keys and gains are float, frames first: 2 * key_count and gain_count values a frame. An operation that is not linear
 * is so by gains: it writes them as it goes, and with `replay` it reads them.
 * Coefficients that move stand in tables: a row for every stride from the one numbered `first` (from reset) to the one
 * after the block; between two of them they go in straight lines, by steps of STEP frames, each as its
 * middle has it; a single coefficient, a gain, from frame to frame. */
#include "chain.h"
#include "colour.h"
#include "convolution.h"
#include "dynamics.h"
#include "keyed.h"
#include "reverb.h"
#include "sections.h"
#include "stage.h"

enum { KIND, COUNT, COEFFICIENTS, STATE, KEY, GAINS, ON, MOVING, TABLE };
enum { BOTH, MIDDLE, SIDE, LEFT, RIGHT };

#define STRIDE MW_STRIDE
#define STEP 16
#define MOST_MOVING 256
#define LARGEST 3.4028234663852886e38 /* of float */

/* What a block brings along: keys, gains, and tables of coefficients that move. */
typedef struct {
    const float *keys;
    float *gains;
    const double *moving;
    int64_t first; /* stride of the tables' first rows */
} beside;

static void gain(const mw_stage *at) {
    for (int32_t i = 0; i < at->frames * at->channels; i++) at->audio[i] *= at->c[0];
}

static void delay(const mw_stage *at) {
    int64_t length = (int64_t)at->count * at->channels, ring = at->frame % at->count * at->channels;
    for (int32_t i = 0; i < at->frames * at->channels; i++) {
        double late = at->state[ring];
        at->state[ring] = at->audio[i];
        at->audio[i] = late;
        if (++ring == length) ring = 0;
    }
}

static void filters(const mw_stage *at) {
    mw_sections(at->c, at->count, at->state, at->channels, at->audio, at->frames);
    for (int32_t i = 0; at->forget && i < 2 * at->channels * at->count; i++) at->state[i] = mw_kept(at->state[i], 1);
}

static void reverb(const mw_stage *at) {
    mw_reverb(at->c, at->state, at->frame, at->channels, at->audio, at->frames, at->forget, MW_NOTHING);
}

static void keep(const mw_stage *at) {
    int64_t length = (int64_t)(at->count + STRIDE) * at->channels;
    int64_t ring = at->frame % (at->count + STRIDE) * at->channels;
    for (int32_t i = 0; i < at->frames * at->channels; i++) {
        at->state[ring] = at->audio[i];
        if (++ring == length) ring = 0;
    }
}

static void blend(const mw_stage *at) {
    int64_t length = (int64_t)(at->count + STRIDE) * at->channels;
    int64_t ring = (at->frame + STRIDE) % (at->count + STRIDE) * at->channels;
    for (int32_t i = 0; i < at->frames * at->channels; i++) {
        double dry = at->state[ring];
        at->audio[i] = at->c[0] == 1.0 ? at->audio[i] : dry + at->c[0] * (at->audio[i] - dry);
        if (++ring == length) ring = 0;
    }
}

/* In the order of the kinds in native/chain.py. */
static void (*const KINDS[])(const mw_stage *) = {
    gain, delay, filters, reverb, keep, blend,
    mw_compress, mw_expand,
    mw_saturation,
    mw_against, mw_dip, mw_duck, mw_peaks,
    mw_transients, mw_deess,
    mw_bass_harmonics,
    mw_level,
    mw_convolve,
};

/* Run an operation on one of the channels, or on middle or side. */
static void on_one(void (*operation)(const mw_stage *), const mw_stage *at, int32_t on) {
    double one[STRIDE];
    mw_stage alone = *at;
    alone.audio = one;
    alone.channels = 1;
    for (int32_t i = 0; i < at->frames; i++) {
        double left = at->audio[2 * i], right = at->audio[2 * i + 1];
        one[i] = on == LEFT ? left : on == RIGHT ? right : 0.5 * (on == MIDDLE ? left + right : left - right);
    }
    operation(&alone);
    for (int32_t i = 0; i < at->frames; i++) {
        double *left = at->audio + 2 * i, *right = left + 1;
        double middle = 0.5 * (*left + *right), side = 0.5 * (*left - *right);
        if (on == LEFT) *left = one[i];
        else if (on == RIGHT) *right = one[i];
        else if (on == MIDDLE) *left = one[i] + side, *right = one[i] - side;
        else *left = middle + one[i], *right = middle - one[i];
    }
}

static void run(const mw_stage *at, const int32_t *row) {
    if (row[ON] == BOTH) KINDS[row[KIND]](at);
    else on_one(KINDS[row[KIND]], at, row[ON]);
}

/* Run an operation whose coefficients move, by steps. */
static void run_moving(mw_stage at, const int32_t *row, const double *table) {
    double now[MOST_MOVING];
    const double *next = table + row[MOVING];
    int32_t left = at.frames, forget = at.forget, whole = row[MOVING] == 1 ? 1 : STEP;
    at.c = now;
    while (left > 0) {
        int32_t inside = (int32_t)(at.frame % STRIDE), gone = inside % whole, step = whole - gone;
        double part = (inside - gone + whole / 2) / (double)STRIDE;
        for (int32_t k = 0; k < row[MOVING]; k++) now[k] = table[k] + part * (next[k] - table[k]);
        at.frames = left < step ? left : step;
        at.forget = forget && at.frames == left;
        run(&at, row);
        at.frame += at.frames;
        at.audio += (int64_t)at.frames * at.channels;
        if (at.key) at.key += (int64_t)at.frames * at.key_step;
        if (at.gains) at.gains += (int64_t)at.frames * at.gain_step;
        left -= at.frames;
    }
}

/* At most STRIDE frames, not across a multiple of STRIDE. */
static void stride(const mw_list *list, const beside *with, double *audio, int32_t frames) {
    int64_t frame = (int64_t)list->state[0];
    for (int32_t k = 0; k < list->count; k++) {
        const int32_t *row = list->rows + MW_CHAIN_ROW * k;
        mw_stage at = {.c = list->coefficients + row[COEFFICIENTS],
                       .state = list->state + row[STATE],
                       .count = row[COUNT],
                       .channels = list->channels,
                       .frames = frames,
                       .forget = (frame + frames) % STRIDE == 0,
                       .replay = list->replay,
                       .frame = frame,
                       .audio = audio,
                       .key = row[KEY] < 0 ? 0 : with->keys + 2 * row[KEY],
                       .key_step = 2 * list->key_count,
                       .gains = row[GAINS] < 0 ? 0 : with->gains + row[GAINS],
                       .gain_step = list->gain_count};
        if (row[MOVING]) run_moving(at, row, with->moving + row[TABLE] + (frame / STRIDE - with->first) * row[MOVING]);
        else run(&at, row);
    }
    list->state[0] += frames;
}

static int32_t next_stride(const double *state, int64_t frames) {
    int64_t left = STRIDE - (int64_t)state[0] % STRIDE;
    return (int32_t)(frames < left ? frames : left);
}

static void advance(const mw_list *list, beside *with, int32_t frames) {
    if (with->keys) with->keys += (int64_t)frames * 2 * list->key_count;
    if (with->gains) with->gains += (int64_t)frames * list->gain_count;
}

void mw_chain(const mw_list *list, const float *keys, float *gains, const double *moving, int32_t first,
              double *audio, int64_t frames) {
    beside with = {keys, gains, moving, first};
    while (frames > 0) {
        int32_t n = next_stride(list->state, frames);
        stride(list, &with, audio, n);
        advance(list, &with, n);
        audio += (int64_t)n * list->channels;
        frames -= n;
    }
}

void mw_chain_float(const mw_list *list, const float *keys, float *gains, const double *moving, int32_t first,
                    const float *in, float *out, int64_t frames) {
    double audio[2 * STRIDE];
    beside with = {keys, gains, moving, first};
    while (frames > 0) {
        int32_t n = next_stride(list->state, frames), samples = n * list->channels;
        for (int32_t i = 0; i < samples; i++) {
            float x = in[i];
            audio[i] = x - x == 0.0f ? x : 0.0f; /* neither NaN nor infinity */
        }
        stride(list, &with, audio, n);
        for (int32_t i = 0; i < samples; i++) {
            double x = audio[i];
            out[i] = (float)(x > LARGEST ? LARGEST : x < -LARGEST ? -LARGEST : x);
        }
        advance(list, &with, n);
        in += samples;
        out += samples;
        frames -= n;
    }
}
