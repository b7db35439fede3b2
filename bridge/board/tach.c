/* SPDX-License-Identifier: MIT */
#include "tach.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>
#include <util/atomic.h>

#include "clock.h"
#include "config.h"

/* Ticks between two pulses at 1 rpm. */
#define TICKS_AT_1_RPM (120UL * CLOCK_HZ / PULSES_PER_TWO_TURNS)
#define MIN_PERIOD (TICKS_AT_1_RPM / MAX_RPM)
#define MAX_PERIOD (TICKS_AT_1_RPM / MIN_RPM)

/* A power of two. */
#define KEPT 8
/* Periods whose median is the yardstick: enough to outvote a split period, few enough to follow a blip of the throttle. */
#define VOTING 5

static volatile uint32_t periods[KEPT];
static volatile uint32_t ends[KEPT];
static volatile uint8_t kept, newest;
static volatile uint32_t last_edge;
static volatile bool running;

ISR(TIMER1_CAPT_vect)
{
	uint32_t edge = clock_of_capture(ICR1);
	uint32_t period = edge - last_edge;

	if (running && period < MIN_PERIOD)
		return;
	last_edge = edge;
	if (!running || period > MAX_PERIOD) {
		running = true;
		kept = 0;
		return;
	}
	newest = (newest + 1) & (KEPT - 1);
	periods[newest] = period;
	ends[newest] = edge;
	if (kept < KEPT)
		kept++;
}

static uint32_t median(const uint32_t *values, uint8_t count)
{
	uint32_t sorted[KEPT];
	uint8_t i, j;

	for (i = 0; i < count; i++) {
		for (j = i; j > 0 && sorted[j - 1] > values[i]; j--)
			sorted[j] = sorted[j - 1];
		sorted[j] = values[i];
	}
	return sorted[count / 2];
}

/* Within 5/8 and 8/5 of the median: an uneven or fast accelerating engine passes, a missing edge (a double period) does not. */
static bool plausible(uint32_t period, uint32_t middle)
{
	return period * 8 >= middle * 5 && period * 5 <= middle * 8;
}

/* Two periods that make up one: a false edge has split it. The engine itself cannot double its speed from pulse to pulse. */
static bool split(uint32_t newer, uint32_t older, uint32_t middle)
{
	uint32_t both = newer + older;

	return newer * 8 < middle * 7 && both * 8 >= middle * 7 && both * 8 <= middle * 9;
}

uint32_t tach_decirpm(uint32_t since, uint32_t now)
{
	uint32_t newest_first[KEPT], ended[KEPT], middle, edge, sum = 0;
	uint8_t i, count, believable = 0, used = 0;
	bool turning;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		count = kept;
		turning = running;
		edge = last_edge;
		for (i = 0; i < count; i++) {
			newest_first[i] = periods[(newest - i) & (KEPT - 1)];
			ended[i] = ends[(newest - i) & (KEPT - 1)];
		}
	}
	/* An edge may have come after `now` was read. */
	if ((int32_t)(now - edge) < 0)
		now = edge;
	if (turning && now - edge > MAX_PERIOD) {
		/* Forgotten here and not only at the next edge: the clock wraps, and an old edge would look new again. */
		ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
		{
			if (last_edge == edge)
				running = false;
		}
		return 0;
	}
	if (!turning || count < 2)
		return 0;
	middle = median(newest_first, count < VOTING ? count : VOTING);
	for (i = 0; i < count; i++) {
		uint32_t period = newest_first[i], end = ended[i];

		if (i + 1 < count && split(period, newest_first[i + 1], middle))
			period += newest_first[++i];
		else if (!plausible(period, middle))
			continue;
		else if (i == 0 && period * 5 < newest_first[1] * 4)
			/* A jump of over a quarter upwards: the next edge tells whether it is speed or the first part of a split. */
			continue;
		believable++;
		/* The newest counts even if it is older than this sample: at low speed not each sample has a pulse. */
		if (used > 0 && (int32_t)(end - since) <= 0)
			continue;
		sum += period;
		used++;
	}
	/* Two that agree: a stray pair of edges on a standing engine is no speed. */
	if (believable < 2)
		return 0;
	sum = (sum + used / 2) / used;
	/* The next pulse is overdue: the engine is slower than that by now. */
	if (now - edge > sum * 2)
		sum = now - edge;
	return (TICKS_AT_1_RPM * 10 + sum / 2) / sum;
}
