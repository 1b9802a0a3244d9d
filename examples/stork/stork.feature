Feature: What must come out for the parade stork
  The stork and its recordings are invented. One recording goes well; in the other the left leg never tilts
  far enough to the left, so the right foot stays on the ground.

  Background:
    Given the parade stork's files

  Scenario: The walk is sound
    Then the check of "stork" finds nothing wrong
    And the walk of "stork" runs through by itself

  Scenario: The recorded walk goes through
    Given the recording "walk.csv" that comes with it
    When the builder runs it against that recording
    Then the run is fine
    And 9 steps were made
    And no fault is told
    And every guard had at least 1 deg to spare

  Scenario: The foot that stays down is found
    Given the recording "foot_stuck.csv" that comes with it
    When the builder runs it against that recording
    Then the run has failed
    And 1 steps were made
    And the fault names the phase "lean_left" and the sensor "left_leg_roll"
    And it says how long it waited, the best value and what was missing
    And the best value was between -10 and -9.2 degrees
    And the machine ends in the phase "safe"

  Scenario Outline: The generated code does the same
    Given the recording "<recording>" that comes with it
    When the builder generates code for it
    Then a C++ compiler takes it without a warning
    And the code and the reference agree on every tick of the recording

    Examples:
      | recording      |
      | walk.csv       |
      | foot_stuck.csv |
