/* SPDX-License-Identifier: MIT */
#include "analog.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <util/atomic.h>

#define PIN_OF(pin, name, top, bottom) (pin),
static const uint8_t pins[INPUT_COUNT] = { INPUTS(PIN_OF) };

/* Conversions of a visit to an input: the first still carries charge of the input before and is thrown away. */
#define SETTLING 1
#define AVERAGED 3

static volatile uint32_t sums[INPUT_COUNT];
static volatile uint16_t counts[INPUT_COUNT];
static volatile uint16_t latest[INPUT_COUNT];
static volatile uint8_t rounds;
static uint8_t row, visit;

static void select_input(uint8_t next)
{
	/* The board's own supply is the reference, so that sensors fed from it need no further correction. */
	ADMUX = _BV(REFS0) | pins[next];
}

ISR(ADC_vect)
{
	uint16_t value = ADC;

	if (visit >= SETTLING) {
		sums[row] += value;
		counts[row]++;
		latest[row] = value;
	}
	if (++visit == SETTLING + AVERAGED) {
		visit = 0;
		if (++row == INPUT_COUNT) {
			row = 0;
			rounds++;
		}
		select_input(row);
	}
	ADCSRA |= _BV(ADSC);
}

void analog_start(void)
{
	uint8_t i;

	for (i = 0; i < INPUT_COUNT; i++)
		if (pins[i] < 6)
			DIDR0 |= (uint8_t)_BV(pins[i]);
	select_input(0);
	/* 125 kHz: inside the 50 to 200 kHz that the data sheet asks for full resolution; 104 us a conversion. */
	ADCSRA = _BV(ADEN) | _BV(ADIE) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0);
	ADCSRA |= _BV(ADSC);
}

uint16_t analog_take_mean(uint8_t wanted)
{
	uint32_t sum;
	uint16_t count;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		sum = sums[wanted];
		count = counts[wanted];
		sums[wanted] = 0;
		counts[wanted] = 0;
	}
	if (count == 0)
		return ANALOG_NONE;
	return (uint16_t)((sum * 16 + count / 2) / count);
}

uint16_t analog_latest(uint8_t wanted)
{
	uint16_t value;

	ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
	{
		value = latest[wanted];
	}
	return value;
}

uint8_t analog_rounds(void)
{
	return rounds;
}
