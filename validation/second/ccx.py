"""A rig in CalculiX, a finite-element program, geometrically nonlinear.

A body is a frame of stiff two-way springs between all its points, its centre
of gravity and four more nodes that keep it from folding; a leg is a spring
with a table that pulls only. The ground is a spring that only pushes, between
the point and a node below it that keeps its height and follows the point to
the side. Sliding ropes have no element here.

A rig is a mechanism, and a static solver cannot start on one: every node also
gets a weak spring to where it is now. The program finds the equilibrium with
those springs, the nodes move there, the weak springs start anew without force,
and so on until they have nothing left to hold. That leads from the start pose
downhill to the rest pose and leaves no trace of the weak springs.

Frames, the ground and legs that should not stretch give way a little, so the
last runs are done at two such stiffnesses and the answer is extrapolated.
"""

import itertools
import os
import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np

STIFF_START = 20  # weak springs at the start of a settling, all together, as a share of the weight per metre

def able(rig):
    return all(len(leg.path) == 2 for leg in rig.legs.values())


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
        self.ropes = []  # (node, node, unloaded length, k or None for the frames')
        self.loads = {}
        self.held = []  # nodes that do not move: one for each rope's end on a hook or on the ground
        self.hook = {}  # of those, which stand on which hook

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
                    self.hook[n] = place
                    ends.append(n)
            self.ropes.append((*ends, leg.length, leg.k))
        self.firm = max([1e9] + [100 * k for *_, k in self.ropes if k])
        self.ground = None
        if rig.support:
            _, place, level = rig.support
            self.ground = self.ids[place], level
        self.xyz = np.array(at)

    def text(self, frame, weak):
        """The input file. The nodes move to the places as written there."""
        self.xyz = xyz = np.array([[float(field(v)) for v in p] for p in self.xyz])
        out = ["*NODE,NSET=ALL"]
        out += [f"{i}," + ",".join(field(v) for v in p) for i, p in enumerate(xyz, 1)]
        springs = [(p, q, rest, frame, frame) for p, q, rest in self.frames]
        springs += [(p, q, length, 0.0, k or frame) for p, q, length, k in self.ropes]
        free = [n for n in range(len(xyz)) if n not in self.held]
        number, sets = 0, []
        for number, (p, q, rest, push, pull) in enumerate(springs, 1):
            off = rest - np.linalg.norm(xyz[p] - xyz[q])
            out += [f"*ELEMENT,TYPE=SPRINGA,ELSET=E{number}", f"{number},{p + 1},{q + 1}"]
            sets += [f"*SPRING,ELSET=E{number},NONLINEAR", "", f"{field(-9 * push)},{field(off - 9)}",
                     f"0.,{field(off)}", f"{field(9 * pull)},{field(off + 9)}"]
        for d in (1, 2, 3):
            out.append(f"*ELEMENT,TYPE=SPRING1,ELSET=W{d}")
            for n in free:
                number += 1
                out.append(f"{number},{n + 1}")
            sets += [f"*SPRING,ELSET=W{d}", str(d), field(weak / len(free))]
        equations = []
        if self.ground:
            n, level = self.ground
            under = len(xyz) + 1
            at = [*xyz[n][:2], xyz[n][2] - 1]
            rise = level - at[2]
            out += ["*NODE,NSET=UNDER", f"{under}," + ",".join(field(v) for v in at),
                    "*ELEMENT,TYPE=SPRINGA,ELSET=GROUND", f"{number + 1},{under},{n + 1}"]
            sets += ["*SPRING,ELSET=GROUND,NONLINEAR", "", f"{field(-9 * frame)},{field(rise - 10)}",
                     f"0.,{field(rise - 1)}", f"0.,{field(rise + 8)}"]
            equations = ["*BOUNDARY", f"{under},3,3"]
            for d in (1, 2):
                equations += ["*EQUATION", "2", f"{under},{d},1.,{n + 1},{d},-1."]
        out += sets + equations
        out += ["*BOUNDARY"] + [f"{n + 1},1,3" for n in self.held]
        out += ["*STEP,NLGEOM", "*STATIC,DIRECT", "1.,1.",
                "*CONTROLS,PARAMETERS=TIME INCREMENTATION", "40,60,9,60,40,4,,40",
                "*CONTROLS,PARAMETERS=FIELD", "1.e-6,1.,1.e9,1.e9,1.e-6,1.e-9,1.e9,1.",
                "*CLOAD"]
        out += [f"{n + 1},3,{field(-w)}" for n, w in self.loads.items()]
        out += ["*NODE PRINT,NSET=ALL", "U,RF", "*END STEP", ""]
        return "\n".join(out)

    def settle(self, frame, least, until):
        """Moves the nodes to rest; the weak springs give way as far as the program can follow.

        Returns how much force they held at the end, as a share of the weight.
        """
        weight = self.rig.weight
        weak = STIFF_START * weight
        for _ in range(600):
            u = run(self.text(frame, weak))
            far = np.inf if u is None else np.abs(u).max()
            if far > 0.4:
                weak *= 8
                if weak > 1e6 * weight:
                    raise RuntimeError("CalculiX finds no way on")
                continue
            self.xyz = self.xyz + u
            if weak == least * weight and far * least < until:
                return far * least
            if far < 0.1:
                weak = max(weak / 2, least * weight)
        raise RuntimeError("CalculiX does not come to rest")

    def move(self, hooks, pieces=25):
        """Takes the hooks to new places piece by piece."""
        start = self.xyz.copy()
        for piece in range(1, pieces + 1):
            for n in self.held:
                if self.hook[n] in hooks:
                    self.xyz[n] = start[n] + (hooks[self.hook[n]] - start[n]) * piece / pieces
            self.settle(self.firm, 0.5, 1e-3)

    def tensions(self, frame):
        out = {}
        for name, (p, q, length, k) in zip(self.rig.ropes, self.ropes):
            out[name] = (k or frame) * max(0.0, float(np.linalg.norm(self.xyz[p] - self.xyz[q])) - length)
        return out


