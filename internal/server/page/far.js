import { age, connect, force, put, share, shown, trouble } from "/page/link.js";

const $ = (id) => document.getElementById(id);
let now = null;

function draw(link) {
  const v = now;
  const bad = trouble(link, v !== null);
  const state = shown(v, link);
  $("band").dataset.state = state;
  put($("state"), state);
  if (!v) {
    put($("age"), bad ? bad[0] : "");
    return;
  }
  const about = v.total_estimated && v.total_N !== null ? "≈" : "";
  put($("number"), about + force(v.total_N, v.unit));
  // The longer the number, the smaller its digits; up to seven stay above a
  // fifth of the screen's height.
  $("total").dataset.length = Math.min(9, $("number").textContent.length);
  put($("unit"), v.unit.unit);
  $("total").classList.toggle("old", Boolean(bad) || v.total_N === null);
  put($("share"), v.total_used === null ? "–" : share(v.total_used));
  $("share").parentNode.classList.toggle("old", Boolean(bad) || v.total_N === null);
  const worst = v.cells.find((c) => c.channel === v.worst);
  put($("worst"), worst ? share(worst.used) : "–");
  put($("worst-what"), worst ? `worst leg ${worst.leg}, of its stop` : "worst leg");
  $("worst").parentNode.classList.toggle("old", Boolean(bad) || !worst || worst.quality !== "good");
  const ago = (v.age_s ?? Infinity) + (bad ? link.since : 0);
  const word = bad ? bad[0] + " " : v.total_estimated ? "ESTIMATE " : "";
  put($("age"), word + (isFinite(ago) ? `${bad ? "numbers" : "readings"} ${age(ago)} old` : ""));
  $("age").classList.toggle("loud", Boolean(bad) || v.total_estimated || ago > 1);
}

connect({ view(v) { now = v; }, tick: draw });
