/* SPDX-License-Identifier: Apache-2.0
 * What processors that follow levels listen with, and how they multiply by the gains they make. */
#ifndef MW_DETECTOR_H
#define MW_DETECTOR_H

#include "levels.h"
#include "stage.h"

enum { MW_PEAK, MW_RMS, MW_LOUDNESS };

/* Coefficients of a detector, followed by the sections it listens through. */
typedef struct {
    double kind;    /* one of the above */
    double keeps;   /* part of a mean square that is left after one frame; the means of rms and loudness */
    double offset;  /* octaves added to every level */
    double link;    /* 0: each channel by itself, to 1: both by one */
    double columns; /* gains made: 1, or 2 where channels may differ */
} mw_detector;

#define MW_DETECTOR (sizeof(mw_detector) / sizeof(double))

/* State of a detector: two mean squares, then four for each section. */
#define MW_DETECTOR_STATE(sections) (2 + 4 * (sections))

/* Lanes of gain, and columns: 1, or 2. */
static inline int32_t mw_lanes(const mw_stage *at, const mw_detector *d) {
    return at->channels == 2 && d->columns == 2.0 ? 2 : 1;
}

/* Listen to the key, or to the audio itself: amplitudes (peak) or mean squares of each lane in turn. With two lanes of
 * loudness a third row is that of both together. Rows are MW_STRIDE long. */
void mw_listen(const mw_stage *at, const mw_detector *d, int32_t sections, double *state, double *heard);

/* Octaves of level for one octave of what is heard. */
static inline double mw_scale(const mw_detector *d) { return d->kind == MW_PEAK ? 1.0 : 0.5; }

/* Write a run of gains, and multiply with what stands in the columns: column 0 for both channels, or one each. */
void mw_write_gains(const mw_stage *at, int32_t column, const float *gains);
void mw_multiply(const mw_stage *at, int32_t columns);

#endif
