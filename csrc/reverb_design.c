/* SPDX-License-Identifier: Apache-2.0
 * Reverberation from settings: line lengths, decay filters (Jot & Chaigne 1991), diffusion, and the gain that makes the
 * return as loud, K-weighted, as LEVEL_DB says for steady noise with equal power in every third of an octave. */
#include "mathematics.h"
#include "reverb.h"

#include <math.h> /* sqrt alone, which IEEE 754 rounds correctly everywhere */

enum { LINES = REVERB_LINES, STAGES = REVERB_STAGES, BANDS = 25 };

/* Wet to dry where the send stands at 0 dB: De Man, McNally & Reiss 2017 found -14 LU between too wet and too dry. */
#define LEVEL_DB -14.0
#define LONGEST_RE_SHORTEST 6.5
#define HIGHEST 0.45 /* of the rate */

/* Mean line: as a share of the decay time, at most so long. Diffusion: its longest way as a share of the mean line.
 * `early`: of what has not run through a line yet. `width`: lines that the diffusion mixes. */
typedef struct {
    double mean_re_decay, longest_mean_s, diffusion, early, width;
} character;

/* Voice: soon dense, one picture of both sides. Instruments: opens more slowly, and each side keeps its own at first. */
static const character CHARACTERS[] = {{0.08, 0.12, 0.75, 0.6, 16}, {0.085, 0.13, 0.9, 0.65, 8}};

static const double SHARE[STAGES] = {0.4, 0.3, 0.2, 0.1}; /* of the diffusion's longest way, by stage */

/* Delays within a stage, in thousandths, one in each sixteenth, and the order of the line lengths: found by a search for
 * sides of equal level and time, uncorrelated, without peaks in the late spectrum. */
static const int16_t DELAY[STAGES][LINES] = {
    {70, 895, 799, 680, 540, 447, 237, 322, 832, 395, 272, 7, 698, 605, 129, 960},
    {5, 964, 447, 293, 694, 588, 754, 152, 675, 543, 839, 927, 215, 327, 383, 108},
    {169, 101, 605, 392, 991, 794, 672, 314, 826, 18, 925, 719, 476, 278, 214, 525},
    {199, 521, 88, 306, 837, 629, 958, 401, 580, 755, 56, 692, 354, 156, 484, 913},
};
static const int8_t ORDER[LINES] = {13, 3, 7, 8, 15, 11, 4, 14, 12, 10, 5, 0, 6, 9, 1, 2};

/* K-weighting (ITU-R BS.1770-5, its 48 kHz filters) at the mid-bands of thirds of an octave from 50 Hz to 12.5 kHz. */
static const double K_DB[BANDS] = {-3.92, -2.66, -1.75, -1.13, -0.72, -0.44, -0.27, -0.15, -0.07, -0.02, 0.04, 0.14, 0.32,
                                   0.70,  1.37,  2.25,  3.06,  3.59,  3.85,  3.97,  4.01,  4.03,  4.04,  4.04,  4.04};

MW_API void mw_design_reverb(int32_t kind, double rate_hz, double decay_s, double high_hz, const double *sections,
                             int32_t count, double *c);

static int64_t prime_from(int64_t n) {
    for (;; n++) {
        int64_t k = 2;
        while (k * k <= n && n % k != 0) k++;
        if (n >= 2 && k * k > n) return n;
    }
}

/* Different primes, spaced evenly in ratio. */
static void design_lengths(double mean_frames, double *length) {
    double shape[LINES], sum = 0.0;
    for (int32_t i = 0; i < LINES; i++)
        sum += shape[i] = mw_exp2(mw_log2(LONGEST_RE_SHORTEST) * i / (LINES - 1));
    int64_t sorted[LINES], last = 1;
    for (int32_t i = 0; i < LINES; i++) {
        int64_t wanted = (int64_t)(shape[i] * LINES / sum * mean_frames + 0.5);
        sorted[i] = last = prime_from(wanted > last ? wanted : last + 1);
    }
    for (int32_t i = 0; i < LINES; i++) length[i] = (double)sorted[ORDER[i]];
}

