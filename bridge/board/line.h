/* SPDX-License-Identifier: MIT */
/* Builds one line of the format in memory and hands it to the wire as a whole, or not at all. */
#ifndef LINE_H
#define LINE_H

#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>

/* Longest line of this firmware, line feed included; the format's own limit is 250. */
#define LINE_BYTES 112

void line_begin(char kind);
void line_field(void);
/* Text that is known to hold no comma, asterisk, percent sign or control byte. */
void line_text(const char *flash_text);
/* Text from outside: what would break the line is percent-encoded. */
void line_foreign(const char *text, uint8_t length);
void line_unsigned(uint32_t value);
/* Writes value / 10^12 as a decimal fraction. */
void line_picos(uint64_t value);
/* Adds the checksum and queues the line if it leaves `keep_free` bytes of the queue for others; false when there was no room. */
bool line_send(uint8_t keep_free);

#endif
