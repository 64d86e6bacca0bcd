// Package spread carries what is not known exactly, masses, places, lengths,
// stiffness, to what it does to the forces.
//
// It draws the inputs of a lift.Rig from a quasi-random sequence and hangs
// every drawn rig anew. Nothing is linearised, so a leg that goes slack in
// some of the draws is seen to. The same lift gives the same numbers, however
// many processors work at it: the draws are cut into blocks, and every block
// starts from the nominal pose.
package spread

import (
	"cmp"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
	"gonum.org/v1/gonum/stat/samplemv"

	"plumbhook/lift"
	"plumbhook/quantity"
)

// Band is a quantity's 5th, 50th and 95th percentile.
type Band struct{ P5, P50, P95 float64 }

// Result is how far the forces of one state of a lift may lie.
type Result struct {
	Draws    int // rigs hung; 1 when the plan has no uncertain figure
	Unsolved int // of them, those that could not be hung; they are left out below
	Unstable int // of them, those in which the pose is lost

	Inputs   []lift.Input
	Weight   Drawn     // N, the load alone
	Demands  []Drawn   // N, in the order of Rig.Demands
	Readings []Reading // N, in the order of the cells given

	drawn [][]float64 // of each input, its values draw by draw
	ranks *ranks
}

// ranks are the draws in ascending order of each input, found when first asked
// for: they serve every force.
type ranks struct {
	once sync.Once
	of   [][]int32
}

func (r *Result) order() [][]int32 {
	r.ranks.once.Do(func() {
		for _, x := range r.drawn {
			order := make([]int32, len(x))
			for j := range order {
				order[j] = int32(j)
			}
			slices.SortFunc(order, func(a, b int32) int { return cmp.Compare(x[a], x[b]) })
			r.ranks.of = append(r.ranks.of, order)
		}
	})
	return r.ranks.of
}

// Drawn is one force over the draws.
type Drawn struct {
	Band
	Sorted []float64 // ascending
	values []float64 // draw by draw, as Result.drawn
}

// Cell is a load cell: it reads the force on it, less what it was zeroed
// with, and errs.
type Cell struct {
	Leg  int     // whose cell it is, in the order of the file
	Zero float64 // N, what it was zeroed with
	// ZeroSlope is how Zero changes with each of Rig.Inputs, N per unit; nil
	// when it does not.
	ZeroSlope []float64
	// Uniform hard limits: of the zero, N; of the cell's error, N and as a
	// share of the reading.
	ZeroLimit, Error, ErrorShare float64
	// Uniform hard limits of what its temperature does to it, N and as a share
	// of the reading; none where both are zero.
	Drift, DriftShare float64
	Step              float64 // N, of what its display shows; 0: every figure
}

// Limit is how far off the cell may show at a reading, its zero left out, N.
func (c *Cell) Limit(reading float64) float64 {
	return c.Error + c.Drift + (c.ErrorShare+c.DriftShare)*math.Abs(reading) + c.Step/2
}

// drifts says whether its temperature moves it.
func (c *Cell) drifts() bool { return c.Drift != 0 || c.DriftShare != 0 }

// read is what the cell shows with a force on it, in a rig of these inputs;
// zero, err and warm, from 0 to 1, say where between their limits the errors
// are.
func (c *Cell) read(force float64, inputs []lift.Input, values []float64, zero, err, warm float64) float64 {
	v := force - c.Zero - (2*zero-1)*c.ZeroLimit
	for k, slope := range c.ZeroSlope {
		v -= slope * (values[k] - inputs[k].Value)
	}
	n := math.Abs(v)
	v += (2*err-1)*(c.Error+c.ErrorShare*n) + (2*warm-1)*(c.Drift+c.DriftShare*n)
	if c.Step > 0 {
		v = math.Round(v/c.Step) * c.Step
	}
	return v
}

// Reading is what a cell may read.
type Reading struct {
	Drawn
	Low, High float64 // 95 draws in 100 of this cell
	// 95 draws in 100 have every cell within its joint limits at once.
	JointLow, JointHigh float64
}

// Draws is how many rigs a plan check hangs.
const Draws = 4000

// Steps share so many draws, and each has no fewer than the least: a sequence of
// two hundred steps is to be answered in seconds, and quantiles of the least
// are good to a few per cent of the half-width still.
const (
	stepDraws  = 25 * Draws
	leastDraws = Draws / 8
)

// DrawsOf is how many rigs a check hangs after a step of so many, or of the
// lift as first rigged, which has no step.
func DrawsOf(steps int, step string) int {
	if step == "" || steps == 0 {
		return Draws
	}
	return min(Draws, max(leastDraws, stepDraws/steps))
}

// blockSize is how many draws go from pose to pose before the nominal one is
// taken up again.
const blockSize = 50

