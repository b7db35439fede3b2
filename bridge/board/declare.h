/* SPDX-License-Identifier: MIT */
/* Identity and channel declarations, all at once on request and one by one for late listeners. */
#ifndef DECLARE_H
#define DECLARE_H

#include <stdint.h>

#include "analog.h"

/* Longest sample line: kind, sequence, tick, the inputs, engine speed, checksum and line feed. */
#define SAMPLE_BYTES (1 + 6 + 11 + INPUT_COUNT * 6 + 7 + 6)

/* One input's value in volts is its mean × this / 10^12. */
uint64_t declare_scale_picos(uint8_t row);
/* Starts sending `I` and every `C`, as the wire has room. */
void declare_all(void);
/* Sends what is due; call it often. */
void declare_poll(uint32_t now);

#endif
