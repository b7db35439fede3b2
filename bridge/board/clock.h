/* SPDX-License-Identifier: MIT */
/* Free-running 32-bit clock on timer 1, the same that stamps the tach edges. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdint.h>

/* Timer 1 at a divider of 8. */
#define CLOCK_HZ (F_CPU / 8)

void clock_start(void);
/* Ticks since power-up; wraps after 35 minutes at 16 MHz. */
uint32_t clock_now(void);
/* Full time of a capture register value; only from an interrupt. */
uint32_t clock_of_capture(uint16_t capture);

#endif
