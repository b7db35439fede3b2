/* SPDX-License-Identifier: MIT */
/* Faults and notices (`E` lines): kept until the wire takes them. */
#ifndef NOTICE_H
#define NOTICE_H

#include <stdbool.h>
#include <stdint.h>

/* Says that the board started because it had hung. */
void notice_watchdog(uint32_t now);
/* Counts a sample for which the send queue had no room. */
void notice_lost_sample(uint32_t now);
/* Says that bytes sent to the board were lost. */
void notice_lost_input(uint32_t now);
/* Filters the supply and watches its limits; call it often. */
void notice_watch_supply(uint32_t now);
/* Sends what is waiting. */
void notice_poll(void);

#endif
