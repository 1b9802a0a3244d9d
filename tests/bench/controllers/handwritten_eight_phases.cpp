// Eight phases as somebody who knows small controllers writes them by hand: a switch, the two sides shared.
// The generated code is held against it. It is frozen: it is not made worse so that the other looks better, nor
// changed after the other was measured. The benchmark first makes sure that both decide the same in every tick.
#include "eight_phases.h"

#include <stdint.h>

#include "eight_phases_hooks.h"

#ifndef EIGHT_PHASES_WATCH_SAMPLE
#define EIGHT_PHASES_WATCH_SAMPLE(s, signal, what)
#define UNWATCHED
#endif

namespace eight_phases {

static const uint8_t SEEN = 1, LOST = 2, FRESH = 4;

static bool known(const State& s, uint8_t signal) { return (s.seen[signal] & (SEEN | LOST)) == SEEN; }

static bool finite(float x) {
  uint32_t bits;
  __builtin_memcpy(&bits, &x, sizeof bits);
  return (bits & 0x7F800000UL) != 0x7F800000UL;
}

static void take_samples(State& s, const Inputs& in) {
  for (uint8_t i = 0; i < signals; ++i) {
    s.seen[i] &= SEEN | LOST;
    if (in.fresh[i] != not_fresh) {
      float v = in.signal[i];
      if (in.fresh[i] == fresh_raw) {
        v += 0.0F;  // no minus nothing
      }
      if (finite(v)) {
#ifndef UNWATCHED
        static const float low[signals] = {-30, -30, 0, 0, 0}, high[signals] = {30, 30, 80, 80, 60};
        if ((v < low[i]) || (v > high[i])) {
          EIGHT_PHASES_WATCH_SAMPLE(s, i, 2);
        }
#endif
        s.value[i] = v;
        s.seen[i] = SEEN | FRESH;
        if (i <= pitch) {
          s.last[i] = in.now;
        }
        continue;
      }
      EIGHT_PHASES_WATCH_SAMPLE(s, i, 0);
    }
    if ((i <= pitch) && (in.now - s.last[i] > 200)) {
      s.seen[i] |= LOST;
    }
  }
}

static bool held(State& s, bool yes, uint32_t now, uint8_t ms) {
  if (!yes) {
    s.held = 0;
    return false;
  }
  if (s.held == 0) {
    s.held = 1;
    s.held_since = now;
  }
  if (now - s.held_since >= ms) {
    s.held = 2;
  }
  return s.held == 2;
}

static void enter(State& s, uint32_t now, Phase to, Cause cause) {
  const Phase from = s.phase;
  s.phase = to;
  s.since = now;
  s.held = 0;
  s.loaded = false;
  on_transition(s, Sequence::walk, static_cast<uint8_t>(from), static_cast<uint8_t>(to), cause);
}

// The weight is where `tilt`, positive then, says, and the other foot carries next to nothing.
static bool shifted(const State& s, float tilt, uint8_t load) {
  return known(s, roll) && (tilt >= 8.0F) && known(s, load) && (s.value[load] < 6.0F);
}

static bool stands(State& s, uint8_t load) {
  s.loaded = known(s, load) && (s.value[load] > (s.loaded ? 10.0F : 12.0F));
  return s.loaded;
}

static bool must_stop(const State& s, const Inputs& in) {
  return ((in.events & halt) != 0) || ((s.seen[roll] & LOST) != 0) ||
         (known(s, pitch) && ((s.value[pitch] < -15.0F) || (s.value[pitch] > 15.0F)));
}

static void step(State& s, const Inputs& in) {
  if (must_stop(s, in)) {
    if (s.phase != Phase::safe) {
      enter(s, in.now, Phase::safe, by_anywhere);
    }
    return;
  }
  // to the right counts as positive in the first half of the walk, to the left in the second
  const bool right = s.phase < Phase::shift_left;
  const float tilt = right ? s.value[roll] : -s.value[roll];
  const uint8_t load = right ? left_load : right_load;
  bool fires = false, fallen = false;
  uint16_t limit = 2000;
  Phase to = static_cast<Phase>(static_cast<uint8_t>(s.phase) + 1);
  switch (s.phase) {
    case Phase::standing:
      fires = (in.events & go) != 0;
      limit = 0;
      break;
    case Phase::shift_right:
    case Phase::shift_left:
      fires = held(s, shifted(s, tilt, load), in.now, 40);
      limit = 4000;
      break;
    case Phase::lift_left:
    case Phase::lift_right:
      fires = held(s, known(s, lift) && (s.value[lift] >= 30.0F), in.now, 20);
      fallen = known(s, roll) && (tilt < 4.0F);
      break;
    case Phase::lower_right:
      to = Phase::shift_right;
      fires = held(s, stands(s, load), in.now, 40);
      break;
    case Phase::lower_left:
      fires = held(s, stands(s, load), in.now, 40);
      break;
    case Phase::safe: {
      const float now = s.value[roll];
      fires = ((in.events & go) != 0) && known(s, roll) && (now >= -3.0F) && (now <= 3.0F);
      to = Phase::standing;
      limit = 0;
      break;
    }
  }
  if (fires) {
    enter(s, in.now, to, by_guard);
  } else if (fallen) {
    enter(s, in.now, Phase::safe, by_guard + 1);
  } else if ((limit != 0) && (in.now - s.since >= limit)) {
    enter(s, in.now, Phase::safe, by_timeout);
  }
}

static void start_over(State& s, uint32_t now) {
  for (uint8_t i = 0; i < signals; ++i) {
    s.value[i] = 0.0F;
    s.seen[i] = 0;
  }
  s.last[roll] = s.last[pitch] = now;
  s.drives = true;
  s.stage = 2;
}

void begin(State& s) {
  start_over(s, 0);
  s.phase = Phase::standing;
  s.since = 0;
  s.drives = false;
  s.stage = 1;
}

void reset(State& s) {
  if (s.stage != 0) {
    s.stage = 1;
  }
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
  if (starts) {
    enter(s, in.now, Phase::standing, by_reset);
  } else {
    step(s, in);
  }
  s.drives = s.phase != Phase::safe;
}

}  // namespace eight_phases
