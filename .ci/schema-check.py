"""Holds JSON files against the published schemas, and proves on damaged copies that the schemas are strict.

Usage: schema-check.py FOLDER
"""

import copy
import json
import pathlib
import sys

from jsonschema import Draft202012Validator

FORMATS = pathlib.Path("notebooks-free-docs/formats")
# Fewer files than this mean that the tests did not keep theirs.
FEWEST = 20
# Places of a result and what must not be accepted there.
DAMAGE = [
    (["overall"], "perhaps"),
    (["tests", 0, "rows_used"], "many"),
    (["tests", 0, "results", "hourly_leak_rate", "interval95"], [1.0]),
    (["tests", 0, "results", "hourly_leak_rate", "kind"], "guess"),
    (["tests", 0, "validity", 0, "consequence"], None),
    (["verdicts", 0, "verdict"], "PASS"),
]


def validator_of(name):
    schema = json.loads((FORMATS / f"{name.replace('/', '-')}.schema.json").read_text())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def damaged(value):
    for place, wrong in DAMAGE:
        changed = copy.deepcopy(value)
        inner = changed
        try:
            for key in place[:-1]:
                inner = inner[key]
            if place[-1] not in inner:
                continue
        except (KeyError, IndexError):
            continue
        inner[place[-1]] = wrong
        yield place, changed


def main():
    files = sorted(pathlib.Path(sys.argv[1]).glob("*.json"))
    problems, refused = [], set()
    for file in files:
        value = json.loads(file.read_text())
        validator = validator_of(value["schema"])
        problems += [f"{file.name}: {error.json_path}: {error.message[:200]}" for error in validator.iter_errors(value)]
        for place, changed in damaged(value):
            if validator.is_valid(changed):
                problems.append(f"{file.name}: a wrong value at {place} is accepted")
            refused.add(str(place))
    if len(files) < FEWEST:
        problems.append(f"only {len(files)} files: did the tests keep their JSON?")
    if len(refused) < len(DAMAGE):
        problems.append(f"only {len(refused)} of {len(DAMAGE)} kinds of damage were tried")
    print(f"{len(files)} files meet their schemas" if not problems else "\n".join(problems))
    sys.exit(1 if problems else 0)


if __name__ == "__main__":
    main()
