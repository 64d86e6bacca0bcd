"""A rig in CalculiX, a finite-element program, geometrically nonlinear.

A body is a frame of stiff two-way springs between all its points, its centre
of gravity and four more nodes that keep it from folding; a leg is a spring
with a table that pulls only. Sliding ropes, one-way ground and legs that do
not stretch have no element here.

A rig is a mechanism, and a static solver cannot start on one: every node also
gets a weak spring to where it is now. The program finds the equilibrium with
those springs, the nodes move there, the weak springs start anew without force,
and so on until they have nothing left to hold. That leads from the start pose
downhill to the rest pose and leaves no trace of the weak springs.

The frame gives way a little, so the last runs are done at two frame
stiffnesses and the answer is extrapolated to a rigid body.
"""

import itertools
import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np


def able(rig):
    return not rig.support and all(len(leg.path) == 2 and leg.k is not None for leg in rig.legs.values())


def field(v):
    """A number in at most 20 characters."""
    return f"{v:.12e}" if v >= 0 else f"{v:.11e}"


def corners(body):
    """A tetrahedron about the centre of gravity."""
    size = max(np.linalg.norm(p - body.cg) for p in body.points.values())
    way = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]]) / 3**0.5
    return [body.cg + size * w for w in way]


class Model:
    """The nodes, springs and loads of a rig; xyz holds where the nodes are now."""

    def __init__(self, rig):
        self.rig = rig
        self.ids, at = {}, []
        self.frames = []  # (node, node, rest length)
        self.ropes = []  # (node, node, unloaded length, k)
        self.loads = {}
        self.held = []

        def node(key, place):
            self.ids[key] = len(at)
            at.append(np.array(place, dtype=float))
            return self.ids[key]

        def weigh(n, mass):
            self.loads[n] = self.loads.get(n, 0.0) + mass * rig.g

        for name, b in rig.bodies.items():
            inside = [(node(f"{name}.{p}", b.at + offset), offset) for p, offset in b.points.items()]
            cg = node(f"{name}@cg", b.at + b.cg)
            inside.append((cg, b.cg))
            inside += [(node(f"{name}@{i}", b.at + c), c) for i, c in enumerate(corners(b))]
            for (p, a), (q, c) in itertools.combinations(inside, 2):
                if np.linalg.norm(a - c) > 1e-3:
                    self.frames.append((p, q, float(np.linalg.norm(a - c))))
            weigh(cg, b.mass)
        for name, n in rig.nodes.items():
            weigh(node(name, n.at), n.mass)
        for place, mass in rig.lumps():
            if place not in rig.hooks:
                weigh(self.ids[place], mass)
        for name, leg in rig.ropes.items():
            ends = []
            for place in leg.path:
                if isinstance(place, str) and place in self.ids:
                    ends.append(self.ids[place])
                else:
                    n = node(f"{name}@held", rig.hooks[place] if isinstance(place, str) else place)
                    self.held.append(n)
                    ends.append(n)
            self.ropes.append((*ends, leg.length, leg.k))
        self.xyz = np.array(at)

    def text(self, frame, weak):
        out = ["*NODE,NSET=ALL"]
        for i, p in enumerate(self.xyz, 1):
            out.append(f"{i}," + ",".join(field(v) for v in p))
        sets, number = [], 0
        for p, q, rest in self.frames:
            number += 1
            off = rest - np.linalg.norm(self.xyz[p] - self.xyz[q])
            sets.append([f"*SPRING,ELSET=E{number},NONLINEAR", "",
                         f"{field(-frame)},{field(off - 1)}", f"{field(frame)},{field(off + 1)}"])
            out += [f"*ELEMENT,TYPE=SPRINGA,ELSET=E{number}", f"{number},{p + 1},{q + 1}"]
        for p, q, length, k in self.ropes:
            number += 1
            off = length - np.linalg.norm(self.xyz[p] - self.xyz[q])
            sets.append([f"*SPRING,ELSET=E{number},NONLINEAR", "", f"0.,{field(off - 9)}",
                         f"0.,{field(off)}", f"{field(9 * k)},{field(off + 9)}"])
            out += [f"*ELEMENT,TYPE=SPRINGA,ELSET=E{number}", f"{number},{p + 1},{q + 1}"]
        free = [n for n in range(len(self.xyz)) if n not in self.held]
        for d in (1, 2, 3):
            out.append(f"*ELEMENT,TYPE=SPRING1,ELSET=W{d}")
            for n in free:
                number += 1
                out.append(f"{number},{n + 1}")
            sets.append([f"*SPRING,ELSET=W{d}", str(d), field(weak / len(free))])
        for s in sets:
            out += s
        out += ["*BOUNDARY"] + [f"{n + 1},1,3" for n in self.held]
        out += ["*STEP,NLGEOM,INC=1000", "*STATIC,DIRECT" if weak < 1e300 else "*STATIC", "1.,1.",
                "*CONTROLS,PARAMETERS=TIME INCREMENTATION", "40,60,9,60,40,4,,40",
                "*CONTROLS,PARAMETERS=FIELD", "1.e-6,1.,1.e9,1.e9,1.e-6,1.e-9,1.e9,1.",
                "*CLOAD"]
        out += [f"{n + 1},3,{field(-w)}" for n, w in self.loads.items()]
        out += ["*NODE PRINT,NSET=ALL", "U,RF", "*END STEP", ""]
        return "\n".join(out)

    def tensions(self):
        out = {}
        for name, (p, q, length, k) in zip(self.rig.ropes, self.ropes):
            out[name] = k * max(0.0, float(np.linalg.norm(self.xyz[p] - self.xyz[q])) - length)
        return out


def run(text):
    """Displacements and reactions, or None with the program's last words."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "rig.inp").write_text(text)
        done = subprocess.run(["ccx", "rig"], cwd=folder, capture_output=True, text=True,
                              env={"PATH": "/usr/bin:/bin", "OMP_NUM_THREADS": "1"}, timeout=120)
        dat = Path(folder, "rig.dat").read_text() if Path(folder, "rig.dat").exists() else ""
    found = re.split(r"forces \(fx,fy,fz\)", dat)
    if "*ERROR" in done.stdout or len(found) != 2:
        return None, done.stdout[-1500:]
    u, rf = (np.array([[float(v) for v in row] for row in
                       re.findall(r"^\s+\d+\s+(\S+)\s+(\S+)\s+(\S+)$", part, re.M)]) for part in found)
    return (u, rf), done.stdout
