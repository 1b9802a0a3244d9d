// Runs a proof program on an emulated 8-bit controller, with the library simavr.
//
//   avr_emulator CONTROLLER PROGRAM.elf INPUT OUTPUT
//
// The program reads INPUT byte by byte from GPIOR1 and writes OUTPUT to GPIOR2. Between the marks 1 and 2 in
// GPIOR0 cycles are counted and the stack pointer is watched after every instruction; both go to the output,
// as 4 bytes each, lowest first. Mark 3 ends the run.
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_io.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MARK = 0x3E, INPUT = 0x4A, OUTPUT = 0x4B };  // data addresses of GPIOR0, 1, 2 on the ATmega family

static FILE *input;
static FILE *output;
static avr_cycle_count_t began;
static unsigned stack_at_start;
static unsigned stack_lowest;
static int in_tick;
static int ended;
static int starved;

static unsigned stack_pointer(const avr_t *avr) { return avr->data[R_SPL] | ((unsigned)avr->data[R_SPH] << 8); }

static uint8_t read_input(avr_t *avr, avr_io_addr_t address, void *unused) {
  (void)unused;
  int octet = getc(input);
  if (octet == EOF) {
    starved = 1;
    octet = 0;
  }
  avr->data[address] = (uint8_t)octet;
  return (uint8_t)octet;
}

static void put4(uint32_t number) {
  for (int i = 0; i < 4; ++i) {
    putc((int)((number >> (8 * i)) & 0xFFU), output);
  }
}

static void write_output(avr_t *avr, avr_io_addr_t address, uint8_t value, void *unused) {
  (void)unused;
  avr->data[address] = value;
  putc(value, output);
}

static void write_mark(avr_t *avr, avr_io_addr_t address, uint8_t value, void *unused) {
  (void)unused;
  avr->data[address] = value;
  if (value == 1) {
    began = avr->cycle;
    stack_at_start = stack_lowest = stack_pointer(avr);
    in_tick = 1;
  } else if (value == 2) {
    in_tick = 0;
    put4((uint32_t)(avr->cycle - began));
    put4(stack_at_start - stack_lowest);
  } else {
    ended = 1;
  }
}

static void log_errors(avr_t *avr, const int level, const char *format, va_list arguments) {
  (void)avr;
  if (level <= LOG_ERROR) {
    vfprintf(stderr, format, arguments);
  }
}

static int fail(const char *what) {
  fprintf(stderr, "avr_emulator: %s\n", what);
  return 2;
}

int main(int count, char **argument) {
  if (count != 5) {
    return fail("need CONTROLLER PROGRAM INPUT OUTPUT");
  }
  avr_global_logger_set(log_errors);
  elf_firmware_t firmware;
  memset(&firmware, 0, sizeof firmware);
  if (elf_read_firmware(argument[2], &firmware) != 0) {
    return fail("the program cannot be read");
  }
  avr_t *avr = avr_make_mcu_by_name(argument[1]);
  if (avr == NULL) {
    return fail("this controller is not known to simavr");
  }
  input = fopen(argument[3], "rb");
  output = fopen(argument[4], "wb");
  if (input == NULL || output == NULL) {
    return fail("the input or the output cannot be opened");
  }
  firmware.frequency = 16000000;
  avr_init(avr);
  avr_load_firmware(avr, &firmware);
  avr_register_io_read(avr, INPUT, read_input, NULL);
  avr_register_io_write(avr, OUTPUT, write_output, NULL);
  avr_register_io_write(avr, MARK, write_mark, NULL);
  int state = cpu_Running;
  while (!ended && !starved && state != cpu_Done && state != cpu_Crashed) {
    state = avr_run(avr);
    if (in_tick && stack_pointer(avr) < stack_lowest) {
      stack_lowest = stack_pointer(avr);
    }
  }
  if (fclose(output) != 0) {
    return fail("the output cannot be written");
  }
  if (starved) {
    return fail("the program read past the end of its input");
  }
  return ended ? 0 : fail("the program crashed or fell asleep");
}