/* A line of m frames loses 60 dB in decay_s at the lowest frequencies, in half of it at high_hz: a one-pole filter of
 * gain g = 10^(-3 m / (rate decay)) at 0 Hz and g^2 at high_hz. The scale of the Hadamard matrix, 1/4, is in it. */
static void design_decay(double rate_hz, double decay_s, double high_cos, double *c) {
    for (int32_t i = 0; i < LINES; i++) {
        double g = mw_ratio(-60.0 * c[REVERB_LENGTH + i] / (rate_hz * decay_s));
        double r = g * g, b = (1.0 - r * high_cos) / (1.0 - r);
        double pole = b - sqrt(b * b - 1.0);
        c[REVERB_FEEDBACK + i] = g * (1.0 - pole) / 4.0;
        c[REVERB_DAMPING + i] = pole;
    }
}

/* Power gain of sections at a frequency, by cos w and cos 2w. */
static double power(const double *s, int32_t count, double c1, double c2) {
    double gain = 1.0;
    for (; count > 0; count--, s += 5) {
        double top = s[0] * s[0] + s[1] * s[1] + s[2] * s[2] + 2.0 * (s[1] * (s[0] + s[2]) * c1 + s[0] * s[2] * c2);
        double foot = 1.0 + s[3] * s[3] + s[4] * s[4] + 2.0 * (s[3] * (1.0 + s[4]) * c1 + s[4] * c2);
        gain *= top > 0.0 ? top / foot : 0.0;
    }
    return gain;
}

/* Gain of the return, from the energy that every band leaves in the lines: what goes in is spread evenly over them, and
 * a share `kept` of it stays at each turn. */
static double design_gain(double rate_hz, double early, double width, const double *sections, int32_t count,
                          const double *c) {
    double dry = 0.0, wet = 0.0;
    for (int32_t band = 0; band < BANDS; band++) {
        double hz = 1000.0 * mw_ratio(2.0 * (band - 13));
        if (hz > HIGHEST * rate_hz) break;
        double c1 = mw_cos(2.0 * MW_PI * hz / rate_hz), c2 = mw_cos(4.0 * MW_PI * hz / rate_hz);
        double weight = mw_ratio(2.0 * K_DB[band]), kept = 0.0;
        for (int32_t i = 0; i < LINES; i++) {
            double a = 4.0 * c[REVERB_FEEDBACK + i], pole = c[REVERB_DAMPING + i];
            kept += a * a / (1.0 - 2.0 * pole * c1 + pole * pole) / LINES;
        }
        dry += weight;
        wet += weight * power(sections, count, c1, c2) * (early * early + kept / (1.0 - kept));
    }
    /* Each side feeds half of the lines; each stage of the diffusion adds up `width` of them. */
    double diffused = 1.0;
    for (int32_t stage = 0; stage < STAGES; stage++) diffused *= width;
    return mw_ratio(LEVEL_DB) * sqrt(dry / (wet * diffused * (LINES / 2)));
}

/* `sections`: what the send runs through first. `c`: the coefficients of mw_reverb. */
void mw_design_reverb(int32_t kind, double rate_hz, double decay_s, double high_hz, const double *sections,
                      int32_t count, double *c) {
    const character *k = &CHARACTERS[kind];
    double mean_s = k->mean_re_decay * decay_s;
    if (mean_s > k->longest_mean_s) mean_s = k->longest_mean_s;
    double high = high_hz < HIGHEST * rate_hz ? high_hz : HIGHEST * rate_hz;
    design_lengths(mean_s * rate_hz, c + REVERB_LENGTH);
    design_decay(rate_hz, decay_s, mw_cos(2.0 * MW_PI * high / rate_hz), c);
    for (int32_t stage = 0; stage < STAGES; stage++)
        for (int32_t i = 0; i < LINES; i++)
            c[REVERB_DIFFUSION + LINES * stage + i] =
                (double)(int64_t)(k->diffusion * mean_s * rate_hz * SHARE[stage] * DELAY[stage][i] / 1000.0);
    c[REVERB_EARLY] = k->early;
    c[REVERB_WIDTH] = k->width;
    c[REVERB_GAIN] = design_gain(rate_hz, k->early, k->width, sections, count, c);
}
