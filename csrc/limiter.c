/* SPDX-License-Identifier: Apache-2.0
 * True-peak limiter with look-ahead, one gain for both channels: two passes of the same kind, one behind the other.
 * A pass finds the tops of what it is given (truepeak.h), and how far each lies over the ceiling: the reduction that is
 * needed there, in octaves. Then
 *
 * 1. the largest need of a sliding window, which reaches `hold` frames beyond the frames on either side of a top, so
 *    that the gain stands nearly still where the top is put together from its neighbours;
 * 2. release: the reduction falls by a fixed share a frame, unless the window asks for more;
 * 3. two running means over `box` frames, that is, a triangular window of sum 1: as each value within it is at least
 *    what the frame at hand needs, so is their mean. The gain glides to its place within the look-ahead.
 *
 * A gain that moves puts the audio between the frames together a little differently from what pass 1 has seen; pass 2
 * looks at the product, and takes off the small rest.
 *
 * What needs less than the release still holds when the window leaves it behind changes nothing, so tops are sought
 * above that level alone; no bit depends on it.
 *
 * The means are sums of whole numbers, of 2^-20 octave each, and so exact: they do not drift, and some time after the
 * last top the gain is 1 to the bit. */
#include <string.h>

#include "mathematics.h"
#include "truepeak.h"

/* Frames that mw_tops reads around a block. */
#define BEFORE 40
#define AFTER (128 - MW_TOPS)
#define SEEN (BEFORE + AFTER)

#define UNITS_AN_OCTAVE 1048576.0
/* Reductions below NOTHING are set to zero at multiples of FORGET frames, counted from reset. */
#define NOTHING 1e-30
#define FORGET 256
/* Where a sample lies beyond LARGEST the gain is 0, as if the need were SILENT octaves. */
#define LARGEST 1e30
#define SILENT 4096.0
#define SMALLEST_GAIN 1.17549435e-38f /* of normal floats */

/* Of each pass: frames of a box, frames held, phases of the interpolator, its taps and bounds. */
typedef struct {
    int32_t box, hold, phases;
    const float *taps, *bounds;
} mw_pass;

typedef struct {
    double ceiling, release_octaves, release; /* a reduction falls to 2^release_octaves = release of itself a frame */
} mw_limit;

enum { FRAME, RELEASED, INNER, OUTER, FIRST, COUNT, HEAD };

static int32_t window_of(const mw_pass *pass) { return 2 * pass->box + 2 * pass->hold; }
static int32_t latency_of(const mw_pass *pass) { return AFTER + pass->hold + 2 * pass->box - 2; }

/* Of the state of a pass: head, floats last seen, two rings of box, values and frames of the sliding maximum, delay. */
static int64_t state_of(const mw_pass *pass) {
    return HEAD + SEEN + 2 * pass->box + 2 * window_of(pass) + 3 * latency_of(pass);
}

/* Queue of the needs of the last `window` frames that no later one has exceeded, falling; a ring of that length. */
typedef struct {
    double *values, *frames;
    int32_t window, first, count;
} queue;

static int32_t place(const queue *q, int32_t k) {
    int32_t at = q->first + k;
    return at < q->window ? at : at - q->window;
}

/* Add the need of a frame, drop what has left the window, return the largest. */
static double largest_need(queue *q, double frame, double need) {
    if (q->count > 0 && q->frames[q->first] <= frame - q->window) {
        q->first = place(q, 1);
        q->count--;
    }
    while (q->count > 0 && q->values[place(q, q->count - 1)] <= need) q->count--;
    if (need > 0.0) {
        int32_t at = place(q, q->count++);
        q->values[at] = need;
        q->frames[at] = frame;
    }
    return q->count > 0 ? q->values[q->first] : 0.0;
}

/* Put the n newest frames, with their reduction, behind those seen before, and find the tops of the n frames that now
 * have all they need around them. 0 where none is above `level`; otherwise 1 and the larger of both channels. */
static int find_tops(const mw_pass *pass, float level, double *seen, const double *frames, int32_t n, float *tops) {
    float window[SEEN + MW_TOPS], own[MW_TOPS];
    float gain[MW_TOPS];
    int64_t work[3] = {0};
    int over = 0;
    for (int32_t i = 0; i < n; i++) gain[i] = frames[3 * i + 2] > 0.0 ? (float)mw_exp2(-frames[3 * i + 2]) : 1.0f;
    for (int32_t c = 0; c < 2; c++) {
        memcpy(window, seen + c * SEEN / 2, SEEN * sizeof(float));
        for (int32_t i = 0; i < n; i++) {
            double x = frames[3 * i + c] * gain[i];
            window[SEEN + i] = (float)(x > LARGEST ? LARGEST : x < -LARGEST ? -LARGEST : x);
        }
        memset(window + SEEN + n, 0, (MW_TOPS - n) * sizeof(float));
        memcpy(seen + c * SEEN / 2, window + n, SEEN * sizeof(float));
        if (!mw_tops(window + BEFORE, pass->taps, pass->bounds, pass->phases, level, own, work)) continue;
        for (int32_t i = 0; i < n; i++) tops[i] = over && tops[i] > own[i] ? tops[i] : own[i];
        over = 1;
    }
    return over;
}

