/* SPDX-License-Identifier: MIT */
/* Commands from the host: `?`, `R,<hz>`, `Z`, each ended by a line feed. */
#ifndef COMMAND_H
#define COMMAND_H

#include <stdint.h>

#include "declare.h"
#include "uart.h"

/* Bytes a second held back for declarations (five of at most 64) and notices. */
#define OTHER_LINES_BYTES_S 640
/* Ten bits on the wire for each byte. */
#define MAX_HZ ((UART_BAUD / 10 - OTHER_LINES_BYTES_S) / SAMPLE_BYTES)

/* Reads what has come and answers; returns a new sample rate in Hz, or 0 when it stays. */
uint8_t command_poll(void);

#endif
