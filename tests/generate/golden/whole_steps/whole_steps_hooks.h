// Started by gait-sequencer VERSION for the gait whole_steps. This file is yours: it is never written again.
//
// It is included by whole_steps.cpp only. What you may do here:
// - fill in on_transition below, for a log or a lamp;
// - define WHOLE_STEPS_WATCH_MARGIN(s, index, truth, margin), to see every comparison of a guard as it is
//   made: how it came out (0 no, 1 unknown, 2 yes) and how far the value is from the threshold;
// - define WHOLE_STEPS_WATCH_TRUTH(s, index, truth), for the other questions of guards;
// - define WHOLE_STEPS_WATCH_SAMPLE(s, signal, what), to see every sample that is bad (0), disbelieved (1)
//   or outside its span (2).
#ifndef WHOLE_STEPS_HOOKS_H
#define WHOLE_STEPS_HOOKS_H

#include "whole_steps.h"

namespace whole_steps {

// Called in the tick in which a sequence enters a phase, also when it enters the same phase again.
// from and to are values of the sequence's phases; cause is by_guard and so on, plus a number.
inline void on_transition(const State& s, Sequence sequence, uint8_t from, uint8_t to, Cause cause) {
  static_cast<void>(s);
  static_cast<void>(sequence);
  static_cast<void>(from);
  static_cast<void>(to);
  static_cast<void>(cause);
}

}  // namespace whole_steps

#endif
