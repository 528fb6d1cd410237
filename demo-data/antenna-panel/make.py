"""Writes module.toml: 200 amplifier die on a panel of 300 mm by 240 mm, in 20 columns of 10.

Usage: python3 make.py > module.toml
       python3 make.py sprayed > sprayed.toml
       python3 make.py tables > tables.toml     (with dies.csv and nozzles.csv beside it)
"""

import sys

PRESCRIBED = '''[spray]
model = "prescribed"
htc_W_m2K = 5000.0

[[spray.patch]]
over = "amplifier"
htc_W_m2K = 9000.0'''

SPRAYED = '''[spray]
model = "correlated"

[nozzle_type.fine]
cone_deg = 70.0
orifice_mm = 0.20
flow_mL_s = 0.30
pressure_drop_kPa = 200.0

[[nozzle_group]]                        # one over each amplifier
type = "fine"
over = "amplifier"
offsets_mm = [[0.0, 0.0]]
standoff_mm = 9.0'''

# The same nozzles from a table, as a drawing of the cap exports them.
FROM_TABLE = SPRAYED[:SPRAYED.index("[[nozzle_group]]")] + '''[[nozzle]]
table = "nozzles.csv"'''

kind = sys.argv[1] if len(sys.argv) > 1 else "prescribed"
spray = {"prescribed": PRESCRIBED, "sprayed": SPRAYED, "tables": FROM_TABLE}[kind]

print('''# Antenna panel: 200 gallium-nitride amplifiers, one behind each radiator. Invented.
# Written by make.py. 6 W on 0.1 cm2 each, 60 W/cm².

title = "Antenna panel, 200 amplifiers"

[module]
size_mm = [300.0, 240.0]

[[module.layer]]
name = "frame"
material = "aluminium-6061-t6"
thickness_mm = 3.0

[[module.layer]]
name = "joint"
material = "thermal-grease"
thickness_mm = 0.05

[[module.layer]]
name = "ceramic"
material = "aluminium-nitride"
thickness_mm = 0.6

[die_type.amplifier]
size_mm = [4.0, 2.5]
thickness_mm = 0.1
material = "gallium-nitride"
active_face = "up"
attach = { material = "solder-au80sn20", thickness_mm = 0.025 }
limit_C = 150.0

[coolant]
fluid = "perfluorohexane"
inlet_C = 25.0
pressure_kPa = 101.325

SPRAY

[board]
temperature_C = 35.0
htc_W_m2K = 20.0

[mesh]
accuracy_K = 0.5'''.replace("SPRAY", spray))


def die():
    """Name, centre in mm and turn in degrees of every die."""
    for row in range(10):
        for column in range(20):
            # Every second column is turned, as the feeds ask for.
            yield f"A{row:02d}{column:02d}", 7.5 + 15.0 * column, 12.0 + 24.0 * row, column % 2 * 90


if kind == "tables":
    print('\n[[die]]\ntable = "dies.csv"')
    with open("dies.csv", "w") as table:
        table.write("name,type,x,y,turn,power\n-,-,mm,mm,deg,W\n")
        table.writelines(f"{name},amplifier,{x},{y},{turn},6.0\n" for name, x, y, turn in die())
    with open("nozzles.csv", "w") as table:
        table.write("name,type,x,y,standoff\n-,-,mm,mm,mm\n")
        table.writelines(f"{name}-1,fine,{x},{y},9.0\n" for name, x, y, _ in die())
else:
    for name, x, y, turn in die():
        turned = f"\nturn_deg = {turn}" if turn else ""
        print(f'\n[[die]]\nname = "{name}"\ntype = "amplifier"\nat_mm = [{x}, {y}]{turned}\npower_W = 6.0')
