// Hangs one rig in MuJoCo and prints where it comes to rest.
//
// Standard input: {xml, weight_N, level, stages}. Each stage moves hooks
// (mocap bodies) to new places and lets the rig settle there. Standard output:
// per stage the pose of every body, the length of every tendon, and the
// greatest force or moment left over as a share of the weight.
import { readFileSync, writeSync } from 'node:fs';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';

const require = createRequire(process.cwd() + '/');
const { default: load } = await import(pathToFileURL(require.resolve('mujoco-js')));
const mj = await load();
const job = JSON.parse(readFileSync(0, 'utf8'));

mj.FS.writeFile('/rig.xml', job.xml);
const model = mj.MjModel.loadFromXML('/rig.xml');
const data = new mj.MjData(model);
const dt = model.opt.timestep;
const damping = Float64Array.from(model.dof_damping);

const names = (count, type) => {
  const out = [];
  for (let i = 0; i < count; i++) out.push(mj.mj_id2name(model, type.value, i));
  return out;
};
const bodies = names(model.nbody, mj.mjtObj.mjOBJ_BODY);
const tendons = names(model.ntendon, mj.mjtObj.mjOBJ_TENDON);
const sites = names(model.nsite, mj.mjtObj.mjOBJ_SITE);
const ground = tendons.flatMap((n, i) => (n.startsWith('ground:') ? [i] : []));

const rest = () => {
  data.qvel.fill(0);
  mj.mj_forward(model, data);
  const applied = data.qfrc_passive;
  const bias = data.qfrc_bias;
  let worst = 0;
  for (let i = 0; i < model.nv; i++) worst = Math.max(worst, Math.abs(applied[i] - bias[i]));
  return worst / job.weight_N;
};

// Damped first, so that the rig follows its way down from the start pose;
// then undamped with the velocity taken away at every peak of the kinetic
// energy, which converges at the rate of the slowest mode.
const damped = (seconds) => {
  model.dof_damping.set(damping);
  for (let n = Math.ceil(seconds / dt); n > 0; n--) mj.mj_step(model, data);
};
const peaks = (tolerance, limit) => {
  model.dof_damping.fill(0);
  let best = rest();
  let last = 0;
  let since = 0;
  for (let n = Math.ceil(limit / dt); n > 0 && best > tolerance; n--) {
    mj.mj_step(model, data);
    const energy = data.energy[1];
    since++;
    if (energy < last && since > 4) {
      best = rest();
      last = 0;
      since = 0;
    } else {
      last = energy;
    }
  }
  return best;
};

// The ground is a one-way spring on a shim: once at rest, the shim grows by
// what the spring gave way, until the point stands at its level.
const shim = () => {
  let off = 0;
  for (const i of ground) {
    const upper = model.tendon_lengthspring[2 * i + 1];
    const sunk = data.ten_length[i] - upper;
    if (sunk <= 0) continue;
    const wrong = data.ten_length[i] + job.level;
    model.tendon_lengthspring[2 * i + 1] = upper - wrong;
    off = Math.max(off, Math.abs(wrong));
  }
  return off;
};

const hang = (stage) => {
  const from = Float64Array.from(data.mocap_pos);
  const to = Float64Array.from(from);
  for (const [name, at] of Object.entries(stage.hooks)) {
    const id = model.body_mocapid[bodies.indexOf(name)];
    to.set(at, 3 * id);
  }
  const far = Math.max(...to.map((v, i) => Math.abs(v - from[i])));
  const moving = Math.ceil((far * 5) / dt);
  model.dof_damping.set(damping);
  for (let n = 1; n <= moving; n++) {
    data.mocap_pos.set(to.map((v, i) => from[i] + ((v - from[i]) * n) / moving));
    mj.mj_step(model, data);
  }
  damped(40);
  let left = peaks(job.tolerance, 400);
  for (let i = 0; ground.length && i < 20; i++) {
    if (shim() < 1e-13) break;
    left = peaks(job.tolerance, 400);
  }
  const pose = {};
  bodies.forEach((name, i) => {
    if (!name || name === 'world') return;
    pose[name] = {
      at: Array.from(data.xpos.slice(3 * i, 3 * i + 3)),
      cg: Array.from(data.xipos.slice(3 * i, 3 * i + 3)),
      rot: Array.from(data.xmat.slice(9 * i, 9 * i + 9)),
    };
  });
  const place = {};
  sites.forEach((name, i) => (place[name] = Array.from(data.site_xpos.slice(3 * i, 3 * i + 3))));
  const tendon = {};
  tendons.forEach((name, i) => {
    const length = data.ten_length[i];
    const over = length - model.tendon_lengthspring[2 * i + 1];
    tendon[name] = { length, tension: model.tendon_stiffness[i] * Math.max(0, over) };
  });
  return { left, time: data.time, pose, place, tendon };
};

const out = { version: mj.mj_versionString(), stages: job.stages.map(hang) };
writeSync(1, JSON.stringify(out));
