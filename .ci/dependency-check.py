"""Reads `NAME vVERSION SOURCE|LICENCE` lines and holds them against deny.toml: licences, sources, on request versions."""

import collections
import pathlib
import re
import sys
import tomllib

# Fewer packages than this mean that the list was not made.
FEWEST = 100
WORDS = re.compile(r"[()]|\bAND\b|\bOR\b|(?:(?!\bAND\b|\bOR\b)[^()])+")


def allowed(expression, licences):
    """Whether an SPDX expression can be met with these licences; AND binds before OR. `A/B` is the old way to write OR."""
    tokens = [word.strip() for word in WORDS.findall(expression.replace("/", " OR ")) if word.strip()]

    def alternatives():
        met = conjunction()
        while tokens and tokens[0] == "OR":
            tokens.pop(0)
            met = conjunction() or met
        return met

    def conjunction():
        met = term()
        while tokens and tokens[0] == "AND":
            tokens.pop(0)
            met = term() and met
        return met

    def term():
        word = tokens.pop(0)
        if word != "(":
            return word in licences
        met = alternatives()
        tokens.pop(0)
        return met

    return bool(expression) and alternatives()


def self_check():
    licences = {"MIT", "ISC", "Apache-2.0 WITH LLVM-exception"}
    for expression, expected in [
        ("MIT OR GPL-3.0", True),
        ("GPL-3.0/MIT", True),
        ("MIT AND GPL-3.0", False),
        ("(MIT OR GPL-3.0) AND ISC", True),
        ("GPL-3.0 OR MIT AND ISC", True),
        ("Apache-2.0 WITH LLVM-exception OR GPL-3.0", True),
        ("", False),
    ]:
        assert allowed(expression, licences) == expected, expression


def main():
    self_check()
    rules = tomllib.loads(pathlib.Path("deny.toml").read_text())
    licences = set(rules["licenses"]["allow"])
    skipped = {skip["crate"] for skip in rules["bans"]["skip"]}
    versions = collections.defaultdict(set)
    faults = []
    for line in filter(str.strip, sys.stdin):
        # A package that was listed before is marked by a star.
        package, _, licence = line.strip().removesuffix(" (*)").partition("|")
        name, version, *rest = package.split()
        version = version.removeprefix("v")
        versions[name].add(version)
        if not allowed(licence, licences):
            faults.append(f"{name} {version}: the licence \"{licence}\" is not allowed")
        if any("://" in word for word in rest):
            faults.append(f"{name} {version}: comes from {' '.join(rest)}, not from the registry")
    for name, found in sorted(versions.items()) if "versions" in sys.argv[1:] else []:
        left = sorted(version for version in found if f"{name}@{version}" not in skipped)
        if len(left) > 1:
            faults.append(f"{name}: stands in the versions {', '.join(sorted(found))}")
    for skip in sorted(skipped):
        name, _, version = skip.partition("@")
        if version not in versions[name]:
            faults.append(f"{skip}: is skipped in deny.toml and no longer there")
    count = sum(map(len, versions.values()))
    if count < FEWEST:
        faults.append(f"only {count} packages were listed")
    print("\n".join(faults) or f"{count} packages: as deny.toml says")
    sys.exit(bool(faults))


main()
