/* SPDX-License-Identifier: MIT */
#include "notice.h"

#include <avr/pgmspace.h>

#include "analog.h"
#include "clock.h"
#include "config.h"
#include "declare.h"
#include "line.h"

static uint32_t watchdog_at, lost_at, lost_input_at;
static uint16_t lost_samples;
static bool watchdog_waiting, lost_input;

static void begin(uint32_t tick)
{
	line_begin('E');
	line_field();
	line_unsigned(tick);
}

void notice_watchdog(uint32_t now)
{
	watchdog_waiting = true;
	watchdog_at = now;
}

void notice_lost_sample(uint32_t now)
{
	if (lost_samples == 0)
		lost_at = now;
	if (lost_samples < UINT16_MAX)
		lost_samples++;
}

void notice_lost_input(uint32_t now)
{
	if (!lost_input)
		lost_input_at = now;
	lost_input = true;
}

#if SUPPLY_ROW >= 0

/* 0.16 s of smoothing: a dip of a few milliseconds is not reported, a dying battery is. */
#define FILTER_TICKS (CLOCK_HZ / 100)
#define FILTER_SHIFT 4
/* While the supply is low this is said again, so that a listener who came later knows. */
#define AGAIN_TICKS CLOCK_HZ

/* Limits in 1/64 of a converter step at the pin, one per row; only the supply's row is used. */
#define LIMIT(mv, top, bottom) \
	((uint32_t)((uint64_t)(mv) * 65536 * (bottom) / ((uint64_t)REFERENCE_MV * ((uint64_t)(top) + (bottom)))))
#define LOW_OF(pin, name, top, bottom) LIMIT(SUPPLY_LOW_MV, top, bottom),
#define GOOD_OF(pin, name, top, bottom) LIMIT(SUPPLY_GOOD_MV, top, bottom),
static const uint32_t low_limits[INPUT_COUNT] = { INPUTS(LOW_OF) };
static const uint32_t good_limits[INPUT_COUNT] = { INPUTS(GOOD_OF) };

static uint16_t filtered;
static uint32_t filtered_at, supply_at, said_at;
static bool filter_runs, is_low, supply_waiting;

void notice_watch_supply(uint32_t now)
{
	uint16_t reading;

	if (now - filtered_at < FILTER_TICKS || (!filter_runs && analog_rounds() == 0))
		return;
	filtered_at = now;
	reading = analog_latest(SUPPLY_ROW) * 64;
	if (!filter_runs)
		filtered = reading;
	filter_runs = true;
	filtered = (uint16_t)(filtered + ((int32_t)reading - filtered) / (1 << FILTER_SHIFT));
	if (!is_low && filtered < low_limits[SUPPLY_ROW]) {
		is_low = true;
		supply_waiting = true;
	} else if (is_low && filtered >= good_limits[SUPPLY_ROW]) {
		is_low = false;
		supply_waiting = true;
	} else if (is_low && now - said_at >= AGAIN_TICKS) {
		supply_waiting = true;
	}
	if (supply_waiting) {
		supply_at = now;
		said_at = now;
	}
}

static bool send_supply(void)
{
	/* 64ths of a step to the sixteenths of the declared scale, and 10^9 pV to the mV. */
	uint64_t millivolts = (uint64_t)(filtered / 4) * declare_scale_picos(SUPPLY_ROW) / 1000000000ULL;

	begin(supply_at);
	line_text(is_low ? PSTR(",supply_low,") : PSTR(",supply_good,"));
	line_unsigned((uint32_t)millivolts);
	line_text(PSTR(" mV"));
	return line_send(0);
}

#else

static bool supply_waiting;

void notice_watch_supply(uint32_t now)
{
	(void)now;
}

static bool send_supply(void)
{
	return true;
}

#endif

void notice_poll(void)
{
	if (watchdog_waiting) {
		begin(watchdog_at);
		line_text(PSTR(",watchdog,restarted after a hang"));
		watchdog_waiting = !line_send(0);
	}
	if (lost_samples) {
		begin(lost_at);
		line_text(PSTR(",overrun_uart,samples lost: "));
		line_unsigned(lost_samples);
		/* Leaves room for the next sample, or this notice would cause the next loss. */
		if (line_send(SAMPLE_BYTES))
			lost_samples = 0;
	}
	if (lost_input) {
		begin(lost_input_at);
		line_text(PSTR(",overrun_uart,commands lost"));
		lost_input = !line_send(SAMPLE_BYTES);
	}
	if (supply_waiting)
		supply_waiting = !send_supply();
}
