"""A small machine that is wired up, as text, for tests of the wiring; invented."""

from support.gaits import SECTIONS, gait

WIRING = """
    board: mega2560
    console: {baud: 115200, telemetry: 100 ms}
    lines:
      tilts: {port: serial1, baud: 57600, fields: 3}
    remote: {port: serial2, baud: 38400}
    signals:
      left_tilt: {line: tilts, field: 1}
      right_tilt: {line: tilts, field: 2}
      body: {line: tilts, field: 3}
      knee: {analog: A0}
    events: {go: {pin: 22}}
    outputs:
      knee_motor: {pwm: 5, direction: 28}
      horn: {pin: 40, on_for: 200 ms}
    setpoints: {lean: {servo: 33}}
    knobs: {limit: A8}
    enable: {pin: 26, button: 27}
    stop_contact: {pin: 2}
    step: {pin: 30}
    helping: {pin: 31}
    sensor_reset: {pin: 32}
    watchdog: 250 ms
"""
OUTPUTS = "    knee_motor: {slew: 4 /s}\n    horn: {pulse: true}"
SIGNALS = SECTIONS["signals"].replace(
    "knee: {unit: mm, span: [0, 60],",
    "knee: {unit: mm, span: [0, 60], scale: {counts: [100, 900], reads: [0, 60]},",
)


def wired(*changes: tuple[str, str], **sections: str) -> str:
    """Write a gait whose machine is wired up, with pieces of the wiring replaced; each stands in it once."""
    wiring = WIRING.strip("\n")
    for old, new in changes:
        assert wiring.count(old) == 1, old
        wiring = wiring.replace(old, new)
    return gait(**{"signals": SIGNALS, "outputs": f"{OUTPUTS}\n  wiring:\n{wiring}", **sections})
