/* SPDX-License-Identifier: Apache-2.0
 * Level, width and position: one strip's audio added to a stereo bus, every gain computed from the breakpoints of its
 * lanes at the song frame where it applies (nothing accumulates, so no block size changes a bit).
 *
 * lanes: level (dB), pan, left, right, width, one after the other, each as: count, then count pairs of frame and value
 * in order of frames. Two pairs at one frame make a step. */
#include "mathematics.h"

enum { LEVEL, PAN, LEFT, RIGHT, WIDTH, LANES };

typedef struct {
    const double *points;
    int64_t count;
} lane;

/* What goes from each input channel to each output channel. */
typedef struct {
    double left_left, right_left, left_right, right_right;
} matrix;

MW_API void mw_place(const double *in, int32_t channels, int64_t frames, int64_t frame, const double *lanes, double law,
                     double scale, double *out);
MW_API void mw_place_float(const float *in, int32_t channels, int64_t frames, int64_t frame, const double *lanes,
                           double law, double scale, double *out);
MW_API void mw_lane(const double *points, int64_t frame, int64_t frames, double *values);
MW_API void mw_pan(double law, const double *position, int64_t count, double *gains);

/* The number of points at or before `frame`. */
static int64_t points_before(const lane *l, int64_t frame) {
    int64_t low = 0, high = l->count;
    while (low < high) {
        int64_t middle = (low + high) / 2;
        if (l->points[2 * middle] <= (double)frame) low = middle + 1;
        else high = middle;
    }
    return low;
}

static double between(const double *p, int64_t frame) {
    return p[1] + (p[3] - p[1]) * (((double)frame - p[0]) / (p[2] - p[0]));
}

static double value_at(const lane *l, int64_t frame) {
    int64_t k = points_before(l, frame);
    if (k == 0) return l->points[1];
    if (k == l->count) return l->points[2 * k - 1];
    return between(l->points + 2 * (k - 1), frame);
}

/* Value at `frame`; shortens *run to the frames up to the next point and tells whether it moves until there. */
static double look(const lane *l, int64_t frame, int64_t *run, int *moves) {
    int64_t k = points_before(l, frame);
    if (k < l->count) {
        double left = l->points[2 * k] - (double)frame;
        if (left < (double)*run) *run = (int64_t)left;
    }
    *moves = k > 0 && k < l->count && l->points[2 * k - 1] != l->points[2 * k + 1];
    return value_at(l, frame);
}

/* Gain into the left of a source at `position`; law = nominal centre attenuation / 3 dB. At 1 it is the cosine of equal
 * power; above, its powers (2: the gains add up to one); below, the nearer side rises to unity. */
static double pan_gain(double law, double position) {
    if (position >= 1.0) return 0.0;
    if (law == 0.0 && position <= 0.0) return 1.0;
    double c = mw_cos((1.0 + position) * (MW_PI / 4.0));
    if (position <= -1.0) return 1.0;
    if (law == 1.0) return c;
    if (law < 1.0 && position > 0.0) return mw_exp2(0.5 * (1.0 - law)) * c;
    return mw_exp2(law * mw_log2(c));
}

static matrix positions(int32_t channels, double law, const double *v) {
    matrix m;
    if (channels == 1) {
        m.left_left = pan_gain(law, v[PAN]);
        m.left_right = pan_gain(law, -v[PAN]);
        m.right_left = m.right_right = 0.0;
        return m;
    }
    double own = 0.5 * (1.0 + v[WIDTH]), other = 0.5 * (1.0 - v[WIDTH]); /* middle + width * side */
    double ll = pan_gain(law, v[LEFT]), lr = pan_gain(law, -v[LEFT]);
    double rl = pan_gain(law, v[RIGHT]), rr = pan_gain(law, -v[RIGHT]);
    m.left_left = own * ll + other * rl;
    m.right_left = other * ll + own * rl;
    m.left_right = own * lr + other * rr;
    m.right_right = other * lr + own * rr;
    return m;
}

