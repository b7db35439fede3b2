/* SPDX-License-Identifier: MIT */
/* Everything an owner may want to change: the channel table, the dividers, the engine, the limits. */
#ifndef CONFIG_H
#define CONFIG_H

#define BOARD_NAME "eight input board"
#define BOARD_FIRMWARE "1.0"
#ifndef BOARD_ID
#define BOARD_ID "0001" /* `make ID=7f3a` tells several boards apart */
#endif

/* Voltage of the converter's reference in mV. The board uses its own 5 V supply; measure it once, under load, and enter it. */
#define REFERENCE_MV 5000

/*
 * The channels, in the order of a sample line.
 * INPUT(pin, name, ohms from the source to the pin, ohms from the pin to ground)
 * Without a divider write 0 and 1. The declared scale follows from the resistors, so that the value is the voltage at the
 * source, before the divider.
 */
#define INPUTS(INPUT)                 \
	INPUT(0, "supply", 30000, 10000) \
	INPUT(1, "input_1", 0, 1)        \
	INPUT(2, "input_2", 0, 1)        \
	INPUT(3, "input_3", 0, 1)        \
	INPUT(4, "input_4", 0, 1)        \
	INPUT(5, "input_5", 0, 1)        \
	INPUT(6, "input_6", 0, 1)        \
	INPUT(7, "input_7", 0, 1)

/* Row of INPUTS, from 0, that measures the supply; -1 when none does. To make it an eighth free input, rename it and write -1. */
#define SUPPLY_ROW 0
/* Common practice, no source: a charged 12 V battery under load stays above 10 V; the gap keeps the notice from chattering. */
#define SUPPLY_LOW_MV 10000
#define SUPPLY_GOOD_MV 10800

/* Tach pulses in two turns of the crankshaft: the number of cylinders for one coil on a four-stroke with distributor. */
#define PULSES_PER_TWO_TURNS 4
/* 1: the pulse is a rising edge at the capture pin, 0: a falling one (the usual optocoupler circuit pulls down). */
#define TACH_RISING_EDGE 0
/* Fastest believable engine speed: an edge sooner after the last one is noise (ringing of the coil). */
#define MAX_RPM 8000UL
/* Below this the engine counts as stopped: 0 rpm is sent. */
#define MIN_RPM 40UL

/* Samples per second after power-up. */
#define DEFAULT_HZ 50

#endif
