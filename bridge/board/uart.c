/* SPDX-License-Identifier: MIT */
#include "uart.h"

#include <avr/interrupt.h>
#include <avr/io.h>

static volatile uint8_t tx[UART_TX_BYTES];
static volatile uint8_t tx_head, tx_tail;
static volatile uint8_t rx[UART_RX_BYTES];
static volatile uint8_t rx_head, rx_tail;
static volatile bool rx_lost;

ISR(USART_UDRE_vect)
{
	UDR0 = tx[tx_tail++];
	/* Switched off with the last byte, not on finding the queue empty: no interrupt is spent on nothing. */
	if (tx_tail == tx_head)
		UCSR0B &= (uint8_t)~_BV(UDRIE0);
}

ISR(USART_RX_vect)
{
	uint8_t status = UCSR0A;
	uint8_t byte = UDR0;
	uint8_t next = (rx_head + 1) & (UART_RX_BYTES - 1);

	if (status & _BV(DOR0))
		rx_lost = true;
	if (status & _BV(FE0))
		return;
	if (next == rx_tail) {
		rx_lost = true;
		return;
	}
	rx[rx_head] = byte;
	rx_head = next;
}

void uart_start(void)
{
	/* Double speed: 117647 baud at 16 MHz, 2.1 % fast; without it the error would be 3.5 %. */
	UCSR0A = _BV(U2X0);
	UBRR0 = (uint16_t)((F_CPU + UART_BAUD * 4) / (UART_BAUD * 8) - 1);
	UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
	UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

bool uart_write(const char *bytes, uint8_t length, uint8_t keep_free)
{
	uint8_t used = tx_head - tx_tail;
	uint8_t head = tx_head;

	if ((uint16_t)used + length + keep_free > UART_TX_BYTES - 1)
		return false;
	while (length--)
		tx[head++] = (uint8_t)*bytes++;
	cli();
	tx_head = head;
	UCSR0B |= _BV(UDRIE0);
	sei();
	return true;
}

int16_t uart_read(void)
{
	uint8_t byte;

	if (rx_tail == rx_head)
		return -1;
	byte = rx[rx_tail];
	rx_tail = (rx_tail + 1) & (UART_RX_BYTES - 1);
	return byte;
}

bool uart_lost(void)
{
	if (!rx_lost)
		return false;
	rx_lost = false;
	return true;
}
