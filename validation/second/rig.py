"""The reference's own reading of a lift file: only what statics needs, in SI."""

import dataclasses
import re

import numpy as np
import yaml

UNITS = {
    "m": 1.0, "mm": 1e-3,
    "kg": 1.0, "t": 1000.0,
    "N/m": 1.0, "kN/m": 1e3, "MN/m": 1e6,
    "m/s2": 1.0,
}


def quantity(text):
    """One number or point with its unit."""
    *numbers, unit = str(text).split()
    values = [float(n) for n in numbers]
    scaled = [v * UNITS[unit] for v in values]
    return scaled[0] if len(scaled) == 1 else np.array(scaled)


@dataclasses.dataclass
class Body:
    mass: float
    cg: np.ndarray
    at: np.ndarray
    points: dict


@dataclasses.dataclass
class Leg:
    """A rope through the places of path. k is None where it does not stretch."""

    path: list
    length: float
    k: float | None
    mass: float = 0.0


@dataclasses.dataclass
class Rig:
    name: str
    title: str
    g: float
    bodies: dict
    nodes: dict
    hooks: dict
    legs: dict
    ties: dict
    support: tuple | None  # (name, place, level)
    stages: list  # (name, hooks), the first as rigged

    @property
    def weight(self):
        """All that hangs, in N."""
        mass = sum(b.mass for b in self.bodies.values())
        mass += sum(n.mass for n in self.nodes.values())
        mass += sum(leg.mass for leg in self.legs.values())
        return mass * self.g

    @property
    def ropes(self):
        """Legs and ties alike."""
        return {**self.legs, **self.ties}

    def lumps(self):
        """Half the weight of each heavy leg at each of its ends: (place, kg)."""
        for leg in self.legs.values():
            if leg.mass:
                yield leg.path[0], leg.mass / 2
                yield leg.path[-1], leg.mass / 2

    def stretching(self, k):
        """The same rig with k in place of legs that do not stretch."""
        legs = {n: dataclasses.replace(leg, k=leg.k or k) for n, leg in self.legs.items()}
        return dataclasses.replace(self, legs=legs)


def points(table):
    return {n: quantity(p["at"] if isinstance(p, dict) else p) for n, p in table.items()}


def read(path):
    file = yaml.safe_load(path.read_text())
    load = file["load"]
    parts = load.get("parts") or [{"mass": load["mass"], "at": load["cg"]}]
    masses = np.array([quantity(p["mass"]) for p in parts])
    places = np.array([quantity(p["at"]) for p in parts])
    bodies = {"load": Body(masses.sum(), masses @ places / masses.sum(),
                           quantity(load["at"]), points(load["lugs"]))}
    for name, s in file.get("spreaders", {}).items():
        bodies[name] = Body(quantity(s["mass"]), quantity(s["cg"]), quantity(s["at"]), points(s["points"]))
    nodes = {n: Body(quantity(v["mass"]), np.zeros(3), quantity(v["at"]), {})
             for n, v in file.get("nodes", {}).items()}
    hooks = {n: quantity(h["at"]) for n, h in file["hooks"].items()}
    legs = {n: Leg([v["from"], *v.get("via", []), v["to"]], quantity(v["length"]),
                   quantity(v["stiffness"]) if "stiffness" in v else None,
                   quantity(v.get("mass", "0 kg")))
            for n, v in file["legs"].items()}
    ties = {}
    for name, t in file.get("ties", {}).items():
        body, point = t["at"].split(".")
        start = bodies[body].at + bodies[body].points[point]
        ground = quantity(t["to"])
        ties[name] = Leg([t["at"], tuple(ground)], float(np.linalg.norm(start - ground)), quantity(t["stiffness"]))
    support = None
    for name, s in file.get("supports", {}).items():
        support = (name, s["at"], quantity(s["level"]))
    stages, now = [("", dict(hooks))], dict(hooks)
    for step in file.get("steps", []):
        now = {**now, **points(step["hooks"])}
        stages.append((step["name"], now))
    return Rig(re.sub(r"\.yaml$", "", path.name), file["title"], quantity(file["site"]["g"]),
               bodies, nodes, hooks, legs, ties, support, stages)
