// Reads the inputs of ticks from a file, runs them through the glue, writes phases, setpoints and outputs to
// another.
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <vector>

#include "glue_under_test.cpp"

template <typename T>
static std::vector<T> read_array(FILE* file, size_t count) {
  std::vector<T> values(count);
  if (fread(values.data(), sizeof(T), count, file) != count) {
    abort();
  }
  return values;
}

int main(int, char** arguments) {
  FILE* file = fopen(arguments[1], "rb");
  if (file == nullptr) {
    return 2;
  }
  const std::vector<int64_t> sizes = read_array<int64_t>(file, 11);
  const size_t n = static_cast<size_t>(sizes[0]);
  const size_t signals = static_cast<size_t>(sizes[1]);
  const size_t writes = static_cast<size_t>(sizes[2]);
  const size_t sequences = static_cast<size_t>(sizes[3]);
  const size_t setpoints = static_cast<size_t>(sizes[4]);
  const size_t counters = static_cast<size_t>(sizes[5]);
  const size_t rules = static_cast<size_t>(sizes[6]);
  const size_t leaves = static_cast<size_t>(sizes[7]);
  const size_t loops = static_cast<size_t>(sizes[8]);
  const size_t outputs = static_cast<size_t>(sizes[9]);

  const auto now = read_array<uint32_t>(file, n);
  const auto raw = read_array<float>(file, n * signals);
  const auto fresh = read_array<uint8_t>(file, n * signals);
  const auto events = read_array<uint32_t>(file, n);
  const auto switches = read_array<uint32_t>(file, n);
  const auto control = read_array<uint8_t>(file, n);
  const auto write_row = read_array<int64_t>(file, writes);
  const auto write_parameter = read_array<uint32_t>(file, writes);
  const auto write_value = read_array<float>(file, writes);
  fclose(file);

  std::vector<uint8_t> phase(n * sequences), rule(n * rules), drives(n), state(n * signals), truth(n * leaves);
  std::vector<uint8_t> output_state(n * outputs), waits(n * sequences);
  std::vector<float> loop(n * loops), output(n * outputs);
  std::vector<uint16_t> cause(n * sequences), counter(n * counters);
  std::vector<float> setpoint(n * setpoints), signal(n * signals), target(n * setpoints), margin(n * leaves);
  std::vector<uint32_t> pulses(n), bad(signals), disbelieved(signals), outside(signals);
  uint32_t refused = 0;

  // of exactly the size that the glue asks for, so that a step over its end is seen
  std::vector<uint64_t> memory((gait_size() + 7) / 8);
  gait_begin(memory.data());
  const struct {
    int64_t ticks;
    int64_t writes;
    const void* arrays[9];
  } block = {static_cast<int64_t>(n),
             static_cast<int64_t>(writes),
             {now.data(), raw.data(), fresh.data(), events.data(), switches.data(), control.data(),
              write_row.data(), write_parameter.data(), write_value.data()}};
  void* const record[] = {phase.data(),    cause.data(),  waits.data(),  setpoint.data(), counter.data(),
                          rule.data(),     drives.data(), pulses.data(),   loop.data(),
                          output.data(),   output_state.data(), bad.data(), disbelieved.data(),
                          outside.data(),  &refused,      signal.data(),   state.data(),
                          target.data(),   truth.data(),  margin.data()};
  gait_run(memory.data(), &block, record);

  FILE* out = fopen(arguments[2], "wb");
  if (out == nullptr) {
    return 2;
  }
  fwrite(phase.data(), 1, phase.size(), out);
  if (!setpoint.empty()) {
    fwrite(setpoint.data(), sizeof(float), setpoint.size(), out);
  }
  if (!output.empty()) {
    fwrite(output.data(), sizeof(float), output.size(), out);
  }
  return fclose(out);
}
