// Started by gait-sequencer for the machine heron. This file is yours: it is never written again.
//
// What only you know about your board. The functions are called from the generated program; none of them may
// wait for anything, and on_tick must be done well within a tick of 10 ms.
#ifndef HERON_IO_BOARD_HOOKS_H
#define HERON_IO_BOARD_HOOKS_H

#include <Arduino.h>
#include <stdint.h>

namespace heron_hooks {

// Called once, after the pins and ports of the machine file have been set up. Motors are off.
inline void on_begin() {}

// Called in every tick, after the motors have been given their values.
inline void on_tick(uint32_t now) { static_cast<void>(now); }

// A raw sample of signal_wind: return true and set it if there is a new one.
inline bool read_wind(float& raw) {
  static_cast<void>(raw);
  return false;
}

#ifndef ARDUINO_ARCH_AVR
// The watchdog of your board: make it reset the controller if feed_watchdog is not called for so long.
inline void begin_watchdog(uint16_t ms) { static_cast<void>(ms); }
inline void feed_watchdog() {}
inline bool was_reset_by_watchdog() { return false; }

// Memory that lasts without power, byte by byte. stored is what was written there; store returns false while
// it is busy and is then asked again.
inline uint8_t stored(uint16_t address) {
  static_cast<void>(address);
  return 0xFFU;
}
inline bool store(uint16_t address, uint8_t value) {
  static_cast<void>(address);
  static_cast<void>(value);
  return true;
}
#endif

}  // namespace heron_hooks

#endif
