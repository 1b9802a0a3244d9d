// How the proof program talks on an emulated 8-bit controller: through three registers that mean nothing to
// the hardware. The emulator's host (avr_emulator.c) answers reads of GPIOR1 with the next byte of the input,
// takes writes to GPIOR2 as output, and notes cycles and stack between the marks in GPIOR0.
#ifndef PROOF_PORT_H
#define PROOF_PORT_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>

static inline uint8_t port_get() { return GPIOR1; }
static inline void port_put(uint8_t octet) { GPIOR2 = octet; }
static inline void port_before_tick() { GPIOR0 = 1U; }
static inline void port_after_tick() { GPIOR0 = 2U; }  // the host adds what the tick cost to the output
static inline void port_begin() {}
static inline void port_end() {
  GPIOR0 = 3U;
  cli();
  sleep_enable();
  for (;;) {
    sleep_cpu();
  }
}

#endif
