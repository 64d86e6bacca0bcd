package rehearse

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"plumbhook/internal/testkit"
)

func limitOf(t *testing.T, all []Limit, cause string) Limit {
	t.Helper()
	i := slices.IndexFunc(all, func(l Limit) bool { return l.Cause == cause })
	if i < 0 {
		t.Fatalf("no limit of %s", cause)
	}
	return all[i]
}

// With cells far better than the plan, a heavier load is told at four standard
// deviations of the planned mass: 4 sqrt(41.8² + 12.2² + 14.4²)/4425 = 4.16 %;
// the cells (two of 64 N hard limits, 36.8 N standard deviation each) bring
// that to 4.18 % at most.
func TestLimitOfWeightByHand(t *testing.T) {
	testkit.Alone(t)
	all := limitsOf(t, pump)
	testkit.Near(t, "heavier", limitOf(t, all, "heavier").Detect, 0.0417, testkit.Tol{Rel: 0.01})
	testkit.Near(t, "lighter", limitOf(t, all, "lighter").Detect, 0.0417, testkit.Tol{Rel: 0.01})
}

// Mirrored readings are those of a centre of gravity on the other side, and on a
// gate that hangs evenly, or among legs that are as unlike as the plan leaves
// open, they are nothing at all.
func TestInseparable(t *testing.T) {
	testkit.Alone(t)
	for _, c := range []struct{ file, cause, same string }{
		{pump, "channels_swapped", "cg_off"},
		{pump, "heavier", "held_down"},
	} {
		if l := limitOf(t, limitsOf(t, c.file), c.cause); !slices.Contains(l.Same, c.same) {
			t.Errorf("%s: %s is the same as %v, want %s among them", c.file, c.cause, l.Same, c.same)
		}
	}
	for _, f := range []string{gate, "../../examples/filter-shell.yaml"} {
		if l := limitOf(t, limitsOf(t, f), "channels_swapped"); !math.IsInf(l.Detect, 1) {
			t.Errorf("%s: swapped channels are told at %v N", f, l.Detect)
		}
	}
}

// A leg that is called too long, and no more, still bears.
func TestLongIsNotSlack(t *testing.T) {
	all := limitsOf(t, "../../examples/filter-shell.yaml")
	long, slack := limitOf(t, all, "leg_length"), limitOf(t, all, "leg_slack")
	if !(long.Most < slack.Detect && long.Detect < long.Most) {
		t.Errorf("too long from %v to %v m, slack from %v", long.Detect, long.Most, slack.Detect)
	}
}

// The covariance is that of worlds drawn: along the combination of readings
// that tells a fault, draws of the plan and the place scatter by no more than
// one standard deviation, and by the better part of it, since the cells are
// good.
func TestCovarianceOfDraws(t *testing.T) {
	testkit.Alone(t)
	b, err := newBench(read(t, pump))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range b.suspects() {
		if s.cause != "heavier" && s.cause != "cg_off" {
			continue
		}
		v, err := s.patterns[0](s.from)
		if err != nil {
			t.Fatal(err)
		}
		d := math.Sqrt(b.inner(v, v))
		tells := mat.NewVecDense(len(v), nil)
		tells.MulVec(b.inverse, mat.NewVecDense(len(v), v))
		const n = 100
		sum, squares := 0.0, 0.0
		for seed := range uint64(n) {
			sc := calmScene()
			place := dice(seed, streamScene)
			for k := range 2 {
				sc.off[k], sc.slope[k] = 0.028*place.NormFloat64(), 0.012*place.NormFloat64()
			}
			y, err := b.observe(drawn(dice(seed, streamTruth)), sc, twist{leg: -1})
			if err != nil {
				t.Fatal(err)
			}
			for i := range y {
				y[i] -= b.base[i]
			}
			z := mat.Dot(tells, mat.NewVecDense(len(y), y)) / d
			sum += z
			squares += z * z
		}
		sd := math.Sqrt(squares/n - sum*sum/n/n)
		// Four standard errors of a standard deviation from n draws.
		if e := 4 / math.Sqrt(2*n); sd > 1+e || sd < 0.5 {
			t.Errorf("%s: draws scatter by %.3f standard deviations", s.cause, sd)
		}
	}
}
