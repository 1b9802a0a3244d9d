// Runs a board's program on an emulated 8-bit controller, with the library simavr, as a board on a bench would
// have it: things happen to its pins and ports at given times, and all that it does is written down.
//
//   emulator CONTROLLER PROGRAM.elf SCRIPT EEPROM_OUT
//
// SCRIPT is text, one thing a line, times in microseconds since power-on, in rising order:
//
//   w NAME PORT BIT DDR OCR COM MASK   watch a pin (addresses in hex; OCR 0 if it has no PWM)
//   u PORT BAUD                        listen to a serial port, 0 to 3; what reaches it comes at so much
//   e HEX                              what the EEPROM holds at power-on, from address 0
//   TIME b PORT HEX                    bytes reach the serial port, the first one at TIME
//   TIME a CHANNEL MILLIVOLTS          an analog pin is at so much from now on
//   TIME p LETTER BIT LEVEL            a pin is pulled to a level from now on
//   TIME end
//
// Output, one thing a line: "TIME u PORT HEX" for a byte sent (hex), "TIME w NAME LEVEL" for a watched pin: 0 to
// 255, 255 for high, -1 while it is no output; "TIME r" for a reset of the controller by its watchdog; at the end
// "TIME s BYTES", the most that the stack took, interrupts included.
#include <simavr/avr_adc.h>
#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_WATCHED = 64, MOST_PORTS = 4, MHZ = 16, EEPROM = 4096 };

struct watched {
  char name[32];
  unsigned port, bit, ddr, ocr, com, mask;
  int level;
};

static struct watched watched[MOST_WATCHED];
static int watched_count;
static avr_t *avr;
static unsigned cycles_a_byte[MOST_PORTS];

static double now(void) { return (double)avr->cycle / MHZ; }

static void sent(struct avr_irq_t *irq, uint32_t value, void *port) {
  (void)irq;
  printf("%.2f u %d %02X\n", now(), (int)(intptr_t)port, (unsigned)(value & 0xFFU));
}

static int level_of(const struct watched *w) {
  const uint8_t *data = avr->data;
  if ((data[w->ddr] >> w->bit & 1U) == 0) {
    return -1;
  }
  if (w->ocr != 0 && (data[w->com] & w->mask) != 0) {
    return data[w->ocr];
  }
  return (data[w->port] >> w->bit & 1U) ? 255 : 0;
}

static void look(void) {
  for (int i = 0; i < watched_count; ++i) {
    int level = level_of(&watched[i]);
    if (level != watched[i].level) {
      watched[i].level = level;
      printf("%.2f w %s %d\n", now(), watched[i].name, level);
    }
  }
}

// Whether the instruction at the program counter stores anything (AVR Instruction Set Manual: OUT; SBI and CBI;
// ST, STS and PUSH; STD): only then a pin can change.
static int is_store(void) {
  unsigned op = avr->flash[avr->pc] | ((unsigned)avr->flash[avr->pc + 1] << 8);
  return (op & 0xF800U) == 0xB800U || (op & 0xFD00U) == 0x9800U || (op & 0xFE00U) == 0x9200U ||
         (op & 0xD200U) == 0x8200U;
}

static unsigned lowest_stack = 0xFFFFU;

static void watch_stack(void) {
  unsigned pointer = avr->data[R_SPL] | ((unsigned)avr->data[R_SPH] << 8);
  if (pointer < lowest_stack && pointer > 0x100U) {  // not yet set right after a reset
    lowest_stack = pointer;
  }
}

static void quiet(avr_t *unused, const int level, const char *format, va_list arguments) {
  (void)unused;
  if (level <= LOG_ERROR) {
    vfprintf(stderr, format, arguments);
  }
}

static int fail(const char *what) {
  fprintf(stderr, "emulator: %s\n", what);
  exit(2);
}

// ---- What happens ----

struct feed {
  uint8_t bytes[4096];
  int from, to;
  avr_cycle_count_t next;
};
static struct feed feeds[MOST_PORTS];
static avr_cycle_count_t next_feed = UINT64_MAX;

static void feed_bytes(void) {
  next_feed = UINT64_MAX;
  for (int port = 0; port < MOST_PORTS; ++port) {
    struct feed *f = &feeds[port];
    while (f->from < f->to && avr->cycle >= f->next) {
      avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0' + port), UART_IRQ_INPUT), f->bytes[f->from]);
      ++f->from;
      f->next += cycles_a_byte[port];
    }
    if (f->from < f->to && f->next < next_feed) {
      next_feed = f->next;
    }
  }
}

static void add_bytes(int port, const char *hex, avr_cycle_count_t at) {
  struct feed *f = &feeds[port];
  if (f->from == f->to) {
    f->from = f->to = 0;
    if (f->next < at) {
      f->next = at;
    }
  }
  for (; hex[0] && hex[1] && f->to < (int)sizeof f->bytes; hex += 2) {
    unsigned value;
    sscanf(hex, "%2x", &value);
    f->bytes[f->to++] = (uint8_t)value;
  }
  next_feed = 0;
  if (hex[0] > ' ') {
    fail("too many bytes wait for a port");
  }
}

