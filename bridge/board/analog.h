/* SPDX-License-Identifier: MIT */
/* The eight analogue inputs, read all the time and averaged between samples. */
#ifndef ANALOG_H
#define ANALOG_H

#include <stdint.h>

#include "config.h"

#define COUNT_INPUT(pin, name, top, bottom) +1
#define INPUT_COUNT (0 INPUTS(COUNT_INPUT))

/* A mean is given in sixteenths of a converter step: 5 V is 16384. */
#define ANALOG_FULL_SCALE 16384UL
#define ANALOG_NONE 0xFFFF

void analog_start(void);
/* Mean of everything converted on this row since the last call, or ANALOG_NONE. */
uint16_t analog_take_mean(uint8_t row);
/* Newest single conversion of this row, in whole converter steps. */
uint16_t analog_latest(uint8_t row);
/* Counts completed rounds over all inputs; it stands still when the converter does. */
uint8_t analog_rounds(void);

#endif
