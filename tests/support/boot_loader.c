// A board with its boot loader, emulated with the library simavr, behind a pseudo terminal.
//
//   boot_loader CONTROLLER START FLASH_IN FLASH_OUT
//
// START is the boot loader's address in hex; FLASH_IN holds all of the flash. Prints the terminal's name. The board is reset, as by its reset line, when the first byte comes, which is what
// opening the port does to a real one. When the terminal is closed again, the whole flash goes to FLASH_OUT.
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

enum { MCUSR = 0x54, EXTRF = 1 << 1 };

static avr_t *avr;
static int terminal;
static int may_come = 1;

static int fail(const char *what) {
  fprintf(stderr, "boot_loader: %s\n", what);
  exit(2);
}

static void quiet(avr_t *unused, const int level, const char *format, va_list arguments) {
  (void)unused;
  if (level <= LOG_ERROR) {
    vfprintf(stderr, format, arguments);
  }
}

static void sent(struct avr_irq_t *irq, uint32_t value, void *unused) {
  uint8_t byte = (uint8_t)value;
  (void)irq;
  (void)unused;
  if (write(terminal, &byte, 1) != 1) {
    fail("the terminal took no byte");
  }
}

static void go_on(struct avr_irq_t *irq, uint32_t value, void *on) {
  (void)irq;
  (void)value;
  may_come = on != NULL;
}

static void open_terminal(void) {
  struct termios raw;
  terminal = posix_openpt(O_RDWR | O_NOCTTY);
  if (terminal < 0 || grantpt(terminal) != 0 || unlockpt(terminal) != 0) {
    fail("there is no pseudo terminal");
  }
  int other = open(ptsname(terminal), O_RDWR | O_NOCTTY);  // open until the board is: no hang-up before
  tcgetattr(other, &raw);
  cfmakeraw(&raw);
  tcsetattr(other, TCSANOW, &raw);
  printf("%s\n", ptsname(terminal));
  fflush(stdout);
  struct pollfd wait = {.fd = terminal, .events = POLLIN};
  poll(&wait, 1, 60000);
  close(other);
}

static void load(const char *path) {
  FILE *file = fopen(path, "rb");
  if (file == NULL || fread(avr->flash, 1, avr->flashend + 1U, file) != avr->flashend + 1U || fclose(file) != 0) {
    fail("the flash cannot be read");
  }
}

static avr_irq_t *uart(int irq) { return avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), irq); }

static void connect_uart(void) {
  uint32_t flags = 0;
  avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
  flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  avr_irq_register_notify(uart(UART_IRQ_OUTPUT), sent, NULL);
  avr_irq_register_notify(uart(UART_IRQ_OUT_XON), go_on, avr);
  avr_irq_register_notify(uart(UART_IRQ_OUT_XOFF), go_on, NULL);
}

// Whether the terminal is still open on the other side; hands over a byte if the controller may have one.
static int listen(void) {
  uint8_t byte;
  struct pollfd state = {.fd = terminal, .events = POLLIN};
  poll(&state, 1, 0);
  if ((state.revents & POLLIN) != 0) {
    if (may_come && read(terminal, &byte, 1) == 1) {
      avr_raise_irq(uart(UART_IRQ_INPUT), byte);
    }
    return 1;
  }
  return (state.revents & POLLHUP) == 0;
}

int main(int count, char **arguments) {
  if (count != 5) {
    fail("need CONTROLLER START FLASH_IN FLASH_OUT");
  }
  avr = avr_make_mcu_by_name(arguments[1]);
  if (avr == NULL) {
    fail("there is no such controller");
  }
  avr_global_logger_set(quiet);
  avr_init(avr);
  avr->frequency = 16000000;
  avr_flashaddr_t start = (avr_flashaddr_t)strtoul(arguments[2], NULL, 16);
  load(arguments[3]);
  avr->codeend = avr->flashend;
  avr->reset_pc = start;
  connect_uart();
  open_terminal();
  avr_reset(avr);
  avr->pc = start;
  avr->data[MCUSR] = EXTRF;
  for (int turn = 0; turn != 0 || listen(); turn = (turn + 1) % 200) {
    int state = avr_run(avr);
    if (state == cpu_Done || state == cpu_Crashed) {
      fail("the controller stopped");
    }
  }
  FILE *file = fopen(arguments[4], "wb");
  if (file == NULL || fwrite(avr->flash, 1, avr->flashend + 1U, file) != avr->flashend + 1U || fclose(file) != 0) {
    fail("the flash cannot be written down");
  }
  return 0;
}
