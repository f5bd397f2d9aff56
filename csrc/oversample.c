/* SPDX-License-Identifier: Apache-2.0
 * Oversampling by half-band filters: a Kaiser window over sin(x)/x, every second tap of which is 0.
 *
 * Tables hold one side of symmetric filters. Half-bands: twice h[n] = sinc(n / 2) kaiser(n) / 2 for odd n, scaled so that
 * they sum to 1/2 (h[0] = 1/2), of 4 K - 1 taps: K = 21, beta = 10.7; K = 8, beta = 11.8; K = 6, beta = 13. The last on the
 * way down: sinc(2 n 22/96) kaiser(n), scaled to the sum 1, of 161 taps, beta = 10.4. tests/native/test_oversample.py
 * works them out again. Window: J. F. Kaiser, "Nonrecursive digital filter design using the I0-sinh window" (1974). */
#include "oversample.h"

#include <string.h>

static const double FIRST[21] = {
    0.63469392113376144, -0.20649081150085255, 0.1180036101551496, -0.078315865308808477, 0.055182415027425998,
    -0.039851476425661836, 0.028971502345415876, -0.020972511910224458, 0.015003548436709405, -0.010544123107020596,
    0.007241102208173881, -0.004834078805010314, 0.0031195135347403444, -0.0019330662390111457, 0.0011406835434995769,
    -0.00063378662158190748, 0.0003261773411500934, -0.00015146791737067049, 6.0503013685803182e-05,
    -1.8624142256798951e-05, 2.8352380865544503e-06};
static const double SECOND[8] = {
    0.62083255649388336, -0.16894924073239265, 0.06682224385693325, -0.024766976312080677, 0.0074892554837291082,
    -0.0016149233389830069, 0.00018979679886891283, -2.7122499582948117e-06};
static const double THIRD[6] = {
    0.60453566760486166, -0.1322222939847644, 0.032631973857435881, -0.0053188045365279149, 0.00037462755433872801,
    -1.1704953440658573e-06};
static const double SHARP_EVEN[40] = {
    0.041065214114646816, -0.039299728288955525, 0.036483075777592341, -0.032792229480010655, 0.0284527424045538,
    -0.023719442956403221, 0.018855355205034754, -0.014110996425553891, 0.0097060700963582606, -0.0058152095802216173,
    0.0025588911102922746, 4.1238181256962511e-17, -0.001854114230889497, 0.0030448384201942312,
    -0.0036519417396803718, 0.003781122092774261, -0.003550975974118823, 0.0030807957678434137,
    -0.0024803263778782891, 0.0018422391126920303, -0.0012376643120377223, 0.00071472383247520553,
    -0.0002996696617143983, -9.1079295106106808e-18, 0.00019119467083611328, -0.00029040776300163449,
    0.00031907553737518752, -0.00029961970155324908, 0.00025248048093581713, -0.00019425158417361434,
    0.00013685924110967308, -8.760322067521105e-05, 4.9807106157390718e-05, -2.3807066436137049e-05,
    8.0340569203593811e-06, 9.4454826135357981e-21, -2.9315692454616297e-06, 3.0401440865092815e-06,
    -1.9995489698056788e-06, 8.3701589585770254e-07};
static const double SHARP_ODD[40] = {
    0.31534281802857611, -0.097347301102362199, 0.049539610933384381, -0.026652148412678899, 0.012711419676996582,
    -0.0034386082367956088, -0.0028025612829855732, 0.006815290106498376, -0.0090958938640162967, 0.01001856384963507,
    -0.0099041928644424352, 0.009043240536849741, -0.007699075001615336, 0.0061035535363329497,
    -0.0044507632323121018, 0.0028920647437568536, -0.0015339958081214303, 0.00043954879383998924,
    0.00036738782136939497, -0.00089511686384787458, 0.001175712022681105, -0.0012561334286418828,
    0.0011898441705707817, -0.0010296947248643977, 0.00082257302955410152, -0.00060602631172803386,
    0.0004067906929162576, -0.00024094977513190339, 0.00011530416369312449, -2.9476243979982227e-05,
    -2.1708376323896896e-05, 4.5946164944228547e-05, -5.1560081377115551e-05, 4.613207221104236e-05,
    -3.5697583980640579e-05, 2.4444737906237885e-05, -1.4801695976941327e-05, 7.7703516654032136e-06,
    -3.3685574303438879e-06, 1.0685266610118128e-06};

enum { SHARP = 40 };
static const double SHARP_CENTRE = 0.45833302556462985;

typedef struct {
    int32_t half; /* K: taps on one side that are not 0 */
    const double *taps;
    int32_t up, down; /* where their states are */
} doubling;

static const doubling DOUBLINGS[MW_DOUBLINGS] = {{21, FIRST, 0, 0}, {8, SECOND, 41, 56}, {6, THIRD, 80, 91}};
enum { SHARP_STATE = 109, BEFORE = 2 * SHARP };

