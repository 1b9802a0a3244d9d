Feature: From a walk written down to code that does the same
  A builder has a machine with joints, tilt sensors and a small controller. The walk is written in YAML, never
  in a stopwatch's time. Before power-on the builder wants to know what is wrong with it, see it, run it dry,
  find a foot that does not do its part, and get code for the controller that does exactly what was run.

  Background:
    Given an empty folder

  Scenario: Begin with nothing
    When the builder asks what lies here
    Then the answer names the command "sequencer new NAME"
    When the builder starts a machine called "heron" with 2 legs
    Then there is a machine file and a gait file for "heron"
    And the check of "heron" finds nothing wrong
    And the walk of "heron" runs through by itself

  Scenario Outline: Any number of legs is a start
    When the builder starts a machine called "crab" with <legs> legs
    Then the check of "crab" finds nothing wrong
    And the walk of "crab" runs through by itself

    Examples:
      | legs |
      | 3    |
      | 4    |
      | 6    |

  Scenario: Be told what is wrong
    Given the parade stork's files
    When the builder writes "valeu: 40, span" where "value: 40, span" stood
    And checks the stork
    Then the answer is an error at the line where "valeu: 40, span" stands
    And the answer speaks of "value"

  Scenario: Be told that a phase waits for what can't happen
    Given the parade stork's files
    When the builder writes "{to: lower_left, when: {signal: left_knee, above: 61 mm}}" where this stood:
      """
      {to: lower_left, when: {at_target: left_bend, tolerance: 3 mm}, hold: 3 samples}
      """
    And checks the stork
    Then the answer is an error at the line where "above: 61 mm" stands
    And the finding's code can be explained

  Scenario: Be told of units that do not fit
    Given the parade stork's files
    When the builder writes "lift: {unit: deg" where "lift: {unit: mm" stood
    And checks the stork
    Then the answer speaks of "deg"
    And the answer speaks of "mm"

  Scenario: See the walk
    Given the parade stork's files
    When the builder draws the stork
    Then there is a picture that shows every phase of the stork

  Scenario: Run the walk dry
    Given the parade stork's files
    When the builder runs the stork dry for "30s"
    Then the run is fine
    And the last line tells the steps made and the tightest guard

  Scenario: Find the foot that does not do its part
    Given the parade stork's files
    And a recording in which the right leg never gets past -11.4 degrees
    When the builder runs it against that recording
    Then the run has failed
    And the fault names the phase "lean_left" and the sensor "right_leg_roll"
    And it says how long it waited, the best value and what was missing

  Scenario: A signal that falls silent stops the machine
    Given the parade stork's files
    And a recording in which "body_roll" falls silent after 3 seconds
    When the builder runs it against that recording
    Then the machine ends in the phase "safe"

  Scenario: Trim a number and go again
    Given the parade stork's files
    And a recording in which the right leg never gets past -11.4 degrees
    When the builder writes "value: 10, span" where "value: 15, span" stood
    And the builder runs it against that recording
    Then "lean_left" is left by its guard

  Scenario: Get code that behaves the same
    Given the parade stork's files
    And a recording of 20 seconds
    When the builder generates code for it
    Then a C++ compiler takes it without a warning
    And generating again gives the same bytes
    And the code and the reference agree on every tick of the recording

  Scenario: Keep one's own work
    Given the parade stork's files
    When the builder generates code for it
    And writes own lines into the hooks
    And the builder generates code for it
    Then the own lines are still there
