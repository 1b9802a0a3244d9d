// Started by gait-sequencer VERSION for the gait comparisons. This file is yours: it is never written again.
//
// It is included by comparisons.cpp only. What you may do here:
// - fill in on_transition below, for a log or a lamp;
// - define COMPARISONS_WATCH_LEAF(s, index, truth, margin) and COMPARISONS_WATCH_SAMPLE(s, signal, what), to see every
//   comparison as it is made and every sample that is bad, disbelieved or outside its span.
#ifndef COMPARISONS_HOOKS_H
#define COMPARISONS_HOOKS_H

#include "comparisons.h"

namespace comparisons {

// Called in the tick in which a sequence enters a phase, also when it enters the same phase again.
// from and to are values of the sequence's phases; cause is by_guard and so on, plus a number.
inline void on_transition(const State& s, Sequence sequence, uint8_t from, uint8_t to, Cause cause) {
  static_cast<void>(s);
  static_cast<void>(sequence);
  static_cast<void>(from);
  static_cast<void>(to);
  static_cast<void>(cause);
}

}  // namespace comparisons

#endif
