"""Clean-ups of a simulation that shares nothing with the program, through the program.

Usage: clean-up.py PROGRAM [--exports N] [--seed S] [--loading SHARE]

Writes exports of single doses with known time constant and floor, has `PROGRAM qualify` evaluate each, and says how often the
intervals held the truth. SHARE of the exports is of a purifier that takes up less at high content. Needs nothing but Python.
"""

import argparse
import json
import math
import pathlib
import random
import subprocess
import tempfile

PLAN = """tightfit = 1
[enclosure]
id = "simulated"
volume = {{ value = "1 m3", uncertainty = "2 %" }}
gas = "nitrogen"
[instruments.analyser]
resolution = "{step} ppm"
uncertainty = "0.001 ppm"
calibrated = 2026-01-01
due = 2027-01-01
stays_on = true
{response}
[[test]]
id = "dose"
method = "clean-up"
files = ["dose.csv"]
[test.columns]
oxygen = {{ column = "O2", unit = "ppm", instrument = "analyser" }}
"""


def drawn(rng, loaded):
    """What happens in one export; times in s, contents in ppm."""
    tau = math.exp(rng.uniform(math.log(180), math.log(2400)))
    lag = math.exp(rng.uniform(math.log(3), math.log(60)))
    dose = math.exp(rng.uniform(math.log(20), math.log(300)))
    return {
        "tau": tau,
        "lag": lag,
        "stated": lag * math.exp(0.1 * rng.gauss(0, 1)) if rng.random() < 0.7 else None,
        "dose": dose,
        "feed": rng.choice([0.0, rng.uniform(5, 240)]),
        "half": dose / rng.uniform(0.1, 0.8) if loaded else math.inf,
        "floor": math.exp(rng.uniform(math.log(0.05), math.log(3))),
        "every": rng.choice([2, 5, 10, 30]),
        "step": rng.choice([0.001, 0.01, 0.1]),
        "noise": math.exp(rng.uniform(math.log(0.005), math.log(0.1))),
        "relative": rng.uniform(0.001, 0.01),
        "wander": rng.choice([0, 0, rng.uniform(0.01, 0.1)]),
        "memory": rng.uniform(60, 900),
        "length": rng.uniform(4, 9) * tau,
        "before": 0.0 if rng.random() < 0.2 else rng.uniform(120, 600),
    }


def readings(rng, case):
    """Runge-Kutta of gas and analyser, in steps that divide the time between readings."""
    start, end = case["before"], case["before"] + case["length"]
    substeps = math.ceil(case["every"] / min(1.0, case["lag"] / 5))
    step = case["every"] / substeps

    def rates(time, gas, shown):
        fed = case["dose"] / case["feed"] if case["feed"] > 0 and start <= time < start + case["feed"] else 0.0
        removed = gas / case["tau"] / (1 + gas / case["half"])
        return fed - removed, (gas - shown) / case["lag"]

    gas = shown = wander = 0.0
    wander = case["wander"] * rng.gauss(0, 1)
    dosed = case["feed"] > 0
    time, rows = 0.0, []
    kept = math.exp(-case["every"] / case["memory"])
    while time < end:
        content = case["floor"] + shown
        wander = kept * wander + math.sqrt(1 - kept * kept) * case["wander"] * rng.gauss(0, 1)
        read = content + wander + math.hypot(case["noise"], case["relative"] * content) * rng.gauss(0, 1)
        rows.append((time, round(read / case["step"]) * case["step"]))
        for _ in range(substeps):
            if not dosed and time >= start:
                gas, dosed = gas + case["dose"], True
            k1 = rates(time, gas, shown)
            k2 = rates(time + step / 2, gas + step / 2 * k1[0], shown + step / 2 * k1[1])
            k3 = rates(time + step / 2, gas + step / 2 * k2[0], shown + step / 2 * k2[1])
            k4 = rates(time + step, gas + step * k3[0], shown + step * k3[1])
            gas += step / 6 * (k1[0] + 2 * k2[0] + 2 * k3[0] + k4[0])
            shown += step / 6 * (k1[1] + 2 * k2[1] + 2 * k3[1] + k4[1])
            time += step
    return rows


def qualified(program, case, rows, folder):
    clock = lambda t: f"2026-05-04T{int(t // 3600):02}:{int(t % 3600 // 60):02}:{t % 60:06.3f}Z"
    lines = [f"{clock(time)},{value:.3f}" for time, value in rows]
    (folder / "dose.csv").write_text("time,O2\n" + "\n".join(lines) + "\n")
    response = f'response = "t90 {case["stated"] * math.log(10):.2f} s"' if case["stated"] else ""
    (folder / "plan.toml").write_text(PLAN.format(step=case["step"], response=response))
    run = subprocess.run([program, "qualify", folder / "plan.toml", "--format", "json"], capture_output=True, text=True)
    if not run.stdout.strip():
        return None, run.stderr.strip()
    results = json.loads(run.stdout)["tests"][0]["results"]
    return results, run.stderr.strip()


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("program")
    parser.add_argument("--exports", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--loading", type=float, default=0.0)
    arguments = parser.parse_args()
    held = {"time_constant": [], "floor": []}
    widths, failed = [], 0
    for seed in range(arguments.seed, arguments.seed + arguments.exports):
        rng = random.Random(seed)
        case = drawn(rng, rng.random() < arguments.loading)
        with tempfile.TemporaryDirectory() as folder:
            results, said = qualified(arguments.program, case, readings(rng, case), pathlib.Path(folder))
        if not results or "time_constant" not in results:
            failed += 1
            print(f"{seed}: no result: {said[:200]}")
            continue
        for quantity, truth in [("time_constant", case["tau"]), ("floor", case["floor"])]:
            low, high = (math.inf * sign if end is None else end for end, sign in zip(results[quantity]["interval95"], [-1, 1]))
            held[quantity].append(low <= truth <= high)
            if quantity == "time_constant":
                widths.append((high - low) / 2 / truth)
                if not held[quantity][-1]:
                    value = results[quantity]["value"]
                    load = "" if math.isinf(case["half"]) else f", load {case['dose'] / case['half']:.2f}"
                    print(f"{seed}: {truth:.1f} s, found {value:.1f} ({low:.1f} to {high:.1f}); lag {case['lag']:.0f} s{load}")
    for quantity, inside in held.items():
        share = sum(inside) / max(len(inside), 1)
        error = math.sqrt(max(share * (1 - share), 1e-4) / max(len(inside), 1))
        print(f"{quantity}: interval held the truth in {100 * share:.1f} % of {len(inside)} (standard error {100 * error:.1f})")
    widths.sort()
    print(f"half-width of the time constant's interval: median {100 * widths[len(widths) // 2]:.2f} %; no result: {failed}")


main()
