// Lets Python call the measuring of a joint, tick by tick.
#include "joint_test.h"

static bringup::JointTest test;

extern "C" {

void start(float most, float least_move, float span, float low, float high, int tick_ms, int silent_ms, int only_sign) {
  bringup::Joint joint = {most, least_move, span, low, high, static_cast<uint16_t>(tick_ms), static_cast<uint16_t>(silent_ms)};
  test.begin(joint, only_sign != 0);
}

float tick(int fresh, float raw) { return test.tick(fresh != 0, raw); }
int step() { return test.step(); }
void stop() { test.stop(bringup::stopped); }

void found(float* to) {
  const bringup::Found& f = test.found();
  const float all[] = {f.rest, f.noise, f.low_end, f.high_end, f.fall_speed, f.rise_speed, f.fall_duty, f.rise_duty, f.slack, static_cast<float>(f.sign), static_cast<float>(f.complete), static_cast<float>(f.trouble)};
  for (unsigned i = 0; i < sizeof all / sizeof *all; ++i) to[i] = all[i];
}
}
