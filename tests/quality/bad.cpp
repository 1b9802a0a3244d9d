// Bad on purpose, each part in a way that one of the checkers of generated code must complain of. What none of
// them says of this file, none of them would say of generated code either.
#include <stddef.h>
#include <stdint.h>

extern "C" {
void* malloc(size_t size);
void free(void* memory);
}

enum Step : uint8_t { first, second, third };

struct Machine {
  uint32_t since;
  float tilt;
  Step step;
  uint8_t count;
};

// -- for the compilers' warnings --------------------------------------------------------------------------

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

// -- for cppcheck: the shift is only wrong where int has 16 bits, which the platform says ------------------

int32_t ticks_of(uint8_t hours) { return hours + (1 << 20); }

uint8_t past_the_end() {
  const uint8_t steps[3] = {1, 2, 3};
  return steps[3];
}

uint8_t never_set() {
  uint8_t count;
  return count;
}

// -- for clang-tidy: bugprone, cert, the analyzer, and what the ten rules forbid ---------------------------

float halves(int ticks) { return ticks / 2; }

bool is_fresh(const Machine& m) { return (m.since > 5U) && (m.since > 5U); }

float climb() {
  float sum = 0.0F;
  for (float x = 0.0F; x < 1.0F; x += 0.1F) {
    sum += x;
  }
  return sum;
}

float tilt_of_nothing(bool there) {
  const Machine* m = nullptr;
  if (there) {
    return 0.0F;
  }
  return m->tilt;
}

uint32_t again(uint32_t depth) { return (depth == 0U) ? 0U : again(depth - 1U) + 1U; }

uint8_t jump(uint8_t step) {
  if (step > 3U) {
    goto out;
  }
  ++step;
out:
  return step;
}

void* from_the_heap() { return malloc(4); }

// -- for the sanitizers: each is run on its own -----------------------------------------------------------

#ifdef WITH_MAIN
int main(int count, char** arguments) {
  const int what = (count > 1) ? arguments[1][0] - '0' : 0;
  volatile int32_t large = INT32_MAX;
  volatile uint8_t steps[4] = {0, 1, 2, 3};
  volatile float nothing = 0.0F;
  volatile uint8_t* gone = static_cast<uint8_t*>(malloc(4));
  switch (what) {
    case 1: large = large + 1; break;
    case 2: return steps[4 + (large & 1)];
    case 3: nothing = 1.0F / nothing; break;
    case 4: free(const_cast<uint8_t*>(gone)); return gone[1];
    default: break;
  }
  free(const_cast<uint8_t*>(gone));
  return 0;
}
#endif
