/* SPDX-License-Identifier: Apache-2.0
 * Processors that follow levels; what their coefficients mean stands with each. */
#ifndef MW_DYNAMICS_H
#define MW_DYNAMICS_H

#include "stage.h"

void mw_compress(const mw_stage *at);
void mw_expand(const mw_stage *at);
void mw_transients(const mw_stage *at);
void mw_deess(const mw_stage *at);
void mw_level(const mw_stage *at);

#endif
