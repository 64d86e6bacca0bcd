"""A third method: the rig's potential energy, minimised with SciPy.

From the start pose the rig follows the gradient of its energy downhill
(scipy.integrate, a stiff method), then Newton steps bring the forces to zero.
The Jacobian is exact (complex step). Legs that do not stretch and a point on
the ground are constraints with their own unknown forces. At the end the
curvature of the energy says whether the pose is a minimum.
"""

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

SOFT = 2e7  # N/m in place of a constraint while the rig goes downhill
EVEN = 1e6  # N/m, brings constraints to the size of stiffnesses before solving


def turn(v):
    """Rotation by the vector v, also for complex v."""
    a = v @ v
    if abs(a) < 1e-8:
        s, c = 1 - a / 6 + a * a / 120, 0.5 - a / 24 + a * a / 720
    else:
        r = np.sqrt(a)
        s, c = np.sin(r) / r, (1 - np.cos(r)) / a
    k = np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])
    return np.eye(3) + s * k + c * (k @ k)


def cross(a, b):
    """np.cross is slow on single vectors."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


class Energy:
    def __init__(self, rig):
        self.rig = rig
        self.hooks = dict(rig.hooks)
        self.movers = [*rig.bodies, *rig.nodes]
        self.slot = {n: 6 * i for i, n in enumerate(self.movers)}
        self.at = {n: m.at.astype(float) for n, m in {**rig.bodies, **rig.nodes}.items()}
        self.rot = {n: np.eye(3) for n in self.movers}
        self.weights = [(n, b.cg, b.mass * rig.g) for n, b in {**rig.bodies, **rig.nodes}.items()]
        for place, mass in rig.lumps():
            owner, offset = self.locate(place)
            if owner in self.slot:
                self.weights.append((owner, offset, mass * rig.g))
        self.tight = [n for n, leg in rig.ropes.items() if leg.k is None]
        self.length = 1.0  # m, makes rotations lengths

    def locate(self, place):
        """Who carries a place, and where on it."""
        if not isinstance(place, str):
            return None, np.array(place)
        owner, _, point = place.partition(".")
        if point:
            return owner, self.rig.bodies[owner].points[point]
        return owner, np.zeros(3)

    def where(self, place, x):
        owner, offset = self.locate(place)
        if owner is None:
            return offset
        if owner in self.hooks:
            return self.hooks[owner]
        i = self.slot[owner]
        return self.at[owner] + x[i:i + 3] + turn(x[i + 3:i + 6] / self.length) @ (self.rot[owner] @ offset)

    def push(self, out, place, force, x):
        """Adds a force at a place to the forces and moments on its owner."""
        owner, _ = self.locate(place)
        if owner in self.slot:
            i = self.slot[owner]
            arm = self.where(place, x) - self.at[owner] - x[i:i + 3]
            out[i:i + 3] += force
            out[i + 3:i + 6] += cross(arm, force) / self.length

    def run(self, leg, x):
        """A rope's length and the directions of its spans."""
        p = [self.where(place, x) for place in leg.path]
        spans = [b - a for a, b in zip(p, p[1:])]
        lengths = [np.sqrt(s @ s) for s in spans]
        return sum(lengths), [s / l for s, l in zip(spans, lengths)]

    def pull(self, out, leg, directions, tension, x):
        for a, b, d in zip(leg.path, leg.path[1:], directions):
            self.push(out, a, tension * d, x)
            self.push(out, b, -tension * d, x)

    def forces(self, x, held, grounded, soft=False):
        """Forces and moments on every mover, then how far each constraint is off.

        held are the tensions of the legs that do not stretch, grounded the
        push of the ground, or None when the point is off it. soft puts stiff
        one-way springs in place of both.
        """
        out = np.zeros(6 * len(self.movers), dtype=np.result_type(x, float))
        off = []
        for name, leg in self.rig.ropes.items():
            length, directions = self.run(leg, x)
            gain = length - leg.length
            if leg.k is not None:
                tension = leg.k * gain if gain.real > 0 else 0.0
            elif soft:
                tension = SOFT * gain if gain.real > 0 else 0.0
            else:
                tension = held[self.tight.index(name)]
                off.append(gain)
            self.pull(out, leg, directions, tension, x)
        if self.rig.support:
            _, place, level = self.rig.support
            sunk = level - self.where(place, x)[2]
            if soft:
                grounded = SOFT * sunk if sunk.real > 0 else 0.0
            if grounded is not None:
                self.push(out, place, np.array([0, 0, grounded]), x)
                if not soft:
                    off.append(sunk)
        for owner, offset, weight in self.weights:
            i = self.slot[owner]
            down = np.array([0, 0, -weight])
            arm = turn(x[i + 3:i + 6] / self.length) @ (self.rot[owner] @ offset)
            out[i:i + 3] += down
            out[i + 3:i + 6] += cross(arm, down) / self.length
        for n in self.rig.nodes:
            out[self.slot[n] + 3:self.slot[n] + 6] = 0
        return np.concatenate([out, np.array(off, dtype=out.dtype)])

    def move(self, x):
        for n, i in self.slot.items():
            self.at[n] = self.at[n] + x[i:i + 3]
            self.rot[n] = turn(x[i + 3:i + 6] / self.length) @ self.rot[n]

    def jacobian(self, held, grounded):
        n = 6 * len(self.movers)
        extra = len(held) + (grounded is not None)
        out = np.zeros((n + extra, n + extra))
        given = np.concatenate([np.zeros(n), held, [] if grounded is None else [grounded]])
        for j in range(n + extra):
            v = given.astype(complex)
            v[j] += 1e-30j
            f = self.forces(v[:n], v[n:n + len(held)], None if grounded is None else v[-1])
            out[:, j] = f.imag / 1e-30
        return out

    def downhill(self, seconds=4000.0, step=50.0):
        """Follows the gradient of the energy, at a metre a second per weight of force."""
        n = 6 * len(self.movers)
        slow = self.rig.weight

        def flow(_, x):
            # The state holds rotation vectors: bring the moments into their chart.
            f = self.forces(x, [], None, soft=True) / slow
            for i in self.slot.values():
                f[i + 3:i + 6] = np.linalg.solve(left(x[i + 3:i + 6]), f[i + 3:i + 6])
            return f

        end = 0.0
        while end < seconds and np.abs(flow(0, np.zeros(n))).max() > 1e-4:
            go = solve_ivp(flow, (0, step), np.zeros(n), method="BDF", rtol=1e-6, atol=1e-8,
                           events=[stop(self.slot)])
            self.move(go.y[:, -1])
            end += go.t[-1]
            if go.status == 0 and np.abs(go.y[:, -1]).max() < 1e-3:
                break

    def newton(self):
        """Brings the forces to zero; returns what is left as a share of the weight."""
        n = 6 * len(self.movers)
        zero = np.zeros(n)
        held = np.array([SOFT * max(0.0, self.run(self.rig.ropes[t], zero)[0] - self.rig.ropes[t].length)
                         for t in self.tight])
        grounded = None
        if self.rig.support:
            _, place, level = self.rig.support
            sunk = level - self.where(place, zero)[2]
            grounded = SOFT * sunk if sunk > 0 else None
        scale = self.rig.weight
        for _ in range(60):
            f = self.forces(zero, held, grounded)
            if np.abs(f[:n]).max() < 1e-13 * scale and np.abs(f[n:]).max(initial=0) < 1e-15:
                break
            j = self.jacobian(held, grounded)
            even = np.ones(len(f))
            even[n:] = EVEN
            dx = -even * np.linalg.lstsq(j * even * even[:, None], f * even, rcond=1e-10)[0]
            dx *= min(1.0, 0.05 / np.abs(dx[:n]).max(initial=1e-300))
            self.move(dx[:n])
            held = held + dx[n:n + len(held)]
            if grounded is not None:
                grounded += dx[-1]
        f = self.forces(zero, held, grounded)
        return max(np.abs(f[:n]).max() / scale, np.abs(f[n:]).max(initial=0)), held, grounded

    def curvature(self, held, grounded):
        """Curvatures of the energy over all motions the constraints allow, in N/m, least first."""
        n = 6 * len(self.movers)
        j = self.jacobian(held, grounded)
        keep = [i for i in range(n) if not any(
            self.slot[m] + 3 <= i < self.slot[m] + 6 for m in self.rig.nodes)]
        stiff = -j[np.ix_(keep, keep)]
        stiff = (stiff + stiff.T) / 2
        bound = j[n:, keep]
        if len(bound):
            _, s, v = np.linalg.svd(bound)
            free = v[len(s):].T
            stiff = free.T @ stiff @ free
        return np.linalg.eigvalsh(stiff)

    def tensions(self, held):
        zero = np.zeros(6 * len(self.movers))
        out = {}
        for name, leg in self.rig.ropes.items():
            if leg.k is None:
                out[name] = float(held[self.tight.index(name)])
            else:
                out[name] = leg.k * max(0.0, self.run(leg, zero)[0] - leg.length)
        return out


