/* SPDX-License-Identifier: MIT */
#include "clock.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "config.h"

static volatile uint16_t overflows;

ISR(TIMER1_OVF_vect)
{
	overflows++;
}

void clock_start(void)
{
	TCCR1A = 0;
	/* Input capture with the hardware's noise canceller (four equal readings in a row). */
	TCCR1B = _BV(ICNC1) | (TACH_RISING_EDGE ? _BV(ICES1) : 0) | _BV(CS11);
	TIFR1 = _BV(TOV1) | _BV(ICF1);
	TIMSK1 = _BV(TOIE1) | _BV(ICIE1);
}

uint32_t clock_of_capture(uint16_t low)
{
	uint16_t high = overflows;

	/* A small count together with a waiting overflow: the overflow came first. */
	if ((TIFR1 & _BV(TOV1)) && low < 0x8000)
		high++;
	return (uint32_t)high << 16 | low;
}

uint32_t clock_now(void)
{
	uint32_t now;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		now = clock_of_capture(TCNT1);
	}
	return now;
}
