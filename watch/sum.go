package watch

import "math"

// sum is what the hooks carry with cells reading so, and the limit of its
// error, N. A cell that says nothing (NaN) is taken to bear the share that it
// bore while all read; before that, the plan's.
func (e *Engine) sum(read []float64) (n, u float64) {
	if e.shares == nil {
		return e.model.Total(read)
	}
	known, share, blind := 0.0, 0.0, 0
	for i, v := range read {
		if math.IsNaN(v) {
			blind++
			continue
		}
		known += v
		share += e.shares[i]
	}
	if blind == 0 || share < 0.2 {
		return e.model.Total(read)
	}
	e.whole = e.whole[:0]
	guessed := 0.0
	for i, v := range read {
		if math.IsNaN(v) {
			v = e.shares[i] * known / share
			guessed += math.Abs(v)
		}
		e.whole = append(e.whole, v)
	}
	n, u = e.model.Total(e.whole)
	return n, u + 0.1*guessed
}

// share notes how the cells share the load while all of them read.
func (e *Engine) share(read []float64, total float64) {
	if total-e.course.emptyN < 0.3*e.course.weight {
		return
	}
	sum := 0.0
	for _, v := range read {
		if math.IsNaN(v) {
			return
		}
		sum += v
	}
	if sum <= 0 {
		return
	}
	fresh := e.shares == nil
	if fresh {
		e.shares = make([]float64, len(read))
	}
	for i, v := range read {
		s := v / sum
		if fresh {
			e.shares[i] = s
		}
		e.shares[i] += 0.1 * (s - e.shares[i])
	}
}

// follow keeps for each cell that repeats itself how far the others went, and
// how often they changed.
func (e *Engine) follow(read []float64) {
	sum := 0.0
	for _, v := range read {
		sum += v
	}
	changes := e.changes()
	for i := range e.cells {
		k := &e.cells[i]
		switch n := sum - read[i]; {
		case k.same <= 1 || math.IsNaN(k.others[0]):
			k.others, k.stirs = [2]float64{n, n}, changes-k.changes
		case !math.IsNaN(n):
			k.others[0], k.others[1] = min(k.others[0], n), max(k.others[1], n)
		}
	}
}

// changes is how often the cells together showed another value.
func (e *Engine) changes() (n int) {
	for i := range e.cells {
		n += e.cells[i].changes
	}
	return n
}

// guessBy is how far the share of a blind cell may have moved since it was
// last seen, as a share of it (common practice, no source).
const guessBy = 0.2

// guess is what a cell that says nothing may bear, from what the others do.
func (e *Engine) guess(i int) (low, high float64, ok bool) {
	if e.shares == nil || !e.course.loaded() {
		return 0, 0, false
	}
	known, share := 0.0, 0.0
	for k := range e.cells {
		if v := e.cells[k].live(); k != i && !math.IsNaN(v) {
			known += v
			share += e.shares[k]
		}
	}
	if share < 0.2 {
		return 0, 0, false
	}
	n := e.shares[i] * known / share
	return n * (1 - guessBy), n * (1 + guessBy), true
}
