"""Modules for the reference libraries: substrate layers, die islands, sources, patches.

Invented geometries, in SI units. The same description is written into the JSON files beside
the answers, and the Rust side builds its module from it: one definition, two solvers.
"""

import numpy as np

MM = 1e-3


def rect(x0, y0, width, height):
    return [x0 * MM, y0 * MM, (x0 + width) * MM, (y0 + height) * MM]


def layer(thickness_mm, kx, ky=None, kz=None):
    return {
        "thickness_m": thickness_mm * MM,
        "conductivity_W_mK": [kx, kx if ky is None else ky, kx if kz is None else kz],
    }


CASES = [
    {
        "name": "flip-chip die on ceramic",
        "size_m": [24 * MM, 18 * MM],
        "layers": [layer(1.2, 22.0)],
        "die": [
            {
                "rect_m": rect(7, 5, 9, 7),
                "body": layer(0.6, 130.0),
                "attach": layer(0.08, 1.2, 1.2, 8.0),
                "active_face": "down",
                "power_W": 45.0,
                "blocks": [],
            }
        ],
        "heaters": [],
        "htc_below_W_m2K": 150.0,
        "htc_above_W_m2K": 9000.0,
        "patches": [],
    },
    {
        "name": "two die, a hot block, a patch",
        "size_m": [30 * MM, 20 * MM],
        "layers": [layer(0.8, 16.0, 16.0, 2.0), layer(1.0, 40.0, 30.0, 12.0)],
        "die": [
            {
                "rect_m": rect(3, 4, 9, 10),
                "body": layer(0.5, 120.0),
                "attach": layer(0.1, 5.0),
                "active_face": "down",
                "power_W": 50.0,
                "blocks": [{"rect_m": rect(4, 10, 3, 3), "power_W": 20.0}],
            },
            {
                "rect_m": rect(18, 6, 8, 6),
                "body": layer(0.5, 120.0),
                "attach": layer(0.1, 5.0),
                "active_face": "down",
                "power_W": 25.0,
                "blocks": [],
            },
        ],
        "heaters": [],
        "htc_below_W_m2K": 300.0,
        "htc_above_W_m2K": 6000.0,
        "patches": [{"rect_m": rect(2, 8, 12, 8), "htc_W_m2K": 14000.0}],
    },
    {
        "name": "active face up, soldered to a metallised ceramic, heater below",
        "size_m": [20 * MM, 16 * MM],
        "layers": [layer(0.3, 390.0), layer(0.63, 170.0), layer(0.3, 390.0)],
        "die": [
            {
                "rect_m": rect(6, 5, 5, 4),
                "body": layer(0.35, 300.0),
                "attach": layer(0.1, 57.0),
                "active_face": "up",
                "power_W": 120.0,
                "blocks": [],
            }
        ],
        "heaters": [{"interface": 1, "rect_m": rect(13, 3, 4, 9), "power_W": 30.0}],
        "htc_below_W_m2K": 2500.0,
        "htc_above_W_m2K": 12000.0,
        "patches": [],
    },
]


def graded(edges, cells_between, ratio):
    """Lines through `edges`; each interval has about `cells_between` cells, narrow at its ends."""
    lines = [edges[0]]
    for a, b in zip(edges[:-1], edges[1:]):
        n = max(2, int(round(cells_between * ((b - a) / (edges[-1] - edges[0])) ** 0.5)))
        s = np.linspace(-1.0, 1.0, n + 1)
        # Symmetric stretching: cell widths at the ends are about `ratio` times smaller.
        c = np.arccosh(np.sqrt(ratio))
        t = np.tanh(c * s) / np.tanh(c) if ratio > 1.0 else s
        lines.extend((a + (b - a) * 0.5 * (1.0 + t[1:])).tolist())
        lines[-1] = b
    return np.array(lines)


def plane_edges(case, axis):
    edges = {0.0, case["size_m"][axis]}
    rects = [d["rect_m"] for d in case["die"]]
    rects += [b["rect_m"] for d in case["die"] for b in d["blocks"]]
    rects += [h["rect_m"] for h in case["heaters"]]
    rects += [p["rect_m"] for p in case["patches"]]
    for r in rects:
        edges.update((r[axis], r[axis + 2]))
    return np.array(sorted(edges))


def layer_tops(case):
    """Heights of the substrate's interfaces, board side first."""
    return np.concatenate([[0.0], np.cumsum([l["thickness_m"] for l in case["layers"]])])


def island_tops(case):
    """Seat, top of attach, top of die: the same for every die of a case."""
    seat = layer_tops(case)[-1]
    die = case["die"][0]
    attach = die["attach"]["thickness_m"]
    return np.array([seat, seat + attach, seat + attach + die["body"]["thickness_m"]])


def inside(r, x, y):
    return (x > r[0]) & (x < r[2]) & (y > r[1]) & (y < r[3])


def conductivity(case, x, y, z):
    """Conductivity (3 arrays) at points; NaN where there is nothing."""
    k = np.full((3,) + np.shape(x), np.nan)
    tops = layer_tops(case)
    for l, (low, high) in enumerate(zip(tops[:-1], tops[1:])):
        where = (z > low) & (z < high)
        for a in range(3):
            k[a][where] = case["layers"][l]["conductivity_W_mK"][a]
    seat, joint, back = island_tops(case)
    for die in case["die"]:
        over = inside(die["rect_m"], x, y)
        for a in range(3):
            k[a][over & (z > seat) & (z < joint)] = die["attach"]["conductivity_W_mK"][a]
            k[a][over & (z > joint) & (z < back)] = die["body"]["conductivity_W_mK"][a]
    return k


def htc_above(case, x, y):
    h = np.full(np.shape(x), case["htc_above_W_m2K"])
    for p in case["patches"]:
        h[inside(p["rect_m"], x, y)] = p["htc_W_m2K"]
    return h


def sources(case):
    """(height, rectangle, flux function of x and y, name) of every source, die first."""
    tops, (_, joint, back) = layer_tops(case), island_tops(case)
    out = []
    for n, die in enumerate(case["die"]):
        r = die["rect_m"]
        area = (r[2] - r[0]) * (r[3] - r[1])
        blocks = [
            (b["rect_m"], b["power_W"] / ((b["rect_m"][2] - b["rect_m"][0]) * (b["rect_m"][3] - b["rect_m"][1])))
            for b in die["blocks"]
        ]
        block_area = sum((b[2] - b[0]) * (b[3] - b[1]) for b, _ in blocks)
        rest = (die["power_W"] - sum(b["power_W"] for b in die["blocks"])) / (area - block_area)

        def flux(x, y, blocks=blocks, rest=rest):
            q = np.full(np.shape(x), rest)
            for b, f in blocks:
                q[inside(b, x, y)] = f
            return q

        out.append((joint if die["active_face"] == "down" else back, r, flux, f"D{n + 1}"))
    for n, h in enumerate(case["heaters"]):
        r = h["rect_m"]
        q = h["power_W"] / ((r[2] - r[0]) * (r[3] - r[1]))
        out.append((tops[h["interface"]], r, lambda x, y, q=q: np.full(np.shape(x), q), f"H{n + 1}"))
    return out