static matrix times(matrix m, double gain) {
    m.left_left *= gain;
    m.right_left *= gain;
    m.left_right *= gain;
    m.right_right *= gain;
    return m;
}

/* Adding audio through a matrix; the loops without crossing sides are the common case. A float that is not finite is
 * read as silence. */
#define ADD(name, type, read) \
    static void name(const type *in, int32_t channels, int64_t frames, matrix m, double *out) { \
        if (channels == 1) { \
            for (int64_t i = 0; i < frames; i++) { \
                double x = read(in[i]); \
                out[2 * i] += x * m.left_left; \
                out[2 * i + 1] += x * m.left_right; \
            } \
        } else if (m.right_left == 0.0 && m.left_right == 0.0) { \
            for (int64_t i = 0; i < frames; i++) { \
                out[2 * i] += read(in[2 * i]) * m.left_left; \
                out[2 * i + 1] += read(in[2 * i + 1]) * m.right_right; \
            } \
        } else { \
            for (int64_t i = 0; i < frames; i++) { \
                double l = read(in[2 * i]), r = read(in[2 * i + 1]); \
                out[2 * i] += l * m.left_left + r * m.right_left; \
                out[2 * i + 1] += l * m.left_right + r * m.right_right; \
            } \
        } \
    }

static inline double finite(float x) { return x - x == 0.0f ? x : 0.0f; }
static inline double same(double x) { return x; }
ADD(add_float, float, finite)
ADD(add_double, double, same)

static void unpack(const double *packed, lane *l) {
    for (int k = 0; k < LANES; k++) {
        l[k].count = (int64_t)packed[0];
        l[k].points = packed + 1;
        packed += 1 + 2 * l[k].count;
    }
}

/* The longest run from `frame` on, at most *run, in which lanes are constant or each a single straight line. */
static void look_all(const lane *l, int64_t frame, int64_t *run, double *v, int *level_moves, int *place_moves) {
    *place_moves = 0;
    for (int k = 0; k < LANES; k++) {
        int moves;
        v[k] = look(&l[k], frame, run, &moves);
        if (k == LEVEL) *level_moves = moves;
        else *place_moves |= moves;
    }
}

#define PLACE(name, type, add) \
    void name(const type *in, int32_t channels, int64_t frames, int64_t frame, const double *lanes, double law, \
              double scale, double *out) { \
        lane l[LANES]; \
        unpack(lanes, l); \
        while (frames > 0) { \
            double v[LANES]; \
            int64_t run = frames; \
            int level_moves, place_moves; \
            look_all(l, frame, &run, v, &level_moves, &place_moves); \
            matrix m = positions(channels, law, v); \
            if (!level_moves && !place_moves) { \
                add(in, channels, run, times(m, mw_ratio(v[LEVEL]) * scale), out); \
            } else { \
                for (int64_t i = 0; i < run; i++) { \
                    if (place_moves) { \
                        for (int k = PAN; k < LANES; k++) v[k] = value_at(&l[k], frame + i); \
                        m = positions(channels, law, v); \
                    } \
                    double gain = mw_ratio(value_at(&l[LEVEL], frame + i)) * scale; \
                    add(in + channels * i, channels, 1, times(m, gain), out + 2 * i); \
                } \
            } \
            in += channels * run; \
            out += 2 * run; \
            frame += run; \
            frames -= run; \
        } \
    }

PLACE(mw_place, double, add_double)
PLACE(mw_place_float, float, add_float)

void mw_lane(const double *points, int64_t frame, int64_t frames, double *values) {
    lane l;
    l.count = (int64_t)points[0];
    l.points = points + 1;
    for (int64_t i = 0; i < frames; i++) values[i] = value_at(&l, frame + i);
}

void mw_pan(double law, const double *position, int64_t count, double *gains) {
    for (int64_t i = 0; i < count; i++) {
        gains[2 * i] = pan_gain(law, position[i]);
        gains[2 * i + 1] = pan_gain(law, -position[i]);
    }
}
