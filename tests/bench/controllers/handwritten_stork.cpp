// The stork's walk as somebody who knows small controllers writes it by hand: a switch, the two sides shared.
// The generated code is held against it. It is frozen: it is not made worse so that the other looks better, nor
// changed after the other was measured. The benchmark first makes sure that both decide the same in every tick.
#include "stork_stepping.h"

#include <stdint.h>

#include "stork_stepping_hooks.h"

#ifndef STORK_STEPPING_WATCH_SAMPLE
#define STORK_STEPPING_WATCH_SAMPLE(s, signal, what)
#define UNWATCHED
#endif

namespace stork_stepping {

static const uint8_t SEEN = 1, LOST = 2, FRESH = 4;

static bool known(const State& s, uint8_t signal) { return (s.seen[signal] & (SEEN | LOST)) == SEEN; }

static bool finite(float x) {
  uint32_t bits;
  __builtin_memcpy(&bits, &x, sizeof bits);
  return (bits & 0x7F800000UL) != 0x7F800000UL;
}

static Phase after(Phase phase) { return static_cast<Phase>(static_cast<uint8_t>(phase) + 1); }

#ifndef UNWATCHED
static bool outside(uint8_t signal, float v) {
  static const float low[signals] = {-45, -45, -60, 0, 0, 9}, high[signals] = {45, 45, 60, 60, 60, 12.6F};
  return (v < low[signal]) || (v > high[signal]);
}
#endif

static void take_samples(State& s, const Inputs& in) {
  for (uint8_t i = 0; i < signals; ++i) {
    s.seen[i] &= SEEN | LOST;
    const uint8_t form = in.fresh[i];
    if (form != not_fresh) {
      float v = in.signal[i];
      bool believed = true;
      if (form == fresh_raw) {
        if ((i == left_knee) || (i == right_knee)) {
          believed = (v >= 20.0F) && (v <= 1003.0F);
          v = v * 0.07905138F - 8.063241F;
        } else {
          v += (i == left_leg_roll) ? -0.6F : 0.0F;
        }
      }
      if (!finite(v)) {
        STORK_STEPPING_WATCH_SAMPLE(s, i, 0);
      } else if (!believed) {
        STORK_STEPPING_WATCH_SAMPLE(s, i, 1);
      } else {
#ifndef UNWATCHED
        if (outside(i, v)) {
          STORK_STEPPING_WATCH_SAMPLE(s, i, 2);
        }
#endif
        s.value[i] = v;
        s.seen[i] = SEEN | FRESH;
        if (i < battery) {
          s.last[i] = in.now;
        }
        continue;
      }
    }
    if ((i < battery) && (in.now - s.last[i] > 100)) {
      s.seen[i] |= LOST;
    }
  }
}

static void hear_remote(State& s, const Inputs& in) {
  if (in.heard) {
    s.remote = SEEN;
    s.last_heard = in.now;
  } else if (in.now - s.last_heard > 500) {
    s.remote |= LOST;
  }
}

// Targets that come from parameters.
static void aim(State& s) {
  if (s.side != 0) {
    const float angle = s.parameter[lean_angle];
    s.target[lean] = (s.side == 1) ? angle : -angle;
  }
  if ((s.lifted & 1) != 0) {
    s.target[left_bend] = s.parameter[lift];
  }
  if ((s.lifted & 2) != 0) {
    s.target[right_bend] = s.parameter[lift];
  }
}

static void lower(State& s) {
  s.lifted = 0;
  s.target[left_bend] = s.target[right_bend] = 0.0F;
}

static void centre(State& s) {
  s.side = 0;
  s.target[lean] = 0.0F;
}

static void enter(State& s, const Inputs& in, Phase to, Cause cause) {
  const Phase from = s.phase;
  s.phase = to;
  s.since = in.now;
  s.samples = s.gathered = 0;
  s.lean_at_entry = s.setpoint[lean];
  switch (to) {
    case Phase::standing:
      centre(s);
      lower(s);
      break;
    case Phase::lean_right:
      s.side = 1;
      break;
    case Phase::lean_left:
      s.side = 2;
      break;
    case Phase::lift_left:
    case Phase::lift_right:
      if (s.counter[0] < 0xFFFF) {
        ++s.counter[0];
      }
      s.pulses = horn;
      s.lifted |= (to == Phase::lift_left) ? 1 : 2;
      break;
    case Phase::lower_left:
      s.lifted &= 2;
      s.target[left_bend] = 0.0F;
      break;
    case Phase::lower_right:
      s.lifted &= 1;
      s.target[right_bend] = 0.0F;
      break;
    case Phase::centre_1:
    case Phase::centre_2:
      centre(s);
      break;
    case Phase::safe:
      lower(s);
      break;
  }
  aim(s);
  on_transition(s, Sequence::walk, static_cast<uint8_t>(from), static_cast<uint8_t>(to), cause);
}

// Both legs within 2 deg of the lean; past it will do, too, if it is only to be reached.
static bool leaning(const State& s, bool past) {
  if (!known(s, left_leg_roll) || !known(s, right_leg_roll)) {
    return false;
  }
  const float to = s.target[lean];
  const float a = s.value[left_leg_roll] - (to + 2.0F), b = s.value[right_leg_roll] - (to - 2.0F);
  const bool rising = past && (to > s.lean_at_entry), falling = past && (to < s.lean_at_entry);
  return (falling || ((a >= -2.0F) && (b >= -2.0F))) && (rising || ((a <= 2.0F) && (b <= 2.0F)));
}

static bool bent(const State& s, uint8_t knee, uint8_t bend) {
  const float e = s.value[knee] - s.target[bend];
  return known(s, knee) && (e >= -3.0F) && (e <= 3.0F);
}

// True for three fresh samples of both signals; a lost one is not waited for.
static bool three(State& s, bool yes, uint8_t one, uint8_t other) {
  if (!yes) {
    s.samples = s.gathered = 0;
    return false;
  }
  if ((s.seen[one] & FRESH) != 0) {
    s.gathered |= 1;
  }
  if ((s.seen[other] & FRESH) != 0) {
    s.gathered |= 2;
  }
  if ((s.gathered == 3) && (s.samples < 3)) {  // none is lost, for then the guard would not be true
    ++s.samples;
    s.gathered = 0;
  }
  return s.samples == 3;
}

static bool may_go(const State& s, const Inputs& in) {
  return ((in.events & go) != 0) && (s.remote == SEEN) && ((in.switches & motors) != 0);
}

static bool must_stop(const State& s, const Inputs& in) {
  if (((in.events & halt) != 0) || ((s.remote & LOST) != 0) || ((s.seen[body_roll] & LOST) != 0)) {
    return true;
  }
  if ((s.remote == SEEN) && ((in.switches & motors) == 0)) {
    return true;
  }
  const float roll = s.value[body_roll];
  return known(s, body_roll) && ((roll < -25.0F) || (roll > 25.0F));
}

static void step(State& s, const Inputs& in) {
  if (must_stop(s, in)) {
    s.samples = s.gathered = 0;
    if (s.phase != Phase::safe) {
      enter(s, in, Phase::safe, by_anywhere);
    }
    return;
  }
  bool fires = false;
  Phase to = after(s.phase);
  uint16_t limit = 5000;
  switch (s.phase) {
    case Phase::standing:
      fires = may_go(s, in);
      limit = 0;
      break;
    case Phase::lean_right:
    case Phase::lean_left:
      fires = three(s, leaning(s, true), left_leg_roll, right_leg_roll);
      break;
    case Phase::lift_left:
    case Phase::lower_left:
      fires = three(s, bent(s, left_knee, left_bend), left_knee, left_knee);
      limit = 3000;
      break;
    case Phase::lift_right:
    case Phase::lower_right:
      fires = three(s, bent(s, right_knee, right_bend), right_knee, right_knee);
      limit = 3000;
      break;
    case Phase::centre_2:
      to = Phase::lean_right;
      fires = three(s, leaning(s, false), left_leg_roll, right_leg_roll);
      break;
    case Phase::centre_1:
      fires = three(s, leaning(s, false), left_leg_roll, right_leg_roll);
      break;
    case Phase::safe:
      fires = may_go(s, in);
      to = Phase::standing;
      limit = 0;
      break;
  }
  if (fires) {
    enter(s, in, to, by_guard);
  } else if ((limit != 0) && (in.now - s.since >= limit)) {
    enter(s, in, Phase::safe, by_timeout);
  }
}

static void ramp(State& s) {
  bool there = true;
  for (uint8_t i = 0; i < setpoints; ++i) {
    const float step = (i == lean) ? 0.16F : 0.6F;
    const float d = s.target[i] - s.setpoint[i];
    if (d > step) {
      s.setpoint[i] += step;
    } else if (d < -step) {
      s.setpoint[i] -= step;
    } else {
      s.setpoint[i] = s.target[i];
      continue;
    }
    if (s.setpoint[i] < s.target[i] || s.setpoint[i] > s.target[i]) {
      there = false;
    }
  }
  if (s.phase != Phase::safe) {
    s.drives = true;
  } else if (there) {
    s.drives = false;
  }
}

// The knee is bent only while the weight is on the other leg.
static RuleState judge(const State& s, uint8_t knee, uint8_t roll, float lean_now) {
  const bool knee_known = known(s, knee), roll_known = known(s, roll);
  if ((knee_known && !(s.value[knee] > 8.0F)) || (roll_known && (lean_now > 8.0F))) {
    return RuleState::kept;
  }
  return (knee_known && roll_known) ? RuleState::broken : RuleState::unjudged;
}

static void start_over(State& s, uint32_t now) {
  for (uint8_t i = 0; i < signals; ++i) {
    s.value[i] = 0.0F;
    s.seen[i] = 0;
    if (i < battery) {
      s.last[i] = now;
    }
  }
  for (uint8_t i = 0; i < setpoints; ++i) {
    s.setpoint[i] = s.target[i] = 0.0F;
  }
  s.side = s.lifted = 0;
  s.counter[0] = 0;
  s.remote = 0;
  s.last_heard = now;
  s.rule[0] = s.rule[1] = RuleState::kept;
  s.drives = true;
  s.stage = 2;
}

void begin(State& s) {
  s.parameter[lean_angle] = 15.0F;
  s.parameter[lift] = 40.0F;
  start_over(s, 0);
  s.phase = Phase::standing;
  s.since = 0;
  s.pulses = 0;
  s.drives = false;
  s.stage = 1;
}

void reset(State& s) {
  if (s.stage != 0) {
    s.stage = 1;
  }
}

bool write_parameter(State& s, Parameter parameter, float value) {
  if (parameter == lean_angle) {
    if (!((value >= 10.0F) && (value <= 19.0F))) {
      return false;
    }
  } else if (!((value >= 20.0F) && (value <= 55.0F))) {
    return false;
  }
  s.parameter[parameter] = value;
  aim(s);
  return true;
}

void tick(State& s, const Inputs& in) {
  if (s.stage == 0) {
    begin(s);
  }
  const bool starts = s.stage == 1;
  if (starts) {
    start_over(s, in.now);
  }
  take_samples(s, in);
  hear_remote(s, in);
  s.pulses = 0;
  if (starts) {
    enter(s, in, Phase::standing, by_reset);
  } else {
    step(s, in);
  }
  ramp(s);
  s.rule[0] = judge(s, left_knee, left_leg_roll, s.value[left_leg_roll]);
  s.rule[1] = judge(s, right_knee, right_leg_roll, -s.value[right_leg_roll]);
}

}  // namespace stork_stepping
