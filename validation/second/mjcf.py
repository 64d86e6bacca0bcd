"""Writes a rig as MuJoCo's XML.

Bodies are free (three slides and a ball), nodes are free points, hooks are
moved by the program (mocap). A leg or tie is a spatial tendon whose spring
pulls only beyond its unloaded length: springlength "0 L0". A rope that slides
is the same tendon through more sites. The ground under a point is a one-way
spring along the vertical slide; hang.mjs shims it to its level.

Moments of inertia and damping do not change where a rig rests; they are
chosen so that it comes to rest soon.
"""

import numpy as np

GROUND = 2e8  # N/m


def numbers(values):
    return " ".join(repr(float(v)) for v in np.atleast_1d(values))


def write(rig):
    home = dict([rig.support[1].split(".")]) if rig.support else {}
    origin = {n: b.points[home[n]] if n in home else np.zeros(3) for n, b in rig.bodies.items()}
    span = {n: max((np.linalg.norm(p - b.cg) for p in b.points.values())) for n, b in rig.bodies.items()}
    inertia = {n: b.mass * (0.6 * span[n]) ** 2 for n, b in rig.bodies.items()}
    lump = {}
    for place, mass in rig.lumps():
        lump[place] = lump.get(place, 0.0) + mass

    rate = {}  # square of the fastest frequency, from above
    for leg in rig.ropes.values():
        for place in leg.path:
            name = place.split(".")[0] if isinstance(place, str) else None
            if name in rig.bodies:
                b = rig.bodies[name]
                arm = np.linalg.norm(b.points[place.split(".")[1]] - origin[name])
                rate[name] = rate.get(name, 0) + 2 * leg.k * (1 / b.mass + arm**2 / inertia[name])
            elif name in rig.nodes:
                rate[name] = rate.get(name, 0) + 2 * leg.k / rig.nodes[name].mass
    if rig.support:
        for name in home:
            rate[name] += GROUND * (1 / rig.bodies[name].mass + span[name] ** 2 / inertia[name])
    fastest = max(rate.values()) ** 0.5
    step = min(1e-3, 0.4 / fastest)

    out = [f'<mujoco model="{rig.name}">',
           f'  <option timestep="{step:.3g}" integrator="implicitfast" gravity="0 0 {-rig.g!r}">'
           '<flag energy="enable" contact="disable" constraint="disable"/></option>',
           "  <worldbody>"]
    for name, at in rig.hooks.items():
        out.append(f'    <body name="{name}" mocap="true" pos="{numbers(at)}"><site name="{name}"/></body>')
    for name, tie in rig.ties.items():
        out.append(f'    <site name="tie:{name}" pos="{numbers(tie.path[1])}"/>')
    for name, b in rig.bodies.items():
        o = origin[name]
        out.append(f'    <body name="{name}" pos="{numbers(b.at + o)}">')
        for axis, way in zip("xyz", ("1 0 0", "0 1 0", "0 0 1")):
            out.append(f'      <joint name="{name}:{axis}" type="slide" axis="{way}" damping="{3 * b.mass:.6g}"/>')
        out.append(f'      <joint name="{name}:turn" type="ball" damping="{3 * inertia[name]:.6g}"/>')
        out.append(f'      <inertial pos="{numbers(b.cg - o)}" mass="{b.mass!r}" '
                   f'diaginertia="{numbers([inertia[name]] * 3)}"/>')
        for point, p in b.points.items():
            out.append(f'      <site name="{name}.{point}" pos="{numbers(p - o)}"/>')
        for place, mass in lump.items():
            if place.startswith(name + "."):
                out.append(f'      <body name="lump:{place}" pos="{numbers(b.points[place.split(".")[1]] - o)}">'
                           f'<inertial pos="0 0 0" mass="{mass!r}" diaginertia="1e-3 1e-3 1e-3"/></body>')
        out.append("    </body>")
    for name, n in rig.nodes.items():
        mass = n.mass + lump.get(name, 0)
        out.append(f'    <body name="{name}" pos="{numbers(n.at)}">')
        for axis, way in zip("xyz", ("1 0 0", "0 1 0", "0 0 1")):
            out.append(f'      <joint name="{name}:{axis}" type="slide" axis="{way}" damping="{3 * mass:.6g}"/>')
        out.append(f'      <inertial pos="0 0 0" mass="{mass!r}" diaginertia="1 1 1"/><site name="{name}"/></body>')
    out += ["  </worldbody>", "  <tendon>"]
    for name, leg in rig.ropes.items():
        light = min(b.mass for b in [*rig.bodies.values(), *rig.nodes.values()])
        damper = 0.2 * (leg.k * light) ** 0.5
        out.append(f'    <spatial name="{name}" springlength="0 {leg.length!r}" stiffness="{leg.k!r}" '
                   f'damping="{damper:.6g}">')
        for place in leg.path:
            out.append(f'      <site site="{place if isinstance(place, str) else "tie:" + name}"/>')
        out.append("    </spatial>")
    if rig.support:
        _, place, level = rig.support
        body, point = place.split(".")
        z = (rig.bodies[body].at + rig.bodies[body].points[point])[2]
        out.append(f'    <fixed name="ground:{place}" springlength="-1000 {z - level!r}" stiffness="{GROUND!r}" '
                   f'damping="{0.2 * (GROUND * rig.bodies[body].mass) ** 0.5:.6g}">'
                   f'<joint joint="{body}:z" coef="-1"/></fixed>')
    out += ["  </tendon>", "</mujoco>", ""]
    return "\n".join(out)


def level(rig):
    """Level of the ground above the start height of the point on it."""
    if not rig.support:
        return 0.0
    _, place, z = rig.support
    body, point = place.split(".")
    return z - (rig.bodies[body].at + rig.bodies[body].points[point])[2]
