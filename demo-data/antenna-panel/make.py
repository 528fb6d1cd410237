"""Writes module.toml: 200 amplifier die on a panel of 300 mm by 240 mm, in 20 columns of 10.

Usage: python3 make.py > module.toml
       python3 make.py sprayed > sprayed.toml
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

spray = SPRAYED if sys.argv[1:] == ["sprayed"] else PRESCRIBED

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
for row in range(10):
    for column in range(20):
        x, y = 7.5 + 15.0 * column, 12.0 + 24.0 * row
        # Every second column is turned, as the feeds ask for.
        turn = "\nturn_deg = 90" if column % 2 else ""
        print(f'\n[[die]]\nname = "A{row:02d}{column:02d}"\ntype = "amplifier"\nat_mm = [{x}, {y}]{turn}\npower_W = 6.0')