def run(text):
    """How far each node moves, or None where the program gives up."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "rig.inp").write_text(text)
        done = subprocess.run(["ccx", "rig"], cwd=folder, capture_output=True, text=True,
                              env={"PATH": os.environ["PATH"], "OMP_NUM_THREADS": "1"}, timeout=120)
        dat = Path(folder, "rig.dat").read_text() if Path(folder, "rig.dat").exists() else ""
    moved = dat.split("forces (fx,fy,fz)")[0]
    rows = re.findall(r"^\s+\d+\s+(\S+)\s+(\S+)\s+(\S+)$", moved, re.M)
    if "*ERROR" in done.stdout or not rows:
        return None
    u = np.array([[float(v) for v in row] for row in rows])
    return u if np.isfinite(u).all() else None


def version():
    return re.search(r"Version (\S+)", subprocess.run(["ccx", "-v"], capture_output=True, text=True).stdout)[1]


def first(rig):
    """The input file of the first run, at the start pose."""
    model = Model(rig)
    return model.text(model.firm, STIFF_START * rig.weight)


def hang(rig):
    """Each stage in turn: tensions, how much the extrapolation changed them, what the weak springs kept."""
    model = Model(rig)
    model.settle(model.firm, 0.02, 1e-6)
    stages = []
    for number, (_, hooks) in enumerate(rig.stages):
        if number:
            model.move(hooks)
        found = []
        for frame in (1.0, 2.0):
            kept = model.settle(frame * max(1e12, model.firm), 0.02, 1e-11)
            found.append((model.tensions(frame * max(1e12, model.firm)), model.xyz.copy()))
        (once, a), (twice, b) = found
        stages.append({"tensions": {n: 2 * twice[n] - once[n] for n in once},
                       "gave": max(abs(twice[n] - once[n]) for n in once) / rig.weight,
                       "kept": kept, "xyz": 2 * b - a, "ids": model.ids})
    return stages
