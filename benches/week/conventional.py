"""What is usually done with the export of a hold: mass point, its upper limit, and a fit of the conductance.

Usage: conventional.py EXPORT. The versions that were measured stand in requirements.txt. Prints the hourly leak rates and,
last, the peak memory in MB and the processor time in s.
"""

import resource
import sys

try:
    import lmfit
    import numpy as np
    import pandas as pd
    from scipy import integrate, stats
except ImportError as error:
    sys.exit(f"python3 with pandas, scipy and lmfit is not here ({error}); pip install -r benches/week/requirements.txt")

REFERENCE_PA = -500.0


def main():
    table = pd.read_csv(sys.argv[1], parse_dates=["time"])
    seconds = (table["time"] - table["time"].iloc[0]).dt.total_seconds().to_numpy()
    difference = table["dP (Pa)"].to_numpy()
    kelvin = table["Gas temp (°C)"].to_numpy() + 273.15
    room = 100.0 * table["Room pressure (hPa)"].to_numpy()
    amount = (room + difference) / kelvin
    scale = amount[0]

    line = stats.linregress(seconds, amount / scale)
    per_h = 3600.0 * line.slope / line.intercept
    upper = per_h + stats.t.ppf(0.95, len(seconds) - 2) * 3600.0 * line.stderr / line.intercept
    print(f"mass point: {per_h:.3e} 1/h at {difference.mean():.0f} Pa, upper 95 % {upper:.3e} 1/h")

    passed = integrate.cumulative_trapezoid(difference / kelvin, seconds, initial=0.0) / scale

    def residual(parameters):
        return parameters["start"] - parameters["conductance"] * passed - amount / scale

    parameters = lmfit.Parameters()
    parameters.add("start", value=1.0)
    parameters.add("conductance", value=1e-6)
    fit = lmfit.minimize(residual, parameters)
    conductance = fit.params["conductance"]
    to_rate = 3600.0 * abs(REFERENCE_PA) / room[0]
    print(f"conductance: {to_rate * conductance.value:.3e} ± {to_rate * (conductance.stderr or np.nan):.1e} 1/h")

    for name in ["O2 (ppm)", "H2O (ppm)"]:
        content = table[name]
        print(f"{name}: at most {content.max():.3f}, within 1.5 ppm {100.0 * (content <= 1.5).mean():.1f} % of the time")
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(used.ru_maxrss / 1024.0, used.ru_utime + used.ru_stime)


main()
