"""Hangs every lift file of testdata/ in programs that are not ours.

For each NAME.yaml: writes NAME.mjcf.xml (the rig as MuJoCo reads it) and
NAME.inp (as CalculiX first reads it, start pose), runs both and a third method
of our own, and stores NAME.json. See README.md for the keys.

Usage: second.py --npm FOLDER [--check] [NAME ...]
"""

import argparse
import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import scipy

import ccx
import energy
import mjcf
import rig as rigs

HERE = Path(__file__).parent
DATA = HERE / "testdata"
SLACK = 1e-6  # of all that hangs
LEVEL = math.radians(0.01)  # below this tilt no side hangs low


def mujoco(rig, npm, tolerance):
    job = {"xml": mjcf.write(rig), "weight_N": rig.weight, "level": mjcf.level(rig), "tolerance": tolerance,
           "stages": [{"hooks": {n: list(at) for n, at in hooks.items()}} for _, hooks in rig.stages]}
    done = subprocess.run(["node", str(HERE / "hang.mjs")], input=json.dumps(job), cwd=npm,
                          capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{rig.name}: {done.stderr[-2000:]}")
    return json.loads(done.stdout)


def blend(a, b):
    """2 b - a, number by number: what a and b tend to when b's error is half of a's."""
    if isinstance(a, dict):
        return {k: blend(a[k], b[k]) for k in a}
    if isinstance(a, list):
        return [blend(x, y) for x, y in zip(a, b)]
    return 2 * b - a


def hung_in_mujoco(rig, npm):
    """Stages at rest, with the greatest force left over as a share of the weight."""
    if all(leg.k for leg in rig.legs.values()):
        # What double precision leaves of a length, times the stiffness, is the floor.
        stretch = min(rig.weight / (leg.k * leg.length) for leg in rig.legs.values())
        out = mujoco(rig, npm, 1e-10 if stretch > 1e-5 else 1e-9)
        stages = out["stages"]
    else:
        once = mujoco(rig.stretching(unstretched(rig)), npm, 1e-9)
        out = mujoco(rig.stretching(2 * unstretched(rig)), npm, 1e-9)
        stages = [blend(a, b) for a, b in zip(once["stages"], out["stages"])]
        for stage, a, b in zip(stages, once["stages"], out["stages"]):
            stage["left"] = max(a["left"], b["left"])
    return out["version"], stages


def unstretched(rig):
    """A stiffness at which the weight stretches the mean leg by a millionth."""
    mean = sum(leg.length for leg in rig.legs.values()) / len(rig.legs)
    return float(f"{rig.weight / (1e-6 * mean):.3g}")


def pull(rig, name, leg, stage):
    """Forces that a rope puts on what holds its two ends, half its weight included."""
    p = [np.array(stage["place"][q] if isinstance(q, str) else q) for q in leg.path]
    tension = stage["tendon"][name]["tension"]
    half = np.array([0, 0, -leg.mass / 2 * rig.g])
    first, last = (p[1] - p[0]), (p[-2] - p[-1])
    return tension * first / np.linalg.norm(first) + half, tension * last / np.linalg.norm(last) + half


def hang_of(rig, step, stage):
    """One stage in the words of a lift."""
    ends = {n: pull(rig, n, leg, stage) for n, leg in rig.ropes.items()}
    out = {"step": step, "legs": {}, "hooks": {}, "bodies": {}}
    for n in rig.legs:
        out["legs"][n] = {"tension_N": float(np.linalg.norm(ends[n][0])),
                          "slack": bool(stage["tendon"][n]["tension"] < SLACK * rig.weight)}
    for hook in rig.hooks:
        force = np.zeros(3)
        for n, leg in rig.legs.items():
            for place, f in zip((leg.path[0], leg.path[-1]), ends[n]):
                force += f if place == hook else 0
        out["hooks"][hook] = {"load_N": float(np.linalg.norm(force))}
    for n in rig.bodies:
        turned = np.array(stage["pose"][n]["rot"]).reshape(3, 3)
        tilt = math.atan2(math.hypot(turned[0, 2], turned[1, 2]), turned[2, 2])
        low = math.degrees(math.atan2(-turned[2, 1], -turned[2, 0]))
        out["bodies"][n] = {"cg_m": stage["pose"][n]["cg"], "tilt_deg": math.degrees(tilt),
                            "low_side_deg": low if LEVEL < tilt < math.pi - LEVEL else None}
    if rig.nodes:
        out["nodes"] = {n: {"at_m": stage["pose"][n]["at"]} for n in rig.nodes}
    if rig.support:
        name, place, _ = rig.support
        out["supports"] = {name: {"push_N": stage["tendon"]["ground:" + place]["tension"]}}
    if rig.ties:
        out["ties"] = {n: {"tension_N": float(np.linalg.norm(ends[n][0]))} for n in rig.ties}
    return out


def spots(rig, at):
    """Every point and centre of gravity of every body: at(body, point or None, offset)."""
    out = {}
    for n, b in rig.bodies.items():
        out[n] = at(n, None, b.cg)
        out.update({f"{n}.{p}": at(n, p, offset) for p, offset in b.points.items()})
    return out


def apart(rig, stages, tensions, places):
    """Greatest difference of tension (share of the weight), and of the height and the
    distance from the first hook's vertical of any point or centre of gravity (m)."""
    force = pose = 0.0
    for (_, hooks), stage, t, theirs in zip(rig.stages, stages, tensions, places):
        axis = next(iter(hooks.values()))
        ours = spots(rig, lambda n, p, _: stage["place"][f"{n}.{p}"] if p else stage["pose"][n]["cg"])
        for n in rig.ropes:
            force = max(force, abs(stage["tendon"][n]["tension"] - t[n]) / rig.weight)
        for spot, one in ours.items():
            a, b = np.array(one) - axis, theirs[spot] - axis
            pose = max(pose, abs(a[2] - b[2]), abs(np.hypot(*a[:2]) - np.hypot(*b[:2])))
    return force, pose


def ceiling(x):
    """The next power of ten, 1e-11 at least: a figure that does not change with the last bits."""
    return float(f"1e{math.ceil(math.log10(max(x, 1e-11)))}")


def checked(program, rig, stages, tensions, places):
    force, pose = apart(rig, stages, tensions, places)
    return {"program": program, "tensions_within_of_weight": ceiling(force), "places_within_m": ceiling(pose)}


def second(rig, npm):
    version, stages = hung_in_mujoco(rig, npm)
    left = max(s["left"] for s in stages)

    third = energy.hang(rig)
    places = [spots(rig, lambda n, _, offset: s["at"][n] + s["rot"][n] @ offset) for s in third]
    checks = [checked(f"own energy minimum, SciPy {scipy.__version__}", rig, stages,
                      [s["tensions"] for s in third], places)]
    if ccx.able(rig):
        found = ccx.hang(rig)
        places = [spots(rig, lambda n, p, _: s["xyz"][s["ids"][f"{n}.{p}" if p else n + "@cg"]]) for s in found]
        checks.insert(0, checked(f"CalculiX {ccx.version()}", rig, stages, [s["tensions"] for s in found], places))
        checks[0]["frames_gave_of_weight"] = ceiling(max(s["gave"] for s in found))

    # A mode without stiffness turns all that hangs about the vertical of the only hook.
    unit = rig.weight  # N/m, of a pendulum a metre long
    least = min(min(c for c in s["curvature"] if abs(c) > 1e-6 * unit) for s in third)
    free = any(abs(c) <= 1e-6 * unit for s in third for c in s["curvature"])
    turned = max(math.degrees(math.acos(max(-1.0, min(1.0, s["pose"][n]["rot"][8]))))
                 for s in stages for n in rig.bodies)
    stable = turned < 90
    stability = {"least_curvature_N_per_m": float(f"{least:.3g}")}
    if not stable:
        beside = energy.beside_start(rig)
        # That it turned over is the reference program's answer; the saddle it
        # left behind, where Newton steps find it, says why.
        if beside is not None and beside[0] <= math.radians(45):
            if beside[1] >= 0:
                raise RuntimeError(f"{rig.name}: turned over, yet a pose beside its start holds")
            stability["beside_start"] = {"turned_deg": float(f"{math.degrees(beside[0]):.3g}"),
                                         "least_curvature_N_per_m": float(f"{beside[1]:.3g}")}
    if least <= 0:
        raise RuntimeError(f"{rig.name}: rests on a saddle, curvature {least}")

    worst = ceiling(max([left] + [c["tensions_within_of_weight"] for c in checks]))
    return {
        "lift": rig.name + ".yaml",
        "title": rig.title,
        "hanging_N": rig.weight,
        "stable": stable,
        "free_yaw": next(iter(rig.hooks)) if free else None,
        "tolerance": max(1e-8, worst),
        "tolerance_places": max(1e-8, *(c["places_within_m"] for c in checks)),
        "hangs": [rounded(hang_of(rig, name, stage)) for (name, _), stage in zip(rig.stages, stages)],
        "made_by": {"program": f"MuJoCo {version}", "package": package(), "input": rig.name + ".mjcf.xml",
                    "left_over_of_weight": ceiling(left)},
        "stability": stability,
        "checked_by": checks,
    }


def package():
    lock = json.loads((HERE / "package-lock.json").read_text())
    return "npm mujoco-js " + lock["packages"]["node_modules/mujoco-js"]["version"]


def rounded(value):
    """Without the digits below what the programs can tell: 1e-6 N, 1e-9 m or degrees."""
    def walk(v, key):
        if isinstance(v, dict):
            return {k: walk(x, k) for k, x in v.items()}
        if isinstance(v, list):
            return [walk(x, key) for x in v]
        if isinstance(v, float) and key.endswith("_N"):
            return round(v, 6)
        if isinstance(v, float) and key.endswith(("_m", "_deg")):
            return round(v, 9) + 0.0
        return v
    return walk(value, "")


def differences(old, new, where=""):
    """Places where two results differ by more than the tolerance they claim."""
    tolerance, places, weight = old["tolerance"], old["tolerance_places"], old["hanging_N"]

    def walk(a, b, where):
        if isinstance(a, dict) and isinstance(b, dict):
            for k in sorted({*a, *b}):
                yield from walk(a.get(k), b.get(k), f"{where}.{k}")
        elif isinstance(a, list) and isinstance(b, list) and len(a) == len(b):
            for i, (x, y) in enumerate(zip(a, b)):
                yield from walk(x, y, f"{where}[{i}]")
        elif isinstance(a, float) and isinstance(b, (int, float)):
            allowed = tolerance * weight if where.endswith("_N") else places * (1 if where.endswith("]") else 60)
            if abs(a - b) > allowed:
                yield f"{where}: {a} stored, {b} now"
        elif a != b:
            yield f"{where}: {a} stored, {b} now"

    for key in ("stable", "free_yaw", "hangs"):
        yield from walk(old[key], new[key], key)


def table(results):
    rows = ["| rig | stages | legs | stable | MuJoCo left over | CalculiX agrees to | own minimum agrees to | tolerance |",
            "|---|---|---|---|---|---|---|---|"]
    for r in results:
        by = {c["program"].split()[0]: c for c in r["checked_by"]}
        within = [f'{by[p]["tensions_within_of_weight"]:.0e}' if p in by else "cannot" for p in ("CalculiX", "own")]
        rows.append(f'| {r["lift"].removesuffix(".yaml")} | {len(r["hangs"])} | {len(r["hangs"][0]["legs"])} '
                    f'| {"yes" if r["stable"] else "falls"} | {r["made_by"]["left_over_of_weight"]:.0e} '
                    f'| {within[0]} | {within[1]} | {r["tolerance"]:.0e} |')
    return "\n".join(rows) + "\n"


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--npm", required=True, help="folder that holds node_modules")
    ask.add_argument("--check", action="store_true", help="compare with the stored results, write nothing")
    ask.add_argument("names", nargs="*")
    args = ask.parse_args()
    bad = 0
    every = sorted(DATA.glob("*.yaml"))
    for path in [p for p in every if not args.names or p.stem in args.names]:
        rig = rigs.read(path)
        result = second(rig, args.npm)
        store = path.with_suffix(".json")
        if args.check:
            wrong = list(differences(json.loads(store.read_text()), result))
            bad += len(wrong)
            print(rig.name, "as stored" if not wrong else "\n  ".join(["differs", *wrong]), flush=True)
            continue
        k = 2 * unstretched(rig) if any(leg.k is None for leg in rig.legs.values()) else None
        path.with_suffix(".mjcf.xml").write_text(mjcf.write(rig.stretching(k)))
        if ccx.able(rig):
            path.with_suffix(".inp").write_text(ccx.first(rig))
        store.write_text(json.dumps(result, indent=1) + "\n")
        print(rig.name, f'tolerance {result["tolerance"]:.0e}', flush=True)
    if not args.check and not args.names:
        (HERE / "RESULTS.md").write_text("# Second method: what agreed\n\nShares of all that hangs, rounded up to a "
                                         "power of ten. Written by `run.sh`.\n\n"
                                         + table([json.loads(p.with_suffix(".json").read_text()) for p in every]))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
