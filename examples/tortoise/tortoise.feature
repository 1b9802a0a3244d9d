Feature: What must come out for the garden tortoise
  The tortoise and its recordings are invented. One recording holds a stroll of 12 steps, after which it rests;
  in the other the wire of the tilt sensor comes off.

  Background:
    Given the garden tortoise's files

  Scenario: The walk is sound
    Then the check of "tortoise" finds nothing wrong
    And the walk of "tortoise" runs through by itself
    And the drawing that comes with it is up to date

  Scenario: The recorded stroll ends after 12 steps
    Given the recording "stroll.csv" that comes with it
    When the builder runs it against that recording
    Then the run is fine
    And 12 steps were made
    And no fault is told
    And every guard had at least 1 deg to spare
    And the machine ends in the phase "standing" of its own accord

  Scenario: A tilt sensor that falls silent stops the walk and is named
    Given the recording "wire_off.csv" that comes with it
    When the builder runs it against that recording
    Then the run is fine
    And 4 steps were made
    And a fault or stop says "stopped in safe, anywhere 1: shell_roll was lost"
    And the machine ends in the phase "safe"

  Scenario Outline: The generated code does the same
    Given the recording "<recording>" that comes with it
    When the builder generates code for it
    Then a C++ compiler takes it without a warning
    And the code and the reference agree on every tick of the recording

    Examples:
      | recording    |
      | stroll.csv   |
      | wire_off.csv |
