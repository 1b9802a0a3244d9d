// An emulated ATmega2560 with a joint at its pins: what the program drives moves a simulated motor, and the
// joint's potentiometer goes back to the analog pin A0. A servo with a potentiometer on A1 follows the pulses on pin
// 31. A tilt module sends numbers on the port serial1.
//
//   joint_host PROGRAM.elf SCRIPT
//
// Pins as the boards' core numbers them: duty on 5, direction on 28, the drivers' enable on 26, a button on 27, the
// stop contact on 2. The script has a command a line, done one after the other:
//   plant SIGN SPEED FRICTION LAG LOW HIGH SLACK NOISE START   the joint: see move_joint
//   servo WAY OFF                                              40 deg each way, turned round or not, and off by so much
//   type TEXT     send a line over the console         wait MS       let so much time pass
//   until TEXT    wait for a line with this in it      hold on|off   an empty line every 50 ms
//   button on|off                                      stop open|closed
//   jam on|off    the joint cannot move                wire broken|whole
//   tilt on|off   whether the tilt module sends        end
// Output: "U us text" for each line from the program, "D us duty" whenever what drives the motor changes (0 while
// the drivers have no enable), "P us width" for pulses of the servo, in us, when they change by more than a few, and
// 0 when they stop; "S us what" for each command of the script.
#include <math.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PORTA = 0x22, PORTE = 0x2E, TCCR3A = 0x90, OCR3AL = 0x98 };  // data addresses, ATmega2560
static const double step_s = 0.0001;
static const uint64_t most_us = 400000000ULL;

static avr_t *avr;
static FILE *script;
static struct { double sign, speed, friction, lag, low, high, slack, noise, start; } plant = {1, 60, 0.08, 0.05, -30, 30, 1, 0.1, 0};
static double motor, joint, rate;
static double servo_way = 1, servo_off = 0, servo_at = -15;  // where it was left
static avr_cycle_count_t pulse_began, pulse_ended;
static double pulse_us, told_us;
static int jammed, broken, tilting = 1, holding, ended;
static double last_duty = 0.0;
static char from_board[512], waited_for[200], to_board[4096];
static size_t heard, to_send, was_sent;
static uint64_t wait_until_us;
static uint32_t seed = 12345U;

static uint64_t now_us(void) { return avr->cycle / 16U; }

static double uniform(void) {
  seed = seed * 1664525U + 1013904223U;
  return ((double)(seed >> 8) + 0.5) / 16777216.0;
}

static double normal(void) { return sqrt(-2.0 * log(uniform())) * cos(6.283185307179586 * uniform()); }

static double driven(void) {
  double size = (avr->data[TCCR3A] & 0x80) ? avr->data[OCR3AL] / 255.0 : ((avr->data[PORTE] & 0x08) ? 1.0 : 0.0);
  double duty = (avr->data[PORTA] & 0x40) ? size : -size;
  return (avr->data[PORTA] & 0x10) ? duty : 0.0;
}

// The motor: beyond the friction its speed goes to SPEED times the rest of the duty, LAG seconds behind. The joint
// follows it through the slack, between two ends.
static void move_joint(double duty) {
  double u = duty * plant.sign, beyond = fabs(u) - plant.friction;
  double target = (beyond > 0.0) ? copysign(beyond * plant.speed, u) : 0.0;
  rate += (target - rate) * (step_s / plant.lag);
  if (jammed) {
    rate = 0.0;
  }
  motor += rate * step_s;
  double half = plant.slack / 2.0;
  if (motor - joint > half) joint = motor - half;
  if (joint - motor > half) joint = motor + half;
  if (joint > plant.high) { joint = plant.high; motor = fmin(motor, joint + half); rate = fmin(rate, 0.0); }
  if (joint < plant.low) { joint = plant.low; motor = fmax(motor, joint - half); rate = fmax(rate, 0.0); }
}

static void hear_pulse(struct avr_irq_t *irq, uint32_t value, void *unused) {
  (void)irq; (void)unused;
  if (value) {
    pulse_began = avr->cycle;
  } else if (pulse_began) {
    pulse_us = (double)(avr->cycle - pulse_began) / 16.0;
    pulse_ended = avr->cycle;
  }
}

// 1000 to 2000 us are its 40 deg each way; it turns at most 200 deg/s, and not without pulses or enable.
static void move_servo(void) {
  int alive = pulse_ended && (avr->cycle - pulse_ended) < 16000 * 100;
  double us = alive ? pulse_us : 0.0;
  if (fabs(us - told_us) > 4.0) {
    printf("P %llu %.0f\n", (unsigned long long)now_us(), us);
    told_us = us;
  }
  if (alive && (avr->data[PORTA] & 0x10)) {
    double goal = servo_way * (us - 1500.0) / 500.0 * 40.0 + servo_off, most = 200.0 * step_s;
    servo_at += fmax(-most, fmin(most, goal - servo_at));
  }
}

static void read_sensor(struct avr_irq_t *irq, uint32_t value, void *unused) {
  (void)irq; (void)value; (void)unused;
  double counts = broken ? 1023.0 : floor(512.0 + 860.0 / 60.0 * (joint + plant.noise * normal()) + 0.5);
  // the converter takes millivolts: the middle of the count
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), (uint32_t)ceil(counts * 5000.0 / 1023.0));
  counts = floor(512.0 + 860.0 / 60.0 * 0.5 * (servo_at + 0.1 * normal()) + 0.5);
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC1), (uint32_t)ceil(counts * 5000.0 / 1023.0));
}