/* n <= MW_TOPS frames of left, right, reduction (octaves), in place; out come earlier frames, their reduction raised. */
static void run_pass(const mw_pass *pass, const mw_limit *limit, double *state, double *frames, int32_t n) {
    const int32_t box = pass->box, latency = latency_of(pass);
    double *seen = state + HEAD, *inner_ring = seen + SEEN, *outer_ring = inner_ring + box, *values = outer_ring + box;
    queue q = {values, values + window_of(pass), window_of(pass), (int32_t)state[FIRST], (int32_t)state[COUNT]};
    double *late = q.frames + q.window;
    const int64_t frame = (int64_t)state[FRAME];
    double released = state[RELEASED], inner = state[INNER], outer = state[OUTER];

    /* What is left of `released` when the last of these frames leaves the window; lower by what rounding may add. */
    double held = released * mw_exp2(limit->release_octaves * (q.window + n));
    double level = limit->ceiling * mw_exp2(held) * (1.0 - 1e-6);
    if (level > 0.5 * LARGEST) level = 0.5 * LARGEST;
    float tops[MW_TOPS];
    const int over = find_tops(pass, (float)level, seen, frames, n, tops);
    const int idle = !over && q.count == 0 && released == 0.0 && outer == 0.0;

    const double octaves = 1.0 / (UNITS_AN_OCTAVE * box * box);
    int32_t at = (int32_t)(frame % box);
    double *row = late + 3 * (frame % latency);
    for (int32_t i = 0; i < n; i++) {
        double here[3];
        memcpy(here, row, sizeof here);
        memcpy(row, frames + 3 * i, sizeof here);
        row = row + 3 == late + 3 * latency ? late : row + 3;
        if (!idle) {
            double top = over ? tops[i] : 0.0;
            double need = top >= LARGEST ? SILENT : top > limit->ceiling ? mw_log2(top / limit->ceiling) : 0.0;
            double largest = largest_need(&q, (double)(frame + i), need);
            released *= limit->release;
            if (largest > released) released = largest;
            double units = (double)(int64_t)(released * UNITS_AN_OCTAVE + 0.5);
            inner += units - inner_ring[at];
            inner_ring[at] = units;
            outer += inner - outer_ring[at];
            outer_ring[at] = inner;
            at = at + 1 == box ? 0 : at + 1;
            here[2] += outer * octaves;
            if ((frame + i + 1) % FORGET == 0 && released < NOTHING) released = 0.0;
        }
        memcpy(frames + 3 * i, here, sizeof here);
    }
    state[FRAME] += n;
    state[RELEASED] = released;
    state[INNER] = inner;
    state[OUTER] = outer;
    state[FIRST] = q.first;
    state[COUNT] = q.count;
}

MW_API int64_t mw_limiter_state(const mw_pass *passes, int32_t count);
MW_API int64_t mw_limiter_latency(const mw_pass *passes, int32_t count);
MW_API void mw_limiter(const mw_pass *passes, int32_t count, double ceiling, double release_octaves, double *state,
                       double *audio, float *gains, int64_t frames);

/* Doubles of the state, all zero at reset. */
int64_t mw_limiter_state(const mw_pass *passes, int32_t count) {
    int64_t size = 0;
    for (int32_t k = 0; k < count; k++) size += state_of(passes + k);
    return size;
}

int64_t mw_limiter_latency(const mw_pass *passes, int32_t count) {
    int64_t frames = 0;
    for (int32_t k = 0; k < count; k++) frames += latency_of(passes + k);
    return frames;
}

/* Limit stereo `audio` in place, late by the latency; gains[i] is what the frame that comes out at i was multiplied by.
 * A reduction falls to 2^release_octaves of itself with every frame. */
void mw_limiter(const mw_pass *passes, int32_t count, double ceiling, double release_octaves, double *state,
                double *audio, float *gains, int64_t frames) {
    const mw_limit limit = {ceiling, release_octaves, mw_exp2(release_octaves)};
    double rows[3 * MW_TOPS];
    while (frames > 0) {
        int32_t n = (int32_t)(frames < MW_TOPS ? frames : MW_TOPS);
        for (int32_t i = 0; i < n; i++) {
            rows[3 * i] = audio[2 * i];
            rows[3 * i + 1] = audio[2 * i + 1];
            rows[3 * i + 2] = 0.0;
        }
        double *own = state;
        for (int32_t k = 0; k < count; own += state_of(passes + k), k++)
            run_pass(passes + k, &limit, own, rows, n);
        for (int32_t i = 0; i < n; i++) {
            float gain = rows[3 * i + 2] > 0.0 ? (float)mw_exp2(-rows[3 * i + 2]) : 1.0f;
            gains[i] = gain < SMALLEST_GAIN ? 0.0f : gain;
            audio[2 * i] = rows[3 * i] * gains[i];
            audio[2 * i + 1] = rows[3 * i + 1] * gains[i];
        }
        audio += 2 * n;
        gains += n;
        frames -= n;
    }
}
