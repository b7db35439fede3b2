/* SPDX-License-Identifier: MIT */
/* Serial port with queues in both directions. */
#ifndef UART_H
#define UART_H

#include <stdbool.h>
#include <stdint.h>

#define UART_BAUD 115200UL
/* A power of two up to 256: the indices wrap by themselves. */
#define UART_TX_BYTES 256
#define UART_RX_BYTES 64

void uart_start(void);
/* Queues all of it or nothing, and nothing when fewer than `keep_free` bytes would be left. */
bool uart_write(const char *bytes, uint8_t length, uint8_t keep_free);
/* Next received byte, or -1. */
int16_t uart_read(void);
/* Whether received bytes were lost since the last call. */
bool uart_lost(void);

#endif
