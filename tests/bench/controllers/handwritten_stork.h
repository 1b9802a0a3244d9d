// What the hand-written stork shares with the code around it: the same calls as the generated one has.
#ifndef HANDWRITTEN_STORK_H
#define HANDWRITTEN_STORK_H

#include <stdint.h>

namespace stork_stepping {

const uint32_t tick_ms = 10;

enum Signal : uint8_t { left_leg_roll, right_leg_roll, body_roll, left_knee, right_knee, battery, signals };
enum Setpoint : uint8_t { lean, left_bend, right_bend, setpoints };
enum Parameter : uint8_t { lean_angle, lift, parameters };
enum Sample : uint8_t { not_fresh, fresh_raw, fresh_value };
enum class Sequence : uint8_t { walk };
enum class Phase : uint8_t {
  standing, lean_right, lift_left, lower_left, centre_1, lean_left, lift_right, lower_right, centre_2, safe
};
enum class RuleState : uint8_t { kept, unjudged, broken };

typedef uint8_t Events;
const Events go = 1, halt = 2;
typedef uint8_t Switches;
const Switches motors = 1;
typedef uint8_t Pulses;
const Pulses horn = 1;
typedef uint16_t Cause;
const Cause no_change = 0, by_reset = 0x100, by_timeout = 0x200, by_guard = 0x300, by_anywhere = 0x400;

struct Inputs {
  uint32_t now;
  float signal[signals];
  uint8_t fresh[signals];
  Events events;
  Switches switches;
  bool heard;
};

struct State {
  float value[signals];
  float setpoint[setpoints];
  float target[setpoints];
  float lean_at_entry;
  float parameter[parameters];
  uint32_t last[battery];  // the battery cannot be lost
  uint32_t last_heard;
  uint32_t since;
  uint16_t counter[1];
  uint8_t seen[signals];  // bits: 1 seen, 2 lost, 4 fresh
  uint8_t remote;         // bits: 1 heard, 2 lost
  uint8_t side;           // to which the lean goes: 0 none, 1 right, 2 left
  uint8_t lifted;         // bits: 1 left, 2 right
  uint8_t samples, gathered;
  Phase phase;
  RuleState rule[2];
  Pulses pulses;
  bool drives;
  uint8_t stage;  // 0 not begun, 1 to start over, 2 running
};

void begin(State& s);
void reset(State& s);
bool write_parameter(State& s, Parameter parameter, float value);
void tick(State& s, const Inputs& in);

inline Phase current_phase(const State& s) { return s.phase; }
inline bool drives_on(const State& s) { return s.drives; }

}  // namespace stork_stepping

#endif
