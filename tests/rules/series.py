"""Series whose truth is known, for the tests of what is found in them."""

import math

import numpy as np


def autoregressive(rng: np.random.Generator, phi: float, n: int) -> np.ndarray:
    """An AR(1) series around 0 with a standard deviation of 1."""
    noise, x = rng.standard_normal(n), np.empty(n)
    x[0] = noise[0]
    for i in range(1, n):
        x[i] = phi * x[i - 1] + math.sqrt(1 - phi * phi) * noise[i]
    return x
