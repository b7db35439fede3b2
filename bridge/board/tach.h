/* SPDX-License-Identifier: MIT */
/* Engine speed from the input capture pin, with noise kept out. */
#ifndef TACH_H
#define TACH_H

#include <stdint.h>

/* Engine speed in tenths of a revolution a minute from the pulses since `since`; 0 when the engine stands. */
uint32_t tach_decirpm(uint32_t since, uint32_t now);

#endif