#if defined(__AVX__)
enum { LANES = 4 };
#else
enum { LANES = 2 };
#endif
typedef double lanes __attribute__((vector_size(8 * LANES)));

/* y[i] += sum over j of h[j] (a[i - j] + b[i + j]), each sum by rising j. */
static void folded(const double *restrict a, const double *restrict b, const double *restrict h, int32_t taps,
                   double *restrict y, int32_t n) {
    int32_t i = 0;
#define TERM(k) \
    memcpy(&left, a + i - j + LANES * k, sizeof left); \
    memcpy(&right, b + i + j + LANES * k, sizeof right); \
    sum[k] += h[j] * (left + right);
    for (; i + 4 * LANES <= n; i += 4 * LANES) {
        lanes sum[4], left, right;
        memcpy(sum, y + i, sizeof sum);
        for (int32_t j = 0; j < taps; j++) {
            TERM(0)
            TERM(1)
            TERM(2)
            TERM(3)
        }
        memcpy(y + i, sum, sizeof sum);
    }
#undef TERM
    for (; i < n; i++)
        for (int32_t j = 0; j < taps; j++) y[i] += h[j] * (a[i - j] + b[i + j]);
}

/* Put the last `before` values in front of `n` new ones at line + before, and keep the last ones of all. */
static void remember(double *line, double *state, int32_t before, int32_t n) {
    memcpy(line, state, before * sizeof *line);
    memcpy(state, line + n, before * sizeof *line);
}

/* x of n, which has room for `2 half - 1` more, in the middle of line, to 2 n. */
static void up(const doubling *by, double *line, int32_t n, double *state, double *y) {
    double odd[MW_OVERSAMPLED / 2] = {0};
    const double *x = line + by->half - 1; /* x[i]: half frames before the i-th */
    remember(line, state + by->up, 2 * by->half - 1, n);
    folded(x, x + 1, by->taps, by->half, odd, n);
    for (int32_t i = 0; i < n; i++) {
        y[2 * i] = x[i];
        y[2 * i + 1] = odd[i];
    }
}

void mw_up(int32_t stages, double *state, const double *audio, int32_t step, int32_t frames, double *out) {
    double line[BEFORE + MW_OVERSAMPLED / 2];
    for (int32_t i = 0; i < frames; i++) line[41 + i] = audio[(int64_t)step * i];
    for (int32_t s = 0; s < stages; s++) {
        const doubling *by = DOUBLINGS + s;
        if (s) memcpy(line + 2 * by->half - 1, out, frames * sizeof *line);
        up(by, line, frames, state, out);
        frames *= 2;
    }
}

void mw_down(int32_t stages, double *state, double *in, int32_t frames, double *audio, int32_t step) {
    double even[BEFORE + MW_OVERSAMPLED / 2], odd[BEFORE + MW_OVERSAMPLED / 2];
    int32_t n = frames << (stages - 1);
    for (int32_t s = stages - 1; s > 0; s--, n /= 2) {
        const doubling *by = DOUBLINGS + s;
        int32_t half = by->half;
        for (int32_t i = 0; i < n; i++) {
            even[half + i] = in[2 * i];
            odd[2 * half + i] = in[2 * i + 1];
        }
        remember(even, state + by->down, half, n);
        remember(odd, state + by->down + half, 2 * half, n);
        memcpy(in, even, n * sizeof *in);
        folded(odd + half - 1, odd + half, by->taps, half, in, n);
        for (int32_t i = 0; i < n; i++) in[i] *= 0.5;
    }
    for (int32_t i = 0; i < n; i++) {
        even[BEFORE + i] = in[2 * i];
        odd[BEFORE + i] = in[2 * i + 1];
    }
    remember(even, state + SHARP_STATE, BEFORE, n);
    remember(odd, state + SHARP_STATE + BEFORE, BEFORE, n);
    for (int32_t i = 0; i < n; i++) in[i] = SHARP_CENTRE * even[SHARP + i];
    folded(even + SHARP - 1, even + SHARP + 1, SHARP_EVEN, SHARP, in, n);
    folded(odd + SHARP - 1, odd + SHARP, SHARP_ODD, SHARP, in, n);
    for (int32_t i = 0; i < n; i++) audio[(int64_t)step * i] = in[i];
}

/* All of `x` up and back, for tests: `up` of frames << stages, `back` of frames. */
MW_API void mw_oversample_array(int32_t stages, double *state, const double *x, int64_t frames, double *up, double *back);
void mw_oversample_array(int32_t stages, double *state, const double *x, int64_t frames, double *up, double *back) {
    double high[MW_OVERSAMPLED];
    while (frames > 0) {
        int32_t n = frames < MW_STRIDE ? (int32_t)frames : MW_STRIDE;
        mw_up(stages, state, x, 1, n, up);
        memcpy(high, up, ((size_t)n << stages) * sizeof *up);
        mw_down(stages, state, high, n, back, 1);
        x += n, back += n, up += (int64_t)n << stages, frames -= n;
    }
}
