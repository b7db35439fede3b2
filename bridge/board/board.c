/* SPDX-License-Identifier: MIT */
/* Eight analogue inputs and engine speed, sent as lines: the main loop. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stdbool.h>
#include <stdint.h>

#include "analog.h"
#include "clock.h"
#include "command.h"
#include "config.h"
#include "declare.h"
#include "line.h"
#include "notice.h"
#include "tach.h"
#include "uart.h"

_Static_assert(LINE_BYTES >= SAMPLE_BYTES, "a sample must fit into a line");
_Static_assert(DEFAULT_HZ >= 1 && DEFAULT_HZ <= MAX_HZ && MAX_HZ < 256, "the wire carries no more");
_Static_assert(SUPPLY_ROW < INPUT_COUNT, "the supply must be one of the inputs");

static uint8_t reset_cause __attribute__((section(".noinit")));

/* A watchdog reset leaves the watchdog running at its shortest time: it must be stopped before anything else. */
void stop_watchdog(void) __attribute__((naked, used, section(".init3")));
void stop_watchdog(void)
{
	reset_cause = MCUSR;
	MCUSR = 0;
	wdt_disable();
}

static bool send_sample(uint16_t sequence, uint32_t since, uint32_t now)
{
	uint8_t row;

	line_begin('S');
	line_field();
	line_unsigned(sequence);
	line_field();
	/* The values are means over [since, now): their moment is the middle. */
	line_unsigned(since + (now - since) / 2);
	for (row = 0; row < INPUT_COUNT; row++) {
		uint16_t mean = analog_take_mean(row);

		line_field();
		if (mean != ANALOG_NONE)
			line_unsigned(mean);
	}
	line_field();
	line_unsigned(tach_decirpm(since, now));
	return line_send(0);
}

int main(void)
{
	uint32_t period = CLOCK_HZ / DEFAULT_HZ, since, due;
	uint16_t sequence = 0;
	uint8_t rounds_seen = 0;

	/* Pull-up on the capture pin: an optocoupler's open collector needs it, and an open pin must not float. */
	PORTB |= _BV(PORTB0);
	clock_start();
	uart_start();
	analog_start();
	set_sleep_mode(SLEEP_MODE_IDLE);
	sei();
	wdt_enable(WDTO_500MS);
	since = clock_now();
	due = since + period;
	/* Ends the line that a restart has cut, or it would take the first new one with it. */
	if (reset_cause & (_BV(WDRF) | _BV(EXTRF) | _BV(BORF)))
		uart_write("\n", 1, 0);
	if (reset_cause & _BV(WDRF))
		notice_watchdog(since);
	declare_all();

	for (;;) {
		uint32_t now = clock_now();
		uint8_t rate;

		if ((int32_t)(now - due) >= 0) {
			if (!send_sample(sequence++, since, now))
				notice_lost_sample(now);
			since = now;
			due += period;
		}
		notice_watch_supply(now);
		if (uart_lost())
			notice_lost_input(now);
		notice_poll();
		rate = command_poll();
		if (rate) {
			period = CLOCK_HZ / rate;
			due = now + period;
		}
		declare_poll(now);
		/* A loop that turns while the converter stands is as dead as one that does not turn. */
		if (analog_rounds() != rounds_seen) {
			rounds_seen = analog_rounds();
			wdt_reset();
		}
		/* The converter wakes the processor every 104 us. */
		sleep_mode();
	}
}
