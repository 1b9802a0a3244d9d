// The stork's walk as somebody would write it by hand, over the same arrays and with the same record.
// What the generated code is measured against; the benchmark first makes sure that both give the same bits.
#include <math.h>
#include <stdint.h>

namespace {

enum Signal { LEFT_ROLL, RIGHT_ROLL, BODY_ROLL, LEFT_KNEE, RIGHT_KNEE, BATTERY, SIGNALS };
enum Setpoint { LEAN, LEFT_BEND, RIGHT_BEND, SETPOINTS };
enum Phase : uint8_t {
  STANDING, LEAN_RIGHT, LIFT_LEFT, LOWER_LEFT, CENTRE_1, LEAN_LEFT, LIFT_RIGHT, LOWER_RIGHT, CENTRE_2, SAFE
};

const uint32_t GO = 1, HALT = 2, MOTORS = 1;
const uint16_t RESET = 0x100, TIMEOUT = 0x200, GUARD = 0x300, ANYWHERE = 0x400;
const uint8_t SEEN = 1, LOST = 2, FRESH = 4;

struct Range { float low, high; };
const Range SPAN[SIGNALS] = {{-45, 45}, {-45, 45}, {-60, 60}, {0, 60}, {0, 60}, {9, 12.6f}};
const float GAIN[SIGNALS] = {1, 1, 1, 60.0f / 759, 60.0f / 759, 1};
const float BIAS[SIGNALS] = {-0.6f, 0, 0, -8.063241f, -8.063241f, 0};
const Range TARGETS[SETPOINTS] = {{-20, 20}, {0, 55}, {0, 55}};
const float STEP[SETPOINTS] = {0.16f, 0.6f, 0.6f};

struct Block {
  int64_t ticks, writes;
  const uint32_t* now;
  const float* raw;
  const uint8_t* fresh;
  const uint32_t* events;
  const uint32_t* switches;
  const uint8_t* control;
  const int64_t* write_row;
  const uint32_t* write_parameter;
  const float* write_value;
};

struct Record {
  uint8_t* phase;
  uint16_t* cause;
  uint8_t* waits;
  float* setpoint;
  uint16_t* counter;
  uint8_t* rule;
  uint8_t* drives;
  uint32_t* pulses;
  uint32_t *bad, *disbelieved, *outside, *refused;
  float* signal;
};

struct Stork {
  float value[SIGNALS];
  uint32_t last[SIGNALS];
  uint8_t state[SIGNALS];
  uint32_t bad[SIGNALS], disbelieved[SIGNALS], outside[SIGNALS];
  float setpoint[SETPOINTS], target[SETPOINTS];
  float lean_at_entry, lean_angle, lift;
  uint32_t since, last_heard;
  uint16_t steps;
  Phase phase;
  uint8_t samples, gathered, lean_sign, lifted;
  bool heard, remote_lost, drives, restart, broken[2], unjudged[2], horn;

  bool known(int i) const { return (state[i] & (SEEN | LOST)) == SEEN; }

  void start_over(uint32_t now) {
    for (int i = 0; i < SIGNALS; ++i) {
      value[i] = 0;
      state[i] = 0;
      last[i] = now;
      bad[i] = disbelieved[i] = outside[i] = 0;
    }
    for (int i = 0; i < SETPOINTS; ++i) setpoint[i] = target[i] = 0;
    lean_at_entry = 0;
    steps = 0;
    lean_sign = lifted = 0;
    heard = remote_lost = false;
    last_heard = now;
    drives = true;
  }

  void sample(int i, const float* raw, const uint8_t* fresh, uint32_t now) {
    if (fresh[i]) {
      const bool is_raw = fresh[i] == 1;
      const float v = is_raw ? raw[i] * GAIN[i] + BIAS[i] : raw[i];
      if (!isfinite(v)) {
        ++bad[i];
      } else if (is_raw && (i == LEFT_KNEE || i == RIGHT_KNEE) && (raw[i] < 20 || raw[i] > 1003)) {
        ++disbelieved[i];
      } else {
        if (v < SPAN[i].low || v > SPAN[i].high) ++outside[i];
        value[i] = v;
        state[i] = SEEN | FRESH;
        last[i] = now;
        return;
      }
    }
    state[i] &= SEEN | LOST;
    if (i != BATTERY && now - last[i] > 100) state[i] |= LOST;
  }

  static float clamp(float x, Range r) { return x < r.low ? r.low : x > r.high ? r.high : x; }