// Run draws rigs around the state that rig hangs in now, and leaves the rig
// as it is. rig must have been hung.
func Run(rig *lift.Rig, cells []Cell, draws int) (Result, error) {
	d := len(rig.Inputs)
	if d == 0 && len(cells) == 0 {
		draws = 1
	}
	res := Result{Draws: draws, Inputs: rig.Inputs, ranks: &ranks{}}
	values := make([][]float64, draws)
	wide := d + 2*len(cells)
	warm := make([]int, len(cells)) // column of what the temperature does to each cell; 0: nothing
	for k := range cells {
		if cells[k].drifts() {
			warm[k], wide = wide, wide+1
		}
	}
	units := sequence(draws, wide)
	for i, unit := range units {
		values[i] = make([]float64, d)
		for k, in := range rig.Inputs {
			values[i][k] = at(in, unit[k])
		}
	}
	demands := rig.Demands()
	outs := make([]out, draws)
	if err := hangAll(rig, demands, cells, values, outs); err != nil {
		return res, err
	}
	res.drawn = make([][]float64, d)
	res.Demands = make([]Drawn, len(demands))
	res.Readings = make([]Reading, len(cells))
	for i, o := range outs {
		if o.forces == nil {
			res.Unsolved++
			continue
		}
		if !o.stable {
			res.Unstable++
		}
		for k := range res.drawn {
			res.drawn[k] = append(res.drawn[k], values[i][k])
		}
		for k, v := range o.forces {
			res.Demands[k].values = append(res.Demands[k].values, v)
		}
		for k := range cells {
			at := 0.5
			if warm[k] > 0 {
				at = units[i][warm[k]]
			}
			v := cells[k].read(o.cells[k], rig.Inputs, values[i], units[i][d+2*k], units[i][d+2*k+1], at)
			res.Readings[k].values = append(res.Readings[k].values, v)
		}
		res.Weight.values = append(res.Weight.values, o.weight)
	}
	res.Weight.sort()
	for k := range res.Demands {
		res.Demands[k].sort()
	}
	res.bound()
	return res, nil
}

// Nominal is what Run would give if every figure were known exactly, of the
// state that rig hangs in now: one value of each force, and no draws.
func Nominal(rig *lift.Rig, cells []Cell) Result {
	res := Result{Inputs: rig.Inputs, ranks: &ranks{}, drawn: make([][]float64, len(rig.Inputs))}
	demands := rig.Demands()
	res.Demands, res.Readings = make([]Drawn, len(demands)), make([]Reading, len(cells))
	forces, values := make([]float64, len(demands)), rig.Nominal()
	rig.Bear(demands, forces)
	for k, v := range values {
		res.drawn[k] = []float64{v}
	}
	for k, v := range forces {
		res.Demands[k].values = []float64{v}
		res.Demands[k].sort()
	}
	for k := range cells {
		v := cells[k].read(rig.AtCell(cells[k].Leg), rig.Inputs, values, 0.5, 0.5, 0.5)
		res.Readings[k].values = []float64{v}
	}
	res.Weight.values = []float64{rig.Weight()}
	res.Weight.sort()
	res.bound()
	return res
}

// bound sets the limits of the readings. The joint ones leave out as many
// draws of every cell by itself as it takes for 95 in 100 draws to be inside
// everywhere.
func (r *Result) bound() {
	if len(r.Readings) == 0 || len(r.Weight.Sorted) == 0 {
		return
	}
	n := len(r.Weight.Sorted)
	// How far out a draw is: the least share of either tail that any cell
	// puts it in.
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	for k := range r.Readings {
		rd := &r.Readings[k]
		rd.sort()
		rd.Low, rd.High = rd.Quantile(0.025), rd.Quantile(0.975)
		for i, v := range rd.values {
			j, _ := slices.BinarySearch(rd.Sorted, v)
			p := (float64(j) + 0.5) / float64(n)
			out[i] = min(out[i], p, 1-p)
		}
	}
	slices.Sort(out)
	tail := Quantile(out, 0.05)
	for k := range r.Readings {
		rd := &r.Readings[k]
		rd.JointLow, rd.JointHigh = rd.Quantile(tail), rd.Quantile(1-tail)
	}
}

// out is what one draw gave; forces is nil when it could not be hung.
type out struct {
	forces []float64
	cells  []float64
	weight float64
	stable bool
}

// hangAll hangs every draw, block by block, on all processors.
func hangAll(rig *lift.Rig, demands []lift.Demand, cells []Cell, values [][]float64, outs []out) error {
	blocks := make(chan int)
	twins, err := rig.Twins(min(runtime.GOMAXPROCS(0), (len(values)+blockSize-1)/blockSize))
	if err != nil {
		return err
	}
	errs := make([]error, len(twins))
	var wg sync.WaitGroup
	for w, twin := range twins {
		wg.Go(func() {
			for from := range blocks {
				if errs[w] == nil {
					to := min(from+blockSize, len(values))
					errs[w] = hangBlock(twin, demands, cells, values[from:to], outs[from:to])
				}
			}
		})
	}
	for from := 0; from < len(values); from += blockSize {
		blocks <- from
	}
	close(blocks)
	wg.Wait()
	return cmp.Or(errs...)
}

