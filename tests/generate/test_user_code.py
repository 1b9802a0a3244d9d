"""The generated code from its user's side: hooks that are filled in, and a call that was forgotten."""

import re
import subprocess
from pathlib import Path

import pytest
from support.builds import write_files
from support.commands import REPOSITORY
from support.feature_plans import feature_plans
from support.strict import STRICT

from sequencer.build.compilers import compile_object
from sequencer.generate.render import generate
from sequencer.plan.build import load_plan

STORK = REPOSITORY / "examples/stork/stork.gait.yaml"

HOOKS = """
namespace NAMESPACE {
struct Log {
  uint32_t transitions;
  uint32_t margins;
  uint32_t truths;
  uint32_t samples;
  NUMBER least;
};
extern Log noted;
inline void on_transition(const State&, Sequence, uint8_t from, uint8_t to, Cause cause) {
  if ((from != to) && ((cause & 0xFF00U) == by_timeout)) {
    ++noted.transitions;
  }
}
inline void margin(const State&, uint16_t index, uint8_t truth, NUMBER value) {
  if ((truth != 1U) && ((index == 0U) || (value < noted.least))) {
    noted.least = value;
  }
  ++noted.margins;
}
inline void truth_of(const State&, uint16_t, uint8_t truth) { noted.truths += truth; }
inline void sample(const State&, uint8_t signal, uint8_t what) {
  noted.samples += static_cast<uint32_t>(signal) + what;
}
}  // namespace NAMESPACE
#define MACRO_WATCH_MARGIN(s, index, truth, value) margin((s), (index), (truth), (value))
#define MACRO_WATCH_TRUTH(s, index, truth) truth_of((s), (index), (truth))
#define MACRO_WATCH_SAMPLE(s, signal, what) sample((s), (signal), (what))
"""


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_hooks_that_are_filled_in_compile_without_a_warning(command: list[str], tmp_path: Path) -> None:
    # a gait that asks nothing leaves a macro of its user unused
    command = [*(flag for flag in command if flag != "-Wunused-macros"), "-Wno-unused-macros"]
    for plan in [*feature_plans().values(), load_plan(STORK)]:
        files = generate(plan)
        # the loops' files, where there are any, include this one
        header = min((name for name in files if name.endswith(".h") and "_hooks" not in name), key=len)
        (namespace,) = re.findall(r"^namespace (\w+) {", files[header], re.M)
        hooks = HOOKS.replace("NAMESPACE", namespace).replace("MACRO", namespace.upper().rstrip("_"))
        hooks = hooks.replace("NUMBER", "float" if plan.fixed is None else "int32_t")
        (hooks_name,) = (name for name in files if "_hooks" in name)
        files[hooks_name] = f'#ifndef USER_HOOKS\n#define USER_HOOKS\n#include "{header}"\n{hooks}#endif\n'
        write_files(files.items(), tmp_path)
        for source in (name for name in files if name.endswith(".cpp")):
            compile_object(command, tmp_path, source, "out.o")


FORGOTTEN = """
#include <stdio.h>
#include <string.h>
#include "stork_stepping.h"
using namespace stork_stepping;
static State begun, forgotten;
static int same() { return memcmp(&begun, &forgotten, sizeof(State)) == 0; }
int main() {
  Inputs in = {};
  in.now = 123456U;
  begin(begun);
  reset(forgotten);
  printf("%d %d", drives_on(begun), drives_on(forgotten));
  printf(" %d", same());
  for (int i = 0; i < 3; ++i) {
    tick(begun, in);
    tick(forgotten, in);
    in.now += 10U;
    printf(" %d", same());
  }
  printf(" %g %d", static_cast<double>(trimmed(forgotten, parameter_lean_angle)), drives_on(forgotten));
}
"""


def test_a_state_of_zeros_begins_with_its_first_tick(tmp_path: Path) -> None:
    write_files([*generate(load_plan(STORK)).items(), ("main.cpp", FORGOTTEN)], tmp_path)
    call = ["g++", "-std=c++11", "-Wall", "-Wextra", "-Werror", "main.cpp", "stork_stepping.cpp", "-o", "run"]
    subprocess.run(call, cwd=tmp_path, check=True)
    done = subprocess.run(["./run"], cwd=tmp_path, check=True, capture_output=True, text=True)
    # drives are off until the first tick; before it the two differ, from then on in no byte
    assert done.stdout == "0 0 0 1 1 1 15 1"
