"""Physical constants and unit factors (SI)."""

import math

MU_0 = 1.25663706127e-6  # vacuum permeability, N/A^2, CODATA 2022
EPSILON_0 = 8.8541878188e-12  # vacuum permittivity, F/m, CODATA 2022

TWO_PI = 2.0 * math.pi

MM_PER_M = 1000.0
MA_PER_A = 1000.0
M_PER_KM = 1000.0
F_PER_NF = 1e-9

FREQUENCY_MIN_HZ = 50.0  # below it the tone is mains current; the method was checked from 500 Hz
FREQUENCY_MAX_HZ = 200_000.0  # above it the quasi-static kernels no longer hold
