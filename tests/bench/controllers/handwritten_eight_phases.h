// What the hand-written eight phases share with the code around them: the same calls as the generated ones have.
#ifndef HANDWRITTEN_EIGHT_PHASES_H
#define HANDWRITTEN_EIGHT_PHASES_H

#include <stdint.h>

namespace eight_phases {

const uint32_t tick_ms = 10;

enum Signal : uint8_t { roll, pitch, left_load, right_load, lift, signals };
enum Sample : uint8_t { not_fresh, fresh_raw, fresh_value };
enum class Sequence : uint8_t { walk };
enum class Phase : uint8_t {
  standing, shift_right, lift_left, lower_left, shift_left, lift_right, lower_right, safe
};

typedef uint8_t Events;
const Events go = 1, halt = 2;
typedef uint16_t Cause;
const Cause no_change = 0, by_reset = 0x100, by_timeout = 0x200, by_guard = 0x300, by_anywhere = 0x400;

struct Inputs {
  uint32_t now;
  float signal[signals];
  uint8_t fresh[signals];
  Events events;
};

struct State {
  float value[signals];
  uint32_t last[2];  // only roll and pitch can be lost
  uint32_t since;
  uint32_t held_since;
  uint8_t seen[signals];  // bits: 1 seen, 2 lost, 4 fresh
  uint8_t held;           // 0 not true, 1 true for a while, 2 for long enough
  Phase phase;
  bool loaded;  // the foot has been found to stand
  bool drives;
  uint8_t stage;  // 0 not begun, 1 to start over, 2 running
};

void begin(State& s);
void reset(State& s);
void tick(State& s, const Inputs& in);

inline Phase current_phase(const State& s) { return s.phase; }
inline bool drives_on(const State& s) { return s.drives; }

}  // namespace eight_phases

#endif
