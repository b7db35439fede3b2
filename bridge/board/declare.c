/* SPDX-License-Identifier: MIT */
#include "declare.h"

#include <avr/pgmspace.h>

#include "clock.h"
#include "config.h"
#include "line.h"

/* The format asks for one at least every 250 ms; the rest is margin for a busy wire. */
#define REPEAT_TICKS (CLOCK_HZ / 5)
/* The identity, the inputs and engine speed. */
#define LINE_COUNT (INPUT_COUNT + 2)

#define NAME_OF(pin, name, top, bottom) static const char name_of_pin_##pin[] PROGMEM = name;
INPUTS(NAME_OF)

#define NAME_AT(pin, name, top, bottom) name_of_pin_##pin,
static const char *const names[INPUT_COUNT] PROGMEM = { INPUTS(NAME_AT) };

/* 1 mV is 10^9 pV; rounded to the nearest. */
#define SCALE_OF(pin, name, top, bottom)                                                  \
	(((uint64_t)REFERENCE_MV * 1000000000ULL * ((uint64_t)(top) + (bottom)) / (bottom) + 8192) / \
	 ANALOG_FULL_SCALE),
static const uint64_t scales[INPUT_COUNT] PROGMEM = { INPUTS(SCALE_OF) };

static uint8_t next_line, at_once;
static uint32_t repeated_at;

uint64_t declare_scale_picos(uint8_t row)
{
	uint64_t scale;

	memcpy_P(&scale, &scales[row], sizeof scale);
	return scale;
}

static void build_identity(void)
{
	line_begin('I');
	line_text(PSTR(",1," BOARD_NAME "," BOARD_FIRMWARE "," BOARD_ID ","));
	line_unsigned(CLOCK_HZ);
}

static void build_channel(uint8_t index)
{
	line_begin('C');
	line_field();
	line_unsigned(index);
	line_field();
	if (index == INPUT_COUNT) {
		line_text(PSTR("engine_speed,rpm,0.1,0"));
		return;
	}
	line_text((const char *)pgm_read_word(&names[index]));
	line_text(PSTR(",V,"));
	line_picos(declare_scale_picos(index));
	line_text(PSTR(",0"));
}

void declare_all(void)
{
	next_line = 0;
	at_once = LINE_COUNT;
}

void declare_poll(uint32_t now)
{
	if (!at_once && now - repeated_at < REPEAT_TICKS)
		return;
	if (next_line == 0)
		build_identity();
	else
		build_channel(next_line - 1);
	/* Room for a sample stays free: declarations never cost one. */
	if (!line_send(SAMPLE_BYTES))
		return;
	repeated_at = now;
	if (at_once)
		at_once--;
	if (++next_line == LINE_COUNT)
		next_line = 0;
}
