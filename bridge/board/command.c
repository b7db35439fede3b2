/* SPDX-License-Identifier: MIT */
#include "command.h"

#include <avr/pgmspace.h>
#include <stdbool.h>

#include "line.h"

#define COMMAND_BYTES 16

static char command[COMMAND_BYTES];
static uint8_t length;
static bool too_long;

enum outcome { IDENTIFIES, SETS_RATE, BAD_RATE, NO_CELL, TOO_LONG, UNKNOWN };

/* The number after `R,`, or 0 when it is none of 1 … MAX_HZ. */
static uint8_t wanted_rate(void)
{
	uint16_t rate = 0;
	uint8_t i;

	if (length < 3 || length > 5)
		return 0;
	for (i = 2; i < length; i++) {
		if (command[i] < '0' || command[i] > '9')
			return 0;
		rate = rate * 10 + (uint16_t)(command[i] - '0');
	}
	return rate <= MAX_HZ ? (uint8_t)rate : 0;
}

static enum outcome judge(uint8_t *rate)
{
	*rate = 0;
	if (too_long)
		return TOO_LONG;
	if (length == 1 && command[0] == '?')
		return IDENTIFIES;
	if (length == 1 && command[0] == 'Z')
		return NO_CELL;
	if (command[0] == 'R' && (length == 1 || command[1] == ',')) {
		*rate = wanted_rate();
		return *rate ? SETS_RATE : BAD_RATE;
	}
	return UNKNOWN;
}

static bool answer(enum outcome outcome, uint8_t rate)
{
	bool known = outcome != UNKNOWN && outcome != TOO_LONG;

	line_begin('A');
	line_field();
	line_foreign(command, known ? 1 : length);
	line_field();
	switch (outcome) {
	case IDENTIFIES:
		line_text(PSTR("ok,identity follows"));
		break;
	case SETS_RATE:
		line_text(PSTR("ok,"));
		line_unsigned(rate);
		break;
	case BAD_RATE:
		line_text(PSTR("error,the rate must be 1 to "));
		line_unsigned(MAX_HZ);
		break;
	case NO_CELL:
		line_text(PSTR("error,this board has no pump current to read"));
		break;
	case TOO_LONG:
		line_text(PSTR("error,too long"));
		break;
	default:
		line_text(PSTR("error,unknown command"));
		break;
	}
	return line_send(SAMPLE_BYTES);
}

/* Collects bytes up to a line feed; true when a command is complete. */
static bool collect(void)
{
	int16_t byte;

	while ((byte = uart_read()) >= 0) {
		if (byte == '\n') {
			if (length > 0 || too_long)
				return true;
		} else if (length == COMMAND_BYTES) {
			too_long = true;
		} else if (byte != '\r') {
			command[length++] = (char)byte;
		}
	}
	return false;
}

uint8_t command_poll(void)
{
	static bool complete;
	enum outcome outcome;
	uint8_t rate;

	if (!complete && !collect())
		return 0;
	outcome = judge(&rate);
	/* No room for the answer: the command waits, and carries its effect only once it can be answered. */
	complete = !answer(outcome, rate);
	if (complete)
		return 0;
	length = 0;
	too_long = false;
	if (outcome == IDENTIFIES)
		declare_all();
	return rate;
}
