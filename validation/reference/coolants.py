"""Writes coolants.json: saturated coolants by general-purpose property libraries.

Temperatures lie between the rows of the built-in tables, so that their interpolation is checked
too. Equations of state by CoolProp; transport properties by CoolProp where it has them, else by
thermo; water a second time by the independent IAPWS-IF97 of the package iapws.

    pip install CoolProp==8.0.0 thermo==0.6.1 iapws==1.5.5
    python validation/reference/coolants.py
"""

import json
import pathlib

import CoolProp
import CoolProp.CoolProp as cp
import iapws
import thermo
from thermo import SurfaceTension, ThermalConductivityLiquid, ViscosityLiquid

ZERO_C = 273.15
FLUIDS = {
    # name in the case file: CAS number, temperatures in C, whether CoolProp has the transport
    "perfluorohexane": ("355-42-0", [-22, 5, 18, 33, 48, 63, 78, 93, 108], False),
    "FK-5-1-12": ("756-13-8", [-22, 5, 18, 33, 45, 57, 72, 88, 103], False),
    "water": ("7732-18-5", [6, 15, 30, 50, 70, 90, 110, 130, 150], True),
    "methanol": ("67-56-1", [-2, 12, 30, 52, 72, 90], True),
    "R-134a": ("811-97-2", [-33, -18, -5, 5, 18, 33, 45, 55, 65], True),
}


def by_coolprop(cas, celsius, transport):
    kelvin = celsius + ZERO_C

    def get(key, quality=0):
        return cp.PropsSI(key, "T", kelvin, "Q", quality, cas)

    if transport:
        conductivity, viscosity, tension = get("L"), get("V"), get("I")
    else:
        conductivity = ThermalConductivityLiquid(CASRN=cas).T_dependent_property(kelvin)
        viscosity = ViscosityLiquid(CASRN=cas).T_dependent_property(kelvin)
        tension = SurfaceTension(CASRN=cas).T_dependent_property(kelvin)
    return [
        kelvin,
        get("P"),
        get("D"),
        get("D", 1),
        get("H", 1) - get("H"),
        get("C"),
        conductivity,
        viscosity,
        tension,
    ]


def by_if97(celsius):
    kelvin = celsius + ZERO_C
    liquid, vapour = iapws.IAPWS97(T=kelvin, x=0), iapws.IAPWS97(T=kelvin, x=1)
    return [
        kelvin,
        liquid.P * 1e6,
        liquid.rho,
        vapour.rho,
        (vapour.h - liquid.h) * 1e3,
        liquid.cp * 1e3,
        liquid.k,
        liquid.mu,
        liquid.sigma,
    ]


def main():
    sets = []
    for name, (cas, temperatures, transport) in FLUIDS.items():
        library = f"CoolProp {CoolProp.__version__}"
        if not transport:
            library += f" and thermo {thermo.__version__}"
        rows = [by_coolprop(cas, t, transport) for t in temperatures]
        sets.append({"fluid": name, "library": library, "rows": rows})
    rows = [by_if97(t) for t in FLUIDS["water"][1]]
    sets.append({"fluid": "water", "library": f"iapws {iapws.__version__}", "rows": rows})
    columns = [
        "temperature_K",
        "pressure_Pa",
        "density_liquid_kg_m3",
        "density_vapour_kg_m3",
        "latent_heat_J_kg",
        "specific_heat_J_kgK",
        "conductivity_W_mK",
        "viscosity_Pa_s",
        "surface_tension_N_m",
    ]
    text = json.dumps({"columns": columns, "sets": sets}, indent=1)
    pathlib.Path(__file__).with_suffix(".json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
