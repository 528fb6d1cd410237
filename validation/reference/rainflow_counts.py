"""Writes rainflow_counts.json: cycle counts of 100 random histories by a general-purpose library.

Half of the histories are temperatures on a grid of half a kelvin (ties and plateaus among them),
half are walks with three decimals. All have three points or more: of two the library counts
nothing, where the standard leaves a half cycle.

    pip install rainflow==3.2.0
    python validation/reference/rainflow_counts.py
"""

import importlib.metadata
import json
import pathlib
import random

import rainflow

random.seed(1049)


def history(number):
    length = random.randint(3, 60)
    if number % 2:
        return [round(2 * random.uniform(20, 90)) / 2 for _ in range(length)]
    values = [random.uniform(20, 90)]
    for _ in range(length - 1):
        values.append(values[-1] + random.gauss(0, 8))
    return [round(value, 3) for value in values]


histories = []
for number in range(100):
    values = history(number)
    # Range and count of each cycle as the library finds them, ranges that are equal together.
    counts = rainflow.count_cycles(values, ndigits=6)
    histories.append({"history": values, "counts": [[r, c] for r, c in counts]})

result = {
    "library": f"rainflow {importlib.metadata.version('rainflow')}",
    "histories": histories,
}
text = json.dumps(result)
text = text.replace('{"history"', '\n{"history"')
pathlib.Path(__file__).with_suffix(".json").write_text(text + "\n")
