/* SPDX-License-Identifier: MIT */
#include "line.h"

#include <util/crc16.h>

#include "uart.h"

static char line[LINE_BYTES];
static uint8_t length;
static uint16_t crc;

/* Bytes held back for the asterisk, four digits and the line feed. */
#define TAIL_BYTES 6

static void put(char byte)
{
	if (length >= LINE_BYTES - TAIL_BYTES)
		return;
	line[length++] = byte;
	crc = _crc_xmodem_update(crc, (uint8_t)byte);
}

static char hex_digit(uint8_t value)
{
	return value < 10 ? '0' + value : 'A' - 10 + value;
}

void line_begin(char kind)
{
	length = 0;
	crc = 0xFFFF;
	put(kind);
}

void line_field(void)
{
	put(',');
}

void line_text(const char *flash_text)
{
	char byte;

	while ((byte = (char)pgm_read_byte(flash_text++)))
		put(byte);
}

void line_foreign(const char *text, uint8_t count)
{
	while (count--) {
		uint8_t byte = (uint8_t)*text++;

		if (byte <= ' ' || byte >= 127 || byte == ',' || byte == '*' || byte == '%') {
			put('%');
			put(hex_digit(byte >> 4));
			put(hex_digit(byte & 15));
		} else {
			put((char)byte);
		}
	}
}

void line_unsigned(uint32_t value)
{
	char digits[10];
	uint8_t count = 0;

	do {
		digits[count++] = '0' + (char)(value % 10);
		value /= 10;
	} while (value);
	while (count)
		put(digits[--count]);
}

void line_picos(uint64_t value)
{
	char digits[12];
	uint8_t count = 12, i;
	uint64_t whole = value / 1000000000000ULL;
	uint64_t rest = value % 1000000000000ULL;

	line_unsigned((uint32_t)whole);
	if (rest == 0)
		return;
	for (i = 12; i > 0; i--) {
		digits[i - 1] = '0' + (char)(rest % 10);
		rest /= 10;
	}
	while (digits[count - 1] == '0')
		count--;
	put('.');
	for (i = 0; i < count; i++)
		put(digits[i]);
}

bool line_send(uint8_t keep_free)
{
	uint16_t sum = crc;
	uint8_t shift;

	line[length++] = '*';
	for (shift = 16; shift > 0; shift -= 4)
		line[length++] = hex_digit((sum >> (shift - 4)) & 15);
	line[length++] = '\n';
	return uart_write(line, length, keep_free);
}
