// How the proof program talks on an emulated 32-bit controller: semihosting (files of the emulator's host), and
// the SysTick counter to count instructions, which the emulator makes exact.
#ifndef PROOF_PORT_H
#define PROOF_PORT_H

#include <stddef.h>
#include <stdint.h>

extern "C" {
int32_t port_semihosting(uint32_t operation, const void* arguments);
void port_stop(uint32_t code);
}

static const uint32_t port_room = 32768U;
static uint8_t port_in_buffer[port_room];
static uint8_t port_out_buffer[port_room];
static uint32_t port_in_at = 0U, port_in_end = 0U, port_out_at = 0U;
static uint32_t port_in_file = 0U, port_out_file = 0U;

static inline volatile uint32_t& port_register(uint32_t address) {
  return *reinterpret_cast<volatile uint32_t*>(address);  // a register of the controller: Armv7-M, B3.3
}
static inline volatile uint32_t& port_systick_control() { return port_register(0xE000E010U); }
static inline volatile uint32_t& port_systick_reload() { return port_register(0xE000E014U); }
static inline volatile uint32_t& port_systick_now() { return port_register(0xE000E018U); }

static void port_refill() {
  const uint32_t block[3] = {port_in_file, reinterpret_cast<uint32_t>(port_in_buffer), port_room};
  const int32_t unread = port_semihosting(0x06U, block);  // SYS_READ
  port_in_at = 0U;
  port_in_end = port_room - static_cast<uint32_t>(unread);
  if (port_in_end == 0U) {
    port_stop(2U);
  }
}

static void port_flush() {
  const uint32_t block[3] = {port_out_file, reinterpret_cast<uint32_t>(port_out_buffer), port_out_at};
  if ((port_out_at != 0U) && (port_semihosting(0x05U, block) != 0)) {  // SYS_WRITE
    port_stop(3U);
  }
  port_out_at = 0U;
}

static inline uint8_t port_get() {
  if (port_in_at == port_in_end) {
    port_refill();
  }
  return port_in_buffer[port_in_at++];
}

static inline void port_put(uint8_t octet) {
  if (port_out_at == port_room) {
    port_flush();
  }
  port_out_buffer[port_out_at++] = octet;
}

static inline void port_put4(uint32_t number) {
  for (uint32_t i = 0U; i < 32U; i += 8U) {
    port_put(static_cast<uint8_t>(number >> i));
  }
}

static uint32_t port_open(const char* name, uint32_t length, uint32_t mode) {
  const uint32_t block[3] = {reinterpret_cast<uint32_t>(name), mode, length};
  const int32_t file = port_semihosting(0x01U, block);  // SYS_OPEN
  if (file < 0) {
    port_stop(4U);
  }
  return static_cast<uint32_t>(file);
}

static uint32_t port_reading = 0U;  // what two reads of the counter cost by themselves
static uint32_t port_started = 0U;

static inline void port_begin() {
  port_in_file = port_open("in.bin", 6U, 1U);    // "rb"
  port_out_file = port_open("out.bin", 7U, 5U);  // "wb"
  port_systick_reload() = 0xFFFFFFU;
  port_systick_now() = 0U;
  port_systick_control() = 5U;  // on, by the processor's clock
  const uint32_t first = port_systick_now();
  const uint32_t second = port_systick_now();
  port_reading = (first - second) & 0xFFFFFFU;
}

// The stack below is painted before a tick, and looked through after it for what was written over.
static const uint32_t port_painted = 512U;  // words
static const uint32_t port_paint = 0xA5C3E187U;

static inline __attribute__((always_inline)) volatile uint32_t* port_stack() {
  volatile uint32_t* pointer;
  __asm__ volatile("mov %0, sp" : "=r"(pointer));
  return pointer;
}

static inline __attribute__((always_inline)) void port_before_tick() {
  volatile uint32_t* const top = port_stack();
  for (volatile uint32_t* word = top - port_painted; word != top; ++word) {
    *word = port_paint;
  }
  port_started = port_systick_now();
}

static inline __attribute__((always_inline)) void port_after_tick() {
  const uint32_t taken = (port_started - port_systick_now()) & 0xFFFFFFU;
  volatile uint32_t* const top = port_stack();
  volatile uint32_t* word = top - port_painted;
  while ((word != top) && (*word == port_paint)) {
    ++word;
  }
  port_put4(taken - port_reading);
  port_put4(static_cast<uint32_t>(top - word) * 4U);
}

static inline void port_end() { port_flush(); }

#endif
