// Bad on purpose: shows that the warnings which generated code must not cause are switched on.
#include <stdint.h>

enum Step : uint8_t { first, second, third };

struct Machine {
  uint32_t since;
  float tilt;
  Step step;
  uint8_t count;
};

float widened(float x) { return x * 0.5 + 12.0; }

bool is_same(float x, float y) { return x == y; }

void advance(Machine& m, uint32_t now) {
  int elapsed = now - m.since;
  m.count = m.count + elapsed;
  switch (m.step) {
    case first:
      m.count = 0;
    case second:
      m.count = 1;
      break;
  }
  int left_over;
}