  void aim() {
    if (lean_sign == 1) target[LEAN] = clamp(lean_angle, TARGETS[LEAN]);
    if (lean_sign == 2) target[LEAN] = clamp(-lean_angle, TARGETS[LEAN]);
    if (lifted & 1) target[LEFT_BEND] = clamp(lift, TARGETS[LEFT_BEND]);
    if (lifted & 2) target[RIGHT_BEND] = clamp(lift, TARGETS[RIGHT_BEND]);
  }

  void centre() { lean_sign = 0; target[LEAN] = 0; }
  void lower(int side) { lifted &= static_cast<uint8_t>(~side); target[side == 1 ? LEFT_BEND : RIGHT_BEND] = 0; }

  void enter(Phase to, uint32_t now) {
    phase = to;
    since = now;
    samples = gathered = 0;
    lean_at_entry = setpoint[LEAN];
    switch (to) {
      case STANDING: centre(); lower(1); lower(2); break;
      case LEAN_RIGHT: lean_sign = 1; break;
      case LEAN_LEFT: lean_sign = 2; break;
      case LIFT_LEFT:
      case LIFT_RIGHT:
        if (steps < 65535) ++steps;
        horn = true;
        lifted |= to == LIFT_LEFT ? 1 : 2;
        break;
      case LOWER_LEFT: lower(1); break;
      case LOWER_RIGHT: lower(2); break;
      case CENTRE_1:
      case CENTRE_2: centre(); break;
      case SAFE: lower(1); lower(2); break;
    }
    aim();
  }

  bool leaning(bool past) const {
    if (!known(LEFT_ROLL) || !known(RIGHT_ROLL)) return false;
    const float a = value[LEFT_ROLL] - (target[LEAN] + 2), b = value[RIGHT_ROLL] - (target[LEAN] - 2);
    if (past && target[LEAN] > lean_at_entry) return a >= -2 && b >= -2;
    if (past && target[LEAN] < lean_at_entry) return a <= 2 && b <= 2;
    return a >= -2 && a <= 2 && b >= -2 && b <= 2;
  }

  bool bent(int signal, int bend) const {
    const float e = value[signal] - target[bend];
    return known(signal) && e >= -3 && e <= 3;
  }

  // three fresh samples of each, while it is true
  bool three(bool true_now, int a, int b) {
    if (!true_now) {
      samples = gathered = 0;
      return false;
    }
    if (state[a] & FRESH) gathered |= 1;
    if (state[b] & FRESH) gathered |= 2;
    const bool ready = ((state[a] & LOST) || (gathered & 1)) && ((state[b] & LOST) || (gathered & 2));
    if (samples < 3 && ready && !((state[a] & LOST) && (state[b] & LOST))) {
      ++samples;
      gathered = 0;
    }
    return samples >= 3;
  }

  bool go(uint32_t events, uint32_t switches) const {
    return (events & GO) && heard && !remote_lost && (switches & MOTORS);
  }

  uint16_t leave(bool fires, Phase to, uint32_t now, uint32_t after) {
    if (fires) {
      enter(to, now);
      return GUARD;
    }
    if (after && now - since >= after) {
      enter(SAFE, now);
      return TIMEOUT;
    }
    return 0;
  }

  uint16_t step(uint32_t now, uint32_t events, uint32_t switches) {
    const float roll = value[BODY_ROLL];
    if ((events & HALT) || remote_lost || (heard && !(switches & MOTORS)) || (state[BODY_ROLL] & LOST) ||
        (known(BODY_ROLL) && (roll < -25 || roll > 25))) {
      samples = gathered = 0;
      if (phase == SAFE) return 0;
      enter(SAFE, now);
      return ANYWHERE;
    }
    switch (phase) {
      case STANDING: return leave(go(events, switches), LEAN_RIGHT, now, 0);
      case LEAN_RIGHT: return leave(three(leaning(true), LEFT_ROLL, RIGHT_ROLL), LIFT_LEFT, now, 5000);
      case LIFT_LEFT: return leave(three(bent(LEFT_KNEE, LEFT_BEND), LEFT_KNEE, LEFT_KNEE), LOWER_LEFT, now, 3000);
      case LOWER_LEFT: return leave(three(bent(LEFT_KNEE, LEFT_BEND), LEFT_KNEE, LEFT_KNEE), CENTRE_1, now, 3000);
      case CENTRE_1: return leave(three(leaning(false), LEFT_ROLL, RIGHT_ROLL), LEAN_LEFT, now, 5000);
      case LEAN_LEFT: return leave(three(leaning(true), LEFT_ROLL, RIGHT_ROLL), LIFT_RIGHT, now, 5000);
      case LIFT_RIGHT:
        return leave(three(bent(RIGHT_KNEE, RIGHT_BEND), RIGHT_KNEE, RIGHT_KNEE), LOWER_RIGHT, now, 3000);
      case LOWER_RIGHT:
        return leave(three(bent(RIGHT_KNEE, RIGHT_BEND), RIGHT_KNEE, RIGHT_KNEE), CENTRE_2, now, 3000);
      case CENTRE_2: return leave(three(leaning(false), LEFT_ROLL, RIGHT_ROLL), LEAN_RIGHT, now, 5000);
      case SAFE: return leave(go(events, switches), STANDING, now, 0);
    }
    return 0;
  }

