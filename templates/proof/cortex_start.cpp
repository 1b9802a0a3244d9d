// Starts a program on an emulated Cortex-M without a C library: vectors, memory, float unit, semihosting.
#include <stddef.h>
#include <stdint.h>

extern "C" {

extern uint32_t stack_top, data_source, data_first, data_last, bss_first, bss_last;
int proof_program(void);
void begin_here(void);
int32_t port_semihosting(uint32_t operation, const void* arguments);
void port_stop(uint32_t code);

int32_t port_semihosting(uint32_t operation, const void* arguments) {
  register uint32_t r0 __asm__("r0") = operation;
  register const void* r1 __asm__("r1") = arguments;
  __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
  return static_cast<int32_t>(r0);
}

void port_stop(uint32_t code) {
  const uint32_t block[2] = {0x20026U, code};  // SYS_EXIT_EXTENDED: the emulator's exit code
  port_semihosting(0x20U, block);
  for (;;) {
  }
}

// GCC may call these even where the source does not.
__attribute__((used)) void* memcpy(void* to, const void* from, size_t count) {
  char* a = static_cast<char*>(to);
  const char* b = static_cast<const char*>(from);
  while (count-- != 0U) {
    *a++ = *b++;
    __asm__ volatile("");  // so that the loop is not made a call of itself
  }
  return to;
}

__attribute__((used)) void* memset(void* to, int value, size_t count) {
  char* a = static_cast<char*>(to);
  while (count-- != 0U) {
    *a++ = static_cast<char>(value);
    __asm__ volatile("");
  }
  return to;
}

void begin_here(void) {
  const uint32_t* from = &data_source;
  for (uint32_t* to = &data_first; to < &data_last; ++to) {
    *to = *from++;
  }
  for (uint32_t* to = &bss_first; to < &bss_last; ++to) {
    *to = 0U;
  }
#if defined(__ARM_FP)
  *reinterpret_cast<volatile uint32_t*>(0xE000ED88U) |= 0xFU << 20;  // CPACR: the float unit on
  __asm__ volatile("dsb\n\tisb");
#endif
  port_stop(static_cast<uint32_t>(proof_program()));
}

static void on_fault(void) { port_stop(99U); }

__attribute__((section(".vectors"), used)) void (*const vectors[16])(void) = {
    reinterpret_cast<void (*)(void)>(&stack_top), begin_here, on_fault, on_fault, on_fault, on_fault, on_fault,
    nullptr, nullptr, nullptr, nullptr, on_fault, on_fault, nullptr, on_fault, on_fault};

}  // extern "C"
