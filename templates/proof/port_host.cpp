// The files of the proof program on this machine.
#include <stdio.h>
#include <stdlib.h>

#include "proof-port.h"

static FILE* input = nullptr;
static FILE* output = nullptr;

uint8_t port_get() {
  const int octet = getc(input);
  if (octet == EOF) {
    fputs("the input ends too early\n", stderr);
    exit(2);
  }
  return static_cast<uint8_t>(octet);
}

void port_put(uint8_t octet) { putc(octet, output); }

void port_begin() {
  input = fopen("in.bin", "rb");
  output = fopen("out.bin", "wb");
  if ((input == nullptr) || (output == nullptr)) {
    fputs("the input or the output cannot be opened\n", stderr);
    exit(2);
  }
}

void port_end() {
  if (fclose(output) != 0) {
    fputs("the output cannot be written\n", stderr);
    exit(2);
  }
}
