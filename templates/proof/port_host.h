// How the proof program talks on this machine: through two files. What it needs of the C library stands in
// port_host.cpp, so that no name of it can meet a gait's.
#ifndef PROOF_PORT_H
#define PROOF_PORT_H

#include <stdint.h>

uint8_t port_get();
void port_put(uint8_t octet);
void port_begin();
void port_end();

static inline void port_before_tick() {}
static inline void port_after_tick() {  // what a tick costs is not measured here
  for (uint8_t i = 0U; i < 8U; ++i) {
    port_put(0U);
  }
}

#endif
