package size

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"plumbhook/fault"
	"plumbhook/lift"
	"plumbhook/quantity"
	"plumbhook/statics"
)

// trials hangs a lift with other lengths of some legs. Each trial starts from
// the start pose of the file, so its answer depends on nothing tried before.
type trials struct {
	lift  *lift.Lift
	legs  []int          // indices into lift.Legs
	down  [3]float64     // wanted, in the load's axes
	under *float64       // headroom wanted, m
	reach float64        // m
	row   map[string]int // of each body and node in the balance of all of them
	rows  int
}

func newTrials(h *lift.Hung, legs []int, g Goal) *trials {
	l := h.Lift
	t := &trials{lift: l, legs: legs, down: g.down(), reach: reach(h), row: map[string]int{"load": 0}, rows: 6}
	for i := range l.Spreaders {
		t.row[l.Spreaders[i].Name], t.rows = t.rows, t.rows+6
	}
	for i := range l.Nodes {
		t.row[l.Nodes[i].Name], t.rows = t.rows, t.rows+3
	}
	return t
}

// with is the lift as first rigged with other lengths; their spread in m stays
// as it was.
func (t *trials) with(x []float64) *lift.Lift {
	l := *t.lift
	l.Legs, l.Steps = slices.Clone(l.Legs), nil
	for k, i := range t.legs {
		m := &l.Legs[i].Length
		by := quantity.Length(x[k]) - m.Value
		m.Value, m.Low, m.High = m.Value+by, m.Low+by, m.High+by
	}
	return &l
}

func (t *trials) rig(x []float64) (*lift.Rig, *lift.Hung, error) {
	r, err := lift.NewRig(t.with(x))
	if err != nil {
		return nil, nil, err
	}
	h, err := r.Hang()
	if err != nil {
		return nil, nil, err
	}
	for i := range h.Legs {
		if most := (1 + overstretched) * float64(r.Lift.Legs[i].Length.Value); h.Legs[i].LengthM > most && !h.Legs[i].Slack {
			return nil, nil, fault.New(fault.Rig, "leg %s is too short to reach what it joins", h.Legs[i].Name)
		}
	}
	return r, h, nil
}

// overstretched is the share of its length by which no leg stretches and
// holds: nylon webs, the softest slings, give a tenth at their rating (from
// memory). A trial past it is no rig.
const overstretched = 0.25

// lengths are those of the file.
func (t *trials) lengths() []float64 {
	x := make([]float64, len(t.legs))
	for k, i := range t.legs {
		x[k] = float64(t.lift.Legs[i].Length.Value)
	}
	return x
}

// headroomWeight makes level come before low where both cannot be had.
const headroomWeight = 0.05

// wrong tells everything that is not as wanted about a hung lift, each in m.
// p projects on the self-stress, as balance gives it.
func (t *trials) wrong(h *lift.Hung, p *mat.Dense) []float64 {
	down := downOf(h)
	n := len(h.Legs)
	r := make([]float64, 0, 4+2*n)
	for k := range down {
		r = append(r, t.reach*(down[k]-t.down[k]))
	}
	pull, soft, parts := make([]float64, n), 0.0, 0.0
	for i := range h.Legs {
		l := &h.Legs[i]
		gap := 0.0
		if l.Slack {
			gap = max(0, float64(h.Lift.Legs[i].Length.Value)-l.LengthM)
		}
		r = append(r, gap)
		pull[i] = tension(h, i)
		if k := h.Lift.Legs[i].Stiffness; k != nil {
			soft += p.At(i, i) / float64(k.Value)
		}
		parts += p.At(i, i)
	}
	if parts > 0 {
		soft /= parts
	}
	var off mat.VecDense
	off.MulVec(p, mat.NewVecDense(n, pull))
	for i := range n {
		r = append(r, soft*off.AtVec(i))
	}
	if t.under != nil {
		r = append(r, headroomWeight*(h.HeadroomM-*t.under))
	}
	return r
}

// reach is the greatest distance of a used lug from the load's CG in plan,
// load axes, and not less than a tenth of that in space or a millimetre.
func reach(h *lift.Hung) float64 {
	b := &h.Bodies[0]
	most := 1e-3
	for name := range b.Forces {
		for _, lug := range h.Lift.Load.Lugs {
			if lug.Name == name {
				d := statics.Vec(lug.At.XYZ()).Sub(h.CGLoad)
				most = max(most, math.Hypot(d[0], d[1]), d.Norm()/10)
			}
		}
	}
	return most
}

// tension is that of the spans of leg i, less than zero in a slack leg that
// stretches: the force by which it would have to push to be as long as it is.
func tension(h *lift.Hung, i int) float64 {
	leg, l := &h.Lift.Legs[i], &h.Legs[i]
	if l.Slack {
		if leg.Stiffness == nil {
			return 0
		}
		return float64(leg.Stiffness.Value) * min(0, l.LengthM-float64(leg.Length.Value))
	}
	f := statics.Vec(l.Lower)
	if !leg.Catenary {
		f[2] += float64(leg.Mass.Value) * float64(h.Lift.Site.G.Value) / 2 // the half that is lumped there
	}
	return f.Norm()
}

// selfStress gives the projection on those tensions that pull on nothing but
// each other: the null space of the balance of all bodies and nodes.
func (t *trials) selfStress(h *lift.Hung) *mat.Dense {
	n := len(h.Legs)
	a := mat.NewDense(t.rows, n, nil)
	cg := map[string]statics.Vec{}
	for i := range h.Bodies {
		cg[h.Bodies[i].Name] = h.Bodies[i].CG
	}
	add := func(r, c int, v float64) { a.Set(r, c, a.At(r, c)+v) }
	for i := range h.Legs {
		leg, path := &h.Lift.Legs[i], h.Legs[i].Path
		for j, ref := range append(append([]lift.Ref{leg.From}, leg.Via...), leg.To) {
			row, moves := t.row[ref.Body]
			if !moves { // a hook
				continue
			}
			var f statics.Vec
			for _, k := range []int{j - 1, j + 1} {
				if k >= 0 && k < len(path) {
					if d := statics.Vec(path[k]).Sub(path[j]); d.Norm() > 0 {
						f = f.Add(d.Scale(1 / d.Norm()))
					}
				}
			}
			var m statics.Vec
			at, body := cg[ref.Body]
			if body {
				m = statics.Vec(path[j]).Sub(at).Cross(f).Scale(1 / t.reach)
			}
			for q := range 3 {
				add(row+q, i, f[q])
				if body {
					add(row+3+q, i, m[q])
				}
			}
		}
	}
	var gram mat.SymDense
	gram.SymOuterK(1, a.T())
	var eig mat.EigenSym
	p := mat.NewDense(n, n, nil)
	if !eig.Factorize(&gram, true) {
		return p
	}
	values := eig.Values(nil) // ascending
	var v mat.Dense
	eig.VectorsTo(&v)
	for k, e := range values {
		if e < nullShare*values[n-1] {
			var outer mat.Dense
			outer.Outer(1, v.ColView(k), v.ColView(k))
			p.Add(p, &outer)
		}
	}
	return p
}

// nullShare of the largest eigenvalue of AᵀA counts as zero: a direction in
// which a hundred thousand times the tension does as much.
const nullShare = 1e-10

func sum2(r []float64) float64 {
	s := 0.0
	for _, v := range r {
		s += v * v
	}
	return s
}
