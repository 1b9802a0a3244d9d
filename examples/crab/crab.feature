Feature: What must come out for the beach crab
  The crab and its recordings are invented. One recording goes well; in the other the right front foot never
  rises past 9 mm, so that the walk must stop with all four feet on the ground.

  Background:
    Given the beach crab's files

  Scenario: The walk is sound
    Then the check of "crab" finds nothing wrong
    And the walk of "crab" runs through by itself
    And the drawing that comes with it is up to date

  Scenario: The recorded crawl goes through, one foot at a time
    Given the recording "crawl.csv" that comes with it
    When the builder runs it against that recording
    Then the run is fine
    And 13 steps were made
    And no fault is told
    And each leg lifts its foot in turn
    And no two of the legs "lf rh rf lh" are ever in the air together
    And the last line begins with "made 13 steps (steps: lf 4, rh 3, rf 3, lh 3) in 20.0 s"

  Scenario: Where one foot is caught, all legs stop
    Given the recording "foot_caught.csv" that comes with it
    When the builder runs it against that recording
    Then the run has failed
    And 3 steps were made
    And a fault or stop says "rf: raise timed out after 3.0 s: guard 1 waited for rf_height to be within 2 mm of 18 mm"
    And a fault or stop says "rule where rf stops, all stop was broken for 10 ms: rf was in safe"
    And the machine ends in the phase "safe"

  Scenario Outline: The generated code does the same
    Given the recording "<recording>" that comes with it
    When the builder generates code for it
    Then a C++ compiler takes it without a warning
    And the code and the reference agree on every tick of the recording

    Examples:
      | recording       |
      | crawl.csv       |
      | foot_caught.csv |
