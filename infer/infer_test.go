package infer

import (
	"math"
	"math/rand/v2"
	"os"
	"reflect"
	"testing"

	"plumbhook/internal/testkit"
	"plumbhook/lift"
	"plumbhook/verdict"
)

func plan(t testing.TB, file string) *verdict.Plan {
	t.Helper()
	data, err := os.ReadFile("../examples/" + file)
	if err != nil {
		t.Fatal(err)
	}
	return planOf(t, string(data))
}

func planOf(t testing.TB, yaml string) *verdict.Plan {
	t.Helper()
	l, err := lift.Read("test.yaml", nil, []byte(yaml))
	if err != nil {
		t.Fatal(err)
	}
	p, err := verdict.Check(l)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func model(t testing.TB, p *verdict.Plan) *Model {
	t.Helper()
	m, err := New(p)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// truth is a lift drawn from what its plan leaves open.
type truth struct {
	m     *Model
	r     *rand.Rand
	theta []float64
	err   []float64 // of each cell, -1 to 1 of its limit
}

func draw(m *Model, seed uint64) *truth {
	r := rand.New(rand.NewPCG(seed, 1))
	t := &truth{m: m, r: r, theta: append([]float64(nil), m.mean...)}
	var xi [4]float64
	for k := range xi {
		xi[k] = r.NormFloat64()
	}
	for k := range t.theta {
		if k <= atZ {
			for j := range k + 1 {
				t.theta[k] += m.root[4*k+j] * xi[j]
			}
			continue
		}
		t.theta[k] += m.scale[k] * r.NormFloat64()
	}
	for range m.cells {
		t.err = append(t.err, 2*r.Float64()-1)
	}
	return t
}

// read is what the cells show of it: hanging, or with nothing on the legs.
func (t *truth) read(tb testing.TB, stage Stage) Window {
	tb.Helper()
	var p point
	if err := t.m.goHome(); err != nil {
		tb.Fatal(err)
	}
	if err := t.m.hang(t.theta, &p); err != nil {
		tb.Fatal(err)
	}
	w := Window{Stage: stage, Free: Moving, ReadN: p.read, NoiseN: make([]float64, len(p.read))}
	rest := t.r.Float64()
	for i := range p.read {
		c := &t.m.cells[i]
		if stage != Hold {
			p.read[i] = c.slack + rest*(c.hung-c.slack)
		}
		w.NoiseN[i] = 1e-4 * math.Abs(c.NominalN)
		p.read[i] += t.err[i]*c.gain*p.read[i] + w.NoiseN[i]*t.r.NormFloat64()
	}
	return w
}

// course is a short lift: idle, two holds, idle.
func (t *truth) course(tb testing.TB) *Course {
	var c Course
	for i, s := range []Stage{Idle, Hold, Hold, Ended} {
		w := t.read(tb, s)
		w.FromS, w.ToS = float64(20*i), float64(20*i+10)
		c.Windows = append(c.Windows, w)
	}
	c.Done = true
	return &c
}

var examples = []string{"pump-motor.yaml", "filter-shell.yaml", "stoplog-gate.yaml"}

// inside checks that so many of n lie in a 95 % band; five standard
// deviations of the count are allowed for chance, and wider bands are not
// better: at most 99.5 %.
func inside(t *testing.T, what string, in, n int) {
	t.Helper()
	sd := math.Sqrt(float64(n) * 0.05 * 0.95)
	if x := float64(in); x < 0.95*float64(n)-4*sd || x > 0.998*float64(n)+0.5 {
		t.Errorf("%s: %d of %d inside", what, in, n)
	}
}

// The total holds in the hung pose, and with the rigging alone: slack on the
// load the hooks carry it less what the lugs take.
func TestTotal(t *testing.T) {
	testkit.Alone(t)
	for _, f := range examples {
		m := model(t, plan(t, f))
		in := 0
		const n = 300
		for seed := range uint64(n) {
			x := draw(m, seed)
			var p point
			w := x.read(t, Hold)
			if err := m.hang(x.theta, &p); err != nil {
				t.Fatal(err)
			}
			n, u := m.Total(w.ReadN)
			if math.Abs(n-p.total) <= u {
				in++
			}
		}
		inside(t, f, in, n)
		read := make([]float64, len(m.cells))
		for i := range read {
			read[i] = m.cells[i].hung
		}
		if n, u := m.Total(read); math.Abs(n-m.emptyN) > u {
			t.Errorf("%s: rigging alone %.1f ± %.1f N, planned %.1f", f, n, u, m.emptyN)
		}
	}
}

// Weight and centre of gravity lie in their bands, whatever the plan says of
// the weight: half as heavy, or half as heavy again.
func TestWeigh(t *testing.T) {
	testkit.Alone(t)
	for _, f := range examples {
		m := model(t, plan(t, f))
		const n = 300
		var weight, centre int
		for seed := range uint64(n) {
			x := draw(m, seed)
			x.theta[atMass] *= 0.5 + x.r.Float64()
			w := x.read(t, Hold)
			e := m.Weigh(&w)
			if math.Abs(e.WeightN-x.theta[atMass]*m.g) <= e.WeightU95N {
				weight++
			}
			if math.Abs(e.CG[0]-x.theta[atX]) <= e.CGU95[0] {
				centre++
			}
		}
		inside(t, f+": weight", weight, n)
		inside(t, f+": centre", centre, n)
	}
}

// On the ground, or not proved free, there is no point value.
func TestAtLeast(t *testing.T) {
	m := model(t, plan(t, "pump-motor.yaml"))
	x := draw(m, 1)
	w := x.read(t, Hold)
	true := x.theta[atMass] * m.g
	w.Stage, w.Free = Tight, Unproved
	if e := m.Weigh(&w); !e.AtLeast || e.WeightN > true || e.WeightN < 0.98*true {
		t.Errorf("%+v, weighs %g", e, true)
	}
	c := Course{Windows: []Window{x.read(t, Idle), w}}
	c.Windows[1].FromS, c.Windows[1].ToS = 20, 30
	if r := m.Diagnose(&c); !r.AtLeast || r.Tell == "" {
		t.Errorf("%+v", r)
	}
	if r := m.Diagnose(&Course{}); r.Causes[0].Name != "cannot_tell" {
		t.Errorf("nothing: %+v", r)
	}
	if r := m.Diagnose(&Course{Windows: c.Windows[:1]}); r.Causes[0].Name != "cannot_tell" || !math.IsNaN(r.WeightN) {
		t.Errorf("idle: %+v", r)
	}
}

// The half-width of uniform limits is exact: 0.95 of one; of two alike
// 2 - 2 sqrt(0.05), off the triangle; and the normal's own without any.
func TestHalfWidth(t *testing.T) {
	for _, c := range []struct {
		sd     float64
		limits []float64
		want   float64
	}{
		{1, nil, z95},
		{0, []float64{3}, 2.85},
		{0, []float64{2, 2}, 2 * (2 - 2*math.Sqrt(0.05))},
		{5, []float64{0.01}, 5 * z95},
	} {
		if got := halfWidth(c.sd, c.limits); math.Abs(got-c.want) > 3e-3*c.want {
			t.Errorf("%v and %v: %g, want %g", c.sd, c.limits, got, c.want)
		}
	}
}

// The same course gives the same answer, whatever was asked before.
func TestAgain(t *testing.T) {
	m := model(t, plan(t, "filter-shell.yaml"))
	c := draw(m, 3).course(t)
	a := m.Diagnose(c)
	other := draw(m, 4)
	other.theta[m.legs[0].length] += 0.05
	m.Diagnose(other.course(t))
	if b := m.Diagnose(c); !reflect.DeepEqual(a, b) {
		t.Errorf("%+v\nthen\n%+v", a, b)
	}
}

func BenchmarkWeigh(b *testing.B) {
	m := model(b, plan(b, "filter-shell.yaml"))
	w := draw(m, 1).read(b, Hold)
	for b.Loop() {
		m.Weigh(&w)
	}
}

func BenchmarkTotal(b *testing.B) {
	m := model(b, plan(b, "filter-shell.yaml"))
	w := draw(m, 1).read(b, Hold)
	b.ReportAllocs()
	for b.Loop() {
		m.Total(w.ReadN)
	}
}

// BenchmarkDiagnose asks about ten windows: of a lift as planned, and of one with a
// leg so long that nothing near the plan fits.
func BenchmarkDiagnose(b *testing.B) {
	for _, c := range []struct {
		name   string
		longer float64
	}{{"as planned", 0}, {"leg too long", 0.04}} {
		b.Run(c.name, func(b *testing.B) {
			m := model(b, plan(b, "filter-shell.yaml"))
			x := draw(m, 1)
			x.theta[m.legs[1].length] += c.longer
			var course Course
			for i, s := range []Stage{Idle, Idle, Hold, Hold, Hold, Hold, Hold, Hold, Ended, Ended} {
				w := x.read(b, s)
				w.FromS, w.ToS = float64(20*i), float64(20*i+10)
				course.Windows = append(course.Windows, w)
			}
			for b.Loop() {
				m.Diagnose(&course)
			}
		})
	}
}

func BenchmarkNew(b *testing.B) {
	p := plan(b, "filter-shell.yaml")
	for b.Loop() {
		model(b, p)
	}
}