static void hear(struct avr_irq_t *irq, uint32_t value, void *unused) {
  (void)irq; (void)unused;
  if (value == '\n') {
    from_board[heard] = '\0';
    printf("U %llu %s\n", (unsigned long long)now_us(), from_board);
    if (waited_for[0] && strstr(from_board, waited_for)) waited_for[0] = '\0';
    heard = 0;
  } else if (heard + 1 < sizeof from_board) {
    from_board[heard++] = (char)value;
  }
}

static void send(char port, const char *text) {
  for (; *text; ++text) avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ(port), UART_IRQ_INPUT), (uint8_t)*text);
}

// What a contact pulls a pin to outweighs the board's own pull-up.
static void contact(char port, int pin, int high) {
  static uint8_t masks[8], values[8];
  uint8_t bit = (uint8_t)(1U << pin), *mask = &masks[port - 'A'], *value = &values[port - 'A'];
  *mask |= bit;
  *value = (uint8_t)(high ? (*value | bit) : (*value & ~bit));
  avr_ioport_external_t pull = {.name = (unsigned char)port, .mask = *mask, .value = *value};
  avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), &pull);
  avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), pin), high);
}

static void command(char *line) {
  char *rest = strchr(line, ' ');
  rest = rest ? rest + 1 : line + strlen(line);
  int on = !strncmp(rest, "on", 2) || !strcmp(rest, "broken") || !strcmp(rest, "open");
  printf("S %llu %s\n", (unsigned long long)now_us(), line);
  if (!strncmp(line, "plant ", 6)) {
    if (sscanf(rest, "%lf %lf %lf %lf %lf %lf %lf %lf %lf", &plant.sign, &plant.speed, &plant.friction, &plant.lag,
               &plant.low, &plant.high, &plant.slack, &plant.noise, &plant.start) != 9) exit(3);
    joint = motor = plant.start;
  } else if (!strncmp(line, "servo ", 6)) {
    if (sscanf(rest, "%lf %lf", &servo_way, &servo_off) != 2) exit(3);
  } else if (!strncmp(line, "type ", 5)) {
    to_send += (size_t)snprintf(to_board + to_send, sizeof to_board - to_send, "%s\n", rest);
  } else if (!strncmp(line, "wait ", 5)) {
    wait_until_us = now_us() + 1000ULL * strtoull(rest, NULL, 10);
  } else if (!strncmp(line, "until ", 6)) {
    snprintf(waited_for, sizeof waited_for, "%s", rest);
  } else if (!strncmp(line, "hold ", 5)) {
    holding = on;
  } else if (!strncmp(line, "button ", 7)) {
    contact('A', 5, !on);
  } else if (!strncmp(line, "stop ", 5)) {
    contact('E', 4, on);
  } else if (!strncmp(line, "jam ", 4)) {
    jammed = on;
  } else if (!strncmp(line, "wire ", 5)) {
    broken = on;
  } else if (!strncmp(line, "tilt ", 5)) {
    tilting = on;
  } else if (!strcmp(line, "end")) {
    ended = 1;
  } else {
    fprintf(stderr, "joint_host: what is %s?\n", line);
    exit(3);
  }
}

static void go_on(void) {
  char line[200];
  while (!ended && !waited_for[0] && now_us() >= wait_until_us) {
    if (!fgets(line, sizeof line, script)) {
      ended = 1;
      return;
    }
    line[strcspn(line, "\n")] = '\0';
    if (line[0]) command(line);
  }
}

static avr_cycle_count_t every_step(avr_t *its, avr_cycle_count_t when, void *unused) {
  (void)its; (void)unused;
  static unsigned steps = 0;
  double duty = driven();
  if (fabs(duty - last_duty) > 1e-9) {
    printf("D %llu %.6f\n", (unsigned long long)now_us(), duty);
    last_duty = duty;
  }
  move_joint(duty);
  move_servo();
  if (steps % 10 == 0) {
    if (was_sent < to_send) {
      char one[2] = {to_board[was_sent++], '\0'};
      send('0', one);
    } else {
      was_sent = to_send = 0;
      if (holding && steps % 500 == 0) send('0', "\n");
    }
    go_on();
  }
  if (tilting && steps % 200 == 0) {
    char text[32];
    snprintf(text, sizeof text, "%.4f\n", 0.6 + 0.2 * normal());
    send('1', text);
  }
  ++steps;
  return when + 1600;
}

static void log_errors(avr_t *its, const int level, const char *format, va_list arguments) {
  (void)its;
  if (level <= LOG_ERROR) vfprintf(stderr, format, arguments);
}

int main(int count, char **argument) {
  avr_global_logger_set(log_errors);
  elf_firmware_t firmware;
  memset(&firmware, 0, sizeof firmware);
  if (count != 3 || elf_read_firmware(argument[1], &firmware) != 0) return 2;
  script = fopen(argument[2], "r");
  avr = avr_make_mcu_by_name("atmega2560");
  if (!script || !avr) return 2;
  firmware.frequency = 16000000;
  avr_init(avr);
  avr->vcc = avr->avcc = avr->aref = 5000;
  avr_load_firmware(avr, &firmware);
  for (char port = '0'; port <= '3'; ++port) {
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS(port), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS(port), &flags);
  }
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), hear, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), read_sensor, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('C'), 6), hear_pulse, NULL);
  contact('A', 5, 1);  // the button is up
  contact('E', 4, 0);  // the stop contact is closed
  avr_cycle_timer_register(avr, 1600, every_step, NULL);
  int state = cpu_Running;
  while (!ended && state != cpu_Done && state != cpu_Crashed && now_us() < most_us) state = avr_run(avr);
  printf("S %llu %s\n", (unsigned long long)now_us(), ended ? "ended" : "not ended");
  return ended ? 0 : 1;
}
