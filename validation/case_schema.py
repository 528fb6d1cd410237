"""Holds every demo, and every bad case whose mistake one key shows by itself, against the JSON Schema
of the case file with the general-purpose validator jsonschema.

    python3 -m pip install jsonschema
    sprayside schema > case.schema.json
    python3 validation/case_schema.py case.schema.json

Ends with 0 when all is as it should be. Not needed to build or test the program.
"""

import json
import sys
import tomllib
from pathlib import Path

import jsonschema

BY_THEMSELVES = {"E003", "E004", "E005", "E007", "E008", "E009", "E037"}

root = Path(__file__).parent.parent
schema = json.loads(Path(sys.argv[1]).read_text())
jsonschema.Draft7Validator.check_schema(schema)
validator = jsonschema.Draft7Validator(schema)
faults = 0
good = sorted(root.glob("demo-data/**/*.toml")) + sorted(root.glob("tests/suspicious_cases/*.toml"))
for path in good + [root / "solver/src/case/starter.toml"]:
    for error in validator.iter_errors(tomllib.loads(path.read_text())):
        faults += 1
        print(f"{path}: {error.message[:200]}")
refused = 0
for path in sorted(root.glob("tests/bad_cases/*.toml")):
    text = path.read_text()
    codes = set(text.splitlines()[0].removeprefix("# expects ").split())
    in_a_table = "\ntable = " in text and "\npower_W = " not in text
    # What a key may be depends on what stands beside it there.
    compares = ("[[sensor]]" in text and codes == {"E008"}) or ("[[tolerance]]" in text and codes == {"E007"})
    if not codes <= BY_THEMSELVES or in_a_table or compares:
        continue
    try:
        case = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        continue
    refused += 1
    if validator.is_valid(case):
        faults += 1
        print(f"{path}: keeps to the schema")
print(f"{len(good) + 1} cases keep to the schema, {refused} bad ones do not" if faults == 0 else f"{faults} faults")
sys.exit(faults > 0)
