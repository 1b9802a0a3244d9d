"""How often noise does by chance what the machine did not do: Gaussian noise, independent samples.

The tail of the normal distribution: Q(x) = erfc(x / sqrt 2) / 2 (M. Abramowitz and I. A. Stegun, Handbook of
Mathematical Functions, 1964, 26.2.3 and 7.1.2). The mean wait for N successes in a row, each with
probability p: (1 - p^N) / ((1 - p) p^N) trials (W. Feller, An Introduction to Probability Theory and Its
Applications, vol. 1, XIII.7; cited from memory). Real noise of tilt sensors is not independent from sample
to sample (common practice): these figures are orders of magnitude.
"""

import math

ALLOWED_PER_HOUR = 0.01  # one false trip in 100 hours
MOST_SAMPLES = 50  # nobody wants a longer hold; then the threshold is the trouble
MS_PER_HOUR = 3_600_000


def tail(x: float) -> float:
    """Return the probability that a standard normal number is above x."""
    return 0.5 * math.erfc(x / math.sqrt(2))


def trips_per_hour(
    distance: float, noise: float, period_ms: float, samples: int, after: float | None = None
) -> float:
    """Return how often an hour `samples` in a row lie beyond a threshold `distance` away from the true value.

    distance, noise: in the signal's unit, noise its standard deviation. period_ms: from sample to sample.
    after: the distance that counts from the second sample on, if a release makes it another; below 0 if the
    true value itself is past it.
    """
    again = tail((distance if after is None else after) / noise)
    return tail(distance / noise) * again ** (samples - 1) * MS_PER_HOUR / period_ms


def samples_needed(distance: float, noise: float, period_ms: float, after: float | None = None) -> int | None:
    """Return how many samples in a row bring it under one false trip in 100 hours; None if too many."""
    for samples in range(1, MOST_SAMPLES + 1):
        if trips_per_hour(distance, noise, period_ms, samples, after) <= ALLOWED_PER_HOUR:
            return samples
    return None


def distance_needed(noise: float, period_ms: float) -> float:
    """Return how far a threshold must be for a single sample to trip less than once in 100 hours."""
    near, far = 0.0, 40.0
    for _ in range(60):
        middle = (near + far) / 2
        if trips_per_hour(middle, 1.0, period_ms, 1) > ALLOWED_PER_HOUR:
            near = middle
        else:
            far = middle
    return far * noise


def within(tolerance: float, noise: float) -> float:
    """Return the probability that a sample lies within a tolerance of the true value, either way."""
    return 1.0 - 2.0 * tail(tolerance / noise)


def mean_wait_samples(first: float, samples: int, after: float | None = None) -> float:
    """Return how many samples go by, on average, until `samples` in a row have come out right.

    first: the probability that a sample is right. after: that one is right which comes after a right one, if
    that is another (a comparison with a release is easier to keep true than to make true).

    A Markov chain that counts the right ones in a row: E0 = 1 + first E1 + (1 - first) E0 from none, and
    Ek = 1 + after Ek+1 + (1 - after) E0 from k of them, with nothing left to wait at the end. Solved:
    E0 = (1 / first + S) / after^(N - 1), S = 1 + after + ... + after^(N - 2). With one probability it is the
    formula above.
    """
    kept = first if after is None else after
    success = kept ** (samples - 1)
    if first <= 0.0 or success == 0.0:
        return math.inf
    steps = float(samples - 1) if kept >= 1.0 else (1.0 - success) / (1.0 - kept)
    return (1.0 / first + steps) / success
