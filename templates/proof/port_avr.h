// How the proof program talks on an emulated 8-bit controller: through three registers that mean nothing to
// the hardware. The emulator's host (avr_emulator.c) answers reads of GPIOR1 with the next byte of the input,
// takes writes to GPIOR2 as output, and notes cycles and stack between the marks in GPIOR0.
#ifndef PROOF_PORT_H
#define PROOF_PORT_H

#include <stdint.h>

// Data addresses on the ATmega family. No header of the controller is read: its macros could meet names of gaits.
static inline volatile uint8_t& port_register(uint16_t address) {
  return *reinterpret_cast<volatile uint8_t*>(address);
}
static inline void port_mark(uint8_t mark) { port_register(0x3EU) = mark; }       // GPIOR0
static inline uint8_t port_get() { return port_register(0x4AU); }                 // GPIOR1
static inline void port_put(uint8_t octet) { port_register(0x4BU) = octet; }      // GPIOR2
static inline void port_before_tick() { port_mark(1U); }
static inline void port_after_tick() { port_mark(2U); }  // the host adds what the tick cost to the output
static inline void port_begin() {}
static inline void port_end() {
  port_mark(3U);
  for (;;) {
  }
}

#endif