func hangBlock(rig *lift.Rig, demands []lift.Demand, cells []Cell, values [][]float64, outs []out) error {
	home := func() error {
		rig.Set(rig.Nominal())
		return rig.Home()
	}
	if err := home(); err != nil {
		return err
	}
	for i, v := range values {
		rig.Set(v)
		stable, err := rig.Rehang()
		if err != nil {
			if err := home(); err != nil {
				return err
			}
			continue
		}
		outs[i] = out{make([]float64, len(demands)), make([]float64, len(cells)), rig.Weight(), stable}
		rig.Bear(demands, outs[i].forces)
		for k := range cells {
			outs[i].cells[k] = rig.AtCell(cells[k].Leg)
		}
	}
	return nil
}

func (d *Drawn) sort() {
	d.Sorted = slices.Sorted(slices.Values(d.values))
	d.Band = Band{d.Quantile(0.05), d.Quantile(0.5), d.Quantile(0.95)}
}

// Quantile is the value that a share p of the draws stays under.
func (d *Drawn) Quantile(p float64) float64 { return Quantile(d.Sorted, p) }

// Quantile is the value that a share p of ascending draws stays under.
func Quantile(sorted []float64, p float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	x := p*float64(n) - 0.5 // draws stand for the middles of equal shares
	i := int(math.Floor(x))
	switch {
	case i < 0:
		return sorted[0]
	case i >= n-1:
		return sorted[n-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// Past is the share of draws above a limit.
func (d *Drawn) Past(limit float64) float64 {
	i, _ := slices.BinarySearchFunc(d.Sorted, limit, func(v, l float64) int {
		if v > l {
			return 1
		}
		return -1
	})
	return float64(len(d.Sorted)-i) / float64(len(d.Sorted))
}

// Share is how much of the variance of one force an input explains by
// itself, its first-order index: Var(E[Y | X]) / Var(Y).
type Share struct {
	Input lift.Input
	Index float64
}

// Shares gives the first-order index of every input for demand k, largest
// first. They are read off the draws: sort by the input, cut into classes,
// compare the variance between the classes' means with the whole (Plischke,
// Borgonovo and Smith 2013), less what as many classes of noise would show.
func (r *Result) Shares(k int) []Share {
	y := r.Demands[k].values
	n := len(y)
	mean, total := moments(y)
	classes := int(math.Sqrt(float64(n)))
	var shares []Share
	for i, in := range r.Inputs {
		s := Share{Input: in}
		if total > 0 && classes > 1 {
			order := r.order()[i]
			between := 0.0
			for c := range classes {
				from, to := c*n/classes, (c+1)*n/classes
				m := 0.0
				for _, j := range order[from:to] {
					m += y[j]
				}
				m /= float64(to - from)
				between += float64(to-from) * (m - mean) * (m - mean)
			}
			noise := float64(classes-1) / float64(n)
			s.Index = max(0, (between/float64(n)/total-noise)/(1-noise))
		}
		shares = append(shares, s)
	}
	slices.SortStableFunc(shares, func(a, b Share) int { return cmp.Compare(b.Index, a.Index) })
	return shares
}

func moments(y []float64) (mean, variance float64) {
	for _, v := range y {
		mean += v
	}
	mean /= float64(len(y))
	for _, v := range y {
		variance += (v - mean) * (v - mean)
	}
	return mean, variance / float64(len(y))
}

// at turns a share of probability into a value of the input.
func at(in lift.Input, p float64) float64 {
	if in.Shape == quantity.Uniform {
		return in.Low + p*(in.High-in.Low)
	}
	// The limits of a normal input hold 95 of 100.
	sigma := (in.High - in.Low) / 2 / distuv.UnitNormal.Quantile(0.975)
	v := in.Value + sigma*distuv.UnitNormal.Quantile(p)
	// A place may lie on either side of zero; a mass, a length, a stiffness
	// that is positive by its limits stays so in the tail.
	if in.Low > 0 && (in.Unit != "m" || strings.HasSuffix(in.Name, ".length")) {
		v = max(v, in.Low/2)
	}
	return v
}

// sequence is n points of the unit cube in d dimensions: a Halton sequence,
// scrambled after Owen (2017) with a fixed seed.
func sequence(n, d int) [][]float64 {
	rows := make([][]float64, n)
	if d == 0 {
		return rows
	}
	m := mat.NewDense(n, d, nil)
	samplemv.Halton{Kind: samplemv.Owen, Q: cube(d), Src: rand.NewPCG(1, 2)}.Sample(m)
	for i := range rows {
		rows[i] = m.RawRowView(i)
	}
	return rows
}

// cube is the uniform distribution on the unit cube.
type cube int

// Quantile of each coordinate is the coordinate itself.
func (c cube) Quantile(x, p []float64) []float64 {
	if x == nil {
		x = make([]float64, len(p))
	}
	copy(x, p)
	return x
}