  void ramp() {
    for (int i = 0; i < SETPOINTS; ++i) {
      const float d = target[i] - setpoint[i];
      if (d > STEP[i]) setpoint[i] += STEP[i];
      else if (d < -STEP[i]) setpoint[i] -= STEP[i];
      else setpoint[i] = target[i];
    }
  }

  void judge(int rule, int knee, int roll, bool left) {
    const bool bent_known = known(knee), roll_known = known(roll);
    const bool bent_now = bent_known && value[knee] > 8;
    const bool right = roll_known && (left ? value[roll] > 8 : value[roll] < -8);
    broken[rule] = bent_now && roll_known && !right;
    unjudged[rule] = !broken[rule] && !(bent_known && !bent_now) && !right;
  }

  uint16_t tick(const Block& b, int64_t i) {
    const uint32_t now = b.now[i];
    const bool starts = restart;
    restart = false;
    if (starts) start_over(now);
    for (int k = 0; k < SIGNALS; ++k) sample(k, b.raw + i * SIGNALS, b.fresh + i * SIGNALS, now);
    if (b.control[i] & 1) {
      heard = true;
      remote_lost = false;
      last_heard = now;
    } else if (now - last_heard > 500) {
      remote_lost = true;
    }
    horn = false;
    uint16_t cause = RESET;
    if (starts) enter(STANDING, now);
    else cause = step(now, b.events[i], b.switches[i]);
    ramp();
    bool there = true;
    for (int k = 0; k < SETPOINTS; ++k) there = there && setpoint[k] == target[k];
    if (phase != SAFE) drives = true;
    else if (there) drives = false;
    judge(0, LEFT_KNEE, LEFT_ROLL, true);
    judge(1, RIGHT_KNEE, RIGHT_ROLL, false);
    return cause;
  }
};

}  // namespace

extern "C" {

uint64_t by_hand_size() { return sizeof(Stork); }

void by_hand_begin(void* memory) {
  Stork& s = *static_cast<Stork*>(memory);
  s.lean_angle = 15;
  s.lift = 40;
  s.restart = true;
}

void by_hand_reset(void* memory) { static_cast<Stork*>(memory)->restart = true; }

void by_hand_parameters(const void* memory, float* values) {
  values[0] = static_cast<const Stork*>(memory)->lean_angle;
  values[1] = static_cast<const Stork*>(memory)->lift;
}

void by_hand_run(void* memory, const void* block, const void* record) {
  Stork& s = *static_cast<Stork*>(memory);
  const Block& b = *static_cast<const Block*>(block);
  const Record& r = *static_cast<const Record*>(record);
  for (int64_t i = 0; i < b.ticks; ++i) {
    if (b.control[i] & 2) s.restart = true;
    r.cause[i] = s.tick(b, i);
    r.phase[i] = s.phase;
    for (int k = 0; k < SETPOINTS; ++k) r.setpoint[i * SETPOINTS + k] = s.setpoint[k];
    r.counter[i] = s.steps;
    for (int k = 0; k < 2; ++k) r.rule[i * 2 + k] = s.broken[k] ? 2 : s.unjudged[k] ? 1 : 0;
    r.drives[i] = s.drives;
    r.pulses[i] = s.horn;
  }
  for (int k = 0; k < SIGNALS; ++k) {
    r.bad[k] = s.bad[k];
    r.disbelieved[k] = s.disbelieved[k];
    r.outside[k] = s.outside[k];
  }
  *r.refused = 0;
}

}  // extern "C"
