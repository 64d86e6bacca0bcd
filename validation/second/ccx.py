"""A rig in CalculiX, a finite-element program, geometrically nonlinear.

A body is a frame of stiff two-way springs between all its points, its centre
of gravity and four more nodes that keep it from folding; a leg is a spring
with a table that pulls only. The frame gives way a little, so each rig runs at
two frame stiffnesses and the answer is extrapolated to a rigid one; the
difference the extrapolation made is kept.

A static solver cannot follow a rig from slack: it starts from the rest pose
of MuJoCo, rounded to the millimetre and the milliradian, and finds its own
equilibrium from there. Sliding ropes and legs that do not stretch have no
element here.
"""

import itertools
import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np

FRAME = 5e12  # N/m, and twice that


def able(rig):
    return all(len(leg.path) == 2 and leg.k is not None for leg in rig.legs.values())


def field(v):
    """A number in at most 20 characters."""
    text = f"{v:.12e}"
    return text if len(text) <= 20 else f"{v:.11e}"


def corners(body):
    """A tetrahedron about the centre of gravity."""
    size = max(np.linalg.norm(p - body.cg) for p in body.points.values())
    way = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) / 3**0.5
    return [body.cg + size * w for w in way]


class Model:
    def __init__(self, rig, hooks, pose, frame):
        self.rig, self.xyz, self.id = rig, [], {}
        self.springs = []  # (nodes, table)
        self.loads, self.fixed = [], []
        for name, b in rig.bodies.items():
            at, turned = pose[name]
            inside = [(f"{name}.{p}", offset) for p, offset in b.points.items()]
            inside += [(f"{name}@cg", b.cg)] + [(f"{name}@{i}", c) for i, c in enumerate(corners(b))]
            for key, offset in inside:
                self.node(key, at + turned @ offset)
            for (p, _), (q, _) in itertools.combinations(inside, 2):
                if self.apart(p, q) > 1e-6:
                    self.springs.append((p, q, [(-frame, -1.0), (frame, 1.0)]))
            self.loads.append((f"{name}@cg", b.mass * rig.g))
        for name, n in rig.nodes.items():
            self.node(name, pose[name][0])
            self.loads.append((name, n.mass * rig.g))
        for place, mass in rig.lumps():
            if place in self.id:
                self.loads.append((place, mass * rig.g))
        for name, leg in rig.ropes.items():
            ends = []
            for place in leg.path:
                if not isinstance(place, str) or place in hooks:
                    key = f"{name}@held"
                    self.node(key, np.array(place) if not isinstance(place, str) else hooks[place])
                    self.fixed += [(key, 1), (key, 2), (key, 3)]
                    ends.append(key)
                else:
                    ends.append(place)
            slack = leg.length - self.apart(*ends)
            self.springs.append((*ends, [(0.0, slack - 1.0), (0.0, slack), (leg.k, slack + 1.0)]))

    def node(self, key, at):
        self.xyz.append(np.array(at))
        self.id[key] = len(self.xyz)

    def apart(self, p, q):
        return float(np.linalg.norm(self.xyz[self.id[p] - 1] - self.xyz[self.id[q] - 1]))

    def text(self):
        out = ["*NODE,NSET=ALL"]
        for i, p in enumerate(self.xyz, 1):
            out.append(f"{i}," + ",".join(field(v) for v in p))
        for i, (p, q, _) in enumerate(self.springs, 1):
            out += [f"*ELEMENT,TYPE=SPRINGA,ELSET=E{i}", f"{i},{self.id[p]},{self.id[q]}"]
        for i, (_, _, table) in enumerate(self.springs, 1):
            out.append(f"*SPRING,ELSET=E{i},NONLINEAR")
            out.append("")
            out += [f"{field(force)},{field(gain)}" for force, gain in table]
        out += ["*BOUNDARY"] + [f"{self.id[k]},{d},{d}" for k, d in self.fixed]
        out += ["*STEP,NLGEOM,INC=1", "*STATIC,DIRECT", "1.,1.",
                "*CONTROLS,PARAMETERS=TIME INCREMENTATION", "60,80,9,100,60,4,1,60",
                "*CONTROLS,PARAMETERS=FIELD", "1.e-10,1.e-8,1.,1.,1.e-9,1.e-5,1.e-3,1.e-8",
                "*CLOAD"]
        total = {}
        for key, weight in self.loads:
            total[key] = total.get(key, 0.0) + weight
        out += [f"{self.id[k]},3,{field(-w)}" for k, w in total.items()]
        out += ["*NODE PRINT,NSET=ALL", "U,RF", "*END STEP", ""]
        return "\n".join(out)


def run(text):
    """Displacements and reactions by node number."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "rig.inp").write_text(text)
        done = subprocess.run(["ccx", "rig"], cwd=folder, capture_output=True, text=True,
                              env={"PATH": "/usr/bin:/bin", "OMP_NUM_THREADS": "1"}, timeout=120)
        dat = Path(folder, "rig.dat").read_text() if Path(folder, "rig.dat").exists() else ""
    found = re.split(r"forces \(fx,fy,fz\)", dat)
    if "*ERROR" in done.stdout or len(found) != 2:
        return None, None, done.stdout[-1500:]
    tables = []
    for part in found:
        rows = re.findall(r"^\s+(\d+)\s+(\S+)\s+(\S+)\s+(\S+)$", part, re.M)
        tables.append({int(n): np.array([float(v) for v in xyz]) for n, *xyz in rows})
    return *tables, done.stdout