// From outside, and stronger than the controller's own pull-up.
static void pull(char letter, int bit, int level) {
  static avr_ioport_external_t pulls[256];
  avr_ioport_external_t *all = &pulls[(unsigned char)letter];
  all->name = letter;
  all->mask = (all->mask | (1U << bit)) & 0xFFU;
  all->value = ((all->value & ~(1U << bit)) | ((unsigned)level << bit)) & 0xFFU;
  avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(letter), all);
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(letter), bit), (uint32_t)level);
}

static void do_thing(const char *line, avr_cycle_count_t at) {
  char what[8], text[8192];
  int a = 0, b = 0;
  if (sscanf(line, "%*s %7s", what) != 1) {
    fail(line);
  }
  switch (what[0]) {
    case 'b':
      if (sscanf(line, "%*s %*s %d %8191s", &a, text) != 2) {
        fail(line);
      }
      add_bytes(a, text, at);
      break;
    case 'a':
      sscanf(line, "%*s %*s %d %d", &a, &b);
      avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + a), (uint32_t)b);
      break;
    case 'p':
      sscanf(line, "%*s %*s %7s %d %d", text, &a, &b);
      pull(text[0], a, b);
      break;
    default:
      fail(line);
  }
}

static void prepare(const char *line) {
  uint32_t flags = 0;
  int port;
  if (line[0] == 'w') {
    struct watched *w = &watched[watched_count++];
    if (watched_count > MOST_WATCHED || sscanf(line, "w %31s %x %u %x %x %x %x", w->name, &w->port, &w->bit,
                                               &w->ddr, &w->ocr, &w->com, &w->mask) != 7) {
      fail(line);
    }
    w->level = -2;
  } else if (line[0] == 'u') {
    unsigned baud;
    sscanf(line, "u %d %u", &port, &baud);
    cycles_a_byte[port] = MHZ * 10000000U / baud;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0' + port), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0' + port), &flags);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0' + port), UART_IRQ_OUTPUT), sent,
                            (void *)(intptr_t)port);
  } else {
    static uint8_t bytes[EEPROM];
    avr_eeprom_desc_t about = {bytes, 0, 0};
    for (const char *hex = line + 2; hex[0] > ' ' && hex[1] > ' '; hex += 2) {
      unsigned value;
      sscanf(hex, "%2x", &value);
      bytes[about.size++] = (uint8_t)value;
    }
    avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &about);
  }
}

int main(int count, char **argument) {
  static char line[16384];
  if (count != 5) {
    fail("need CONTROLLER PROGRAM SCRIPT EEPROM_OUT");
  }
  avr_global_logger_set(quiet);
  elf_firmware_t firmware;
  memset(&firmware, 0, sizeof firmware);
  if (elf_read_firmware(argument[2], &firmware) != 0) {
    fail("the program cannot be read");
  }
  avr = avr_make_mcu_by_name(argument[1]);
  FILE *script = fopen(argument[3], "r");
  if (avr == NULL || script == NULL) {
    fail("the controller is not known, or there is no script");
  }
  avr_init(avr);
  firmware.frequency = MHZ * 1000000;
  avr_load_firmware(avr, &firmware);
  avr->frequency = MHZ * 1000000;
  avr->vcc = avr->avcc = avr->aref = 5000;
  int ended = 0;
  while (!ended && fgets(line, sizeof line, script) != NULL) {
    if (line[0] < '0' || line[0] > '9') {
      prepare(line);
      continue;
    }
    avr_cycle_count_t at = (avr_cycle_count_t)(strtod(line, NULL) * MHZ);
    while (avr->cycle < at) {
      avr_flashaddr_t before = avr->pc;
      int stores = is_store();
      int state = avr_run(avr);
      watch_stack();
      if (state == cpu_Crashed || state == cpu_Done) {
        printf("%.2f x\n", now());
        at = avr->cycle;
        ended = 1;
        break;
      }
      if (avr->pc == 0 && before != 0) {
        printf("%.2f r\n", now());
      }
      if (avr->cycle >= next_feed) {
        feed_bytes();
      }
      if (stores) {
        look();
      }
    }
    ended = ended || strstr(line, " end") != NULL;
    if (!ended) {
      do_thing(line, at);
    }
  }
  printf("%.2f s %u\n", now(), avr->ramend - lowest_stack);
  static uint8_t bytes[EEPROM];
  avr_eeprom_desc_t about = {bytes, 0, EEPROM};
  about.size = avr->e2end + 1U < EEPROM ? (uint32_t)avr->e2end + 1U : EEPROM;
  avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &about);
  FILE *kept = fopen(argument[4], "wb");
  if (kept == NULL || fwrite(about.ee, 1, about.size, kept) != about.size || fclose(kept) != 0) {
    fail("the EEPROM cannot be written down");
  }
  return 0;
}