def left(v):
    """Derivative of the rotation by v, in the world's axes."""
    a = v @ v
    k = np.array([[0, -v[2], v[1]], [v[2], 0, -v[0]], [-v[1], v[0], 0]])
    if a < 1e-8:
        return np.eye(3) + k / 2 + k @ k / 6
    r = np.sqrt(a)
    return np.eye(3) + (1 - np.cos(r)) / a * k + (r - np.sin(r)) / (a * r) * (k @ k)


def stop(slot):
    """Ends a piece of the path when a body has turned by a radian."""
    def event(_, x):
        return 1.0 - max(np.linalg.norm(x[i + 3:i + 6]) for i in slot.values())
    event.terminal = True
    return event


def beside_start(rig):
    """Turn to the equilibrium beside the start pose (rad), and its least curvature.

    Half a second downhill makes the legs taut; from there least squares on the
    forces also finds a pose that is lost, where the curvature is negative.
    None where it finds none. For rigs of elastic legs.
    """
    e = Energy(rig)
    e.downhill(0.5, step=0.5)
    n = 6 * len(e.movers)
    ways = 1e-30j * np.eye(n)
    near = least_squares(
        lambda x: e.forces(x, [], None) / rig.weight, np.zeros(n),
        lambda x: np.array([e.forces(x + w, [], None).imag for w in ways]).T / (1e-30 * rig.weight),
        method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=2000)
    e.move(near.x)
    left_over, held, grounded = e.newton()
    if left_over > 1e-9:
        return None
    turned = max(np.arccos(np.clip(e.rot[b][2, 2], -1, 1)) for b in rig.bodies)
    return turned, e.curvature(held, grounded)[0]


def hang(rig):
    """Each stage in turn: tensions, poses, residual, curvatures."""
    e = Energy(rig)
    out = []
    for number, (_, hooks) in enumerate(rig.stages):
        start = dict(e.hooks)
        pieces = 12 if number else 1
        for p in range(1, pieces + 1):
            e.hooks = {n: start[n] + (hooks[n] - start[n]) * p / pieces for n in hooks}
            e.downhill(4000.0 if p == pieces else 4.0, 50.0 if p == pieces else 4.0)
        left_over, held, grounded = e.newton()
        out.append({"left": left_over, "tensions": e.tensions(held), "ground": grounded or 0.0,
                    "at": dict(e.at), "rot": dict(e.rot), "curvature": e.curvature(held, grounded)})
    return out
