// Package spread carries what is not known exactly, masses, places, lengths,
// stiffness, to what it does to the forces.
//
// It draws the inputs of a lift.Rig from a quasi-random sequence and hangs
// every drawn rig anew. Nothing is linearised, so a leg that goes slack in
// some of the draws is seen to. The same lift gives the same numbers.
package spread

import (
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
	"gonum.org/v1/gonum/stat/samplemv"

	"gonum.org/v1/gonum/mat"

	"plumbhook/lift"
	"plumbhook/quantity"
)

// Band is a quantity's 5th, 50th and 95th percentile.
type Band struct{ P5, P50, P95 float64 }

// Result is how far the forces of one state of a lift may lie.
type Result struct {
	Draws    int
	Unsolved int // draws that could not be hung; the bands say nothing about them
	Unstable int // draws in which the pose is lost
	Weight   Band
	Demands  []Band      // in the order of Rig.Demands, N
	Sorted   [][]float64 // the draws behind each of Demands, ascending
}

// Draws is how many rigs a plan check hangs.
const Draws = 1000

// Run draws rigs around the state that rig hangs in now, and leaves the rig
// with its nominal inputs. rig must have been hung.
func Run(rig *lift.Rig, draws int) (Result, error) {
	demands := rig.Demands()
	now := make([]float64, len(demands))
	if len(rig.Inputs) == 0 {
		rig.Bear(demands, now)
		w := rig.Weight()
		res := Result{Weight: Band{w, w, w}}
		for _, v := range now {
			res.Demands = append(res.Demands, Band{v, v, v})
			res.Sorted = append(res.Sorted, []float64{v})
		}
		return res, nil
	}
	nominal := make([]float64, len(rig.Inputs))
	for i, in := range rig.Inputs {
		nominal[i] = in.Value
	}
	res := Result{Draws: draws}
	columns := make([][]float64, len(demands))
	var weights []float64
	values := make([]float64, len(rig.Inputs))
	for _, unit := range sequence(draws, len(rig.Inputs)) {
		for i, in := range rig.Inputs {
			values[i] = at(in, unit[i])
		}
		rig.Set(values)
		stable, err := rig.Rehang()
		if err != nil {
			res.Unsolved++
			rig.Set(nominal)
			if _, err := rig.Rehang(); err != nil {
				return res, err
			}
			continue
		}
		if !stable {
			res.Unstable++
		}
		rig.Bear(demands, now)
		for k, v := range now {
			columns[k] = append(columns[k], v)
		}
		weights = append(weights, rig.Weight())
	}
	for _, c := range columns {
		sort.Float64s(c)
		res.Demands = append(res.Demands, band(c))
		res.Sorted = append(res.Sorted, c)
	}
	sort.Float64s(weights)
	res.Weight = band(weights)
	rig.Set(nominal)
	_, err := rig.Rehang()
	return res, err
}

// at turns a share of probability into a value of the input.
func at(in lift.Input, p float64) float64 {
	if in.Shape == quantity.Uniform {
		return in.Low + p*(in.High-in.Low)
	}
	// The limits of a normal input hold 95 of 100.
	sigma := (in.High - in.Low) / 2 / distuv.UnitNormal.Quantile(0.975)
	return in.Value + sigma*distuv.UnitNormal.Quantile(p)
}

// Quantile is the share p of ascending draws.
func Quantile(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	x := p*float64(len(sorted)) - 0.5 // draws stand for the middles of equal shares
	i := int(x)
	switch {
	case x <= 0:
		return sorted[0]
	case i >= len(sorted)-1:
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

func band(sorted []float64) Band {
	return Band{Quantile(sorted, 0.05), Quantile(sorted, 0.5), Quantile(sorted, 0.95)}
}

// sequence is n points of the unit cube in d dimensions: a Halton sequence,
// scrambled after Owen (2017) with a fixed seed.
func sequence(n, d int) [][]float64 {
	m := mat.NewDense(n, d, nil)
	samplemv.Halton{Kind: samplemv.Owen, Q: cube(d), Src: rand.NewPCG(1, 2)}.Sample(m)
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = m.RawRowView(i)
	}
	return rows
}

// cube is the uniform distribution on the unit cube.
type cube int

func (c cube) Quantile(x, p []float64) []float64 {
	if x == nil {
		x = make([]float64, len(p))
	}
	copy(x, p)
	return x
}
