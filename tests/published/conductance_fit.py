"""The conductance fit once more, with numpy and scipy: reads time, pressure difference, room pressure and temperature
(SI, one row a line) and prints leak conductance over volume in 1/s."""

import sys

try:
    import numpy as np
    from scipy.optimize import least_squares
except ImportError:
    sys.exit(3)

time, difference, room, reading = np.loadtxt(sys.stdin).T
pressure = room + difference
law = difference / pressure
inflow = np.concatenate([[0.0], np.cumsum(0.5 * (law[1:] + law[:-1]) * np.diff(time))])


def lagged(gas, tau, start):
    """First-order lag of an input that is straight between readings."""
    shown = np.empty_like(gas)
    shown[0] = start
    for k in range(1, len(gas)):
        step = time[k] - time[k - 1]
        slope = (gas[k] - gas[k - 1]) / step
        decay = np.exp(-step / tau)
        shown[k] = gas[k] - slope * tau + (shown[k - 1] - gas[k - 1] + slope * tau) * decay
    return shown


def residuals(b):
    gas = (reading[0] + b[0]) * pressure / pressure[0] * np.exp(b[1] * 1e-7 * inflow)
    return (lagged(gas, np.exp(b[2]), gas[0] + b[3]) - reading) / 0.004


fit = least_squares(residuals, [0.0, 0.0, np.log(90.0), 0.0], x_scale=[0.01, 1.0, 0.1, 0.01], method="lm")
print(repr(float(fit.x[1] * 1e-7)))
