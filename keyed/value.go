package keyed

import (
	"strings"
	"time"

	"plumbhook/fault"
	"plumbhook/quantity"
)

// Measured reads a quantity with its spread, exact unless one is written.
func Measured[Q quantity.Quantity](r *Reader, n *Node) quantity.Measured[Q] {
	m, err := quantity.Parse[Q](n.Text)
	if err != nil {
		r.Adopt(n, err)
	}
	return m
}

// Exact reads one figure; a spread is refused.
func Exact[Q quantity.Quantity](r *Reader, n *Node) float64 {
	m := Measured[Q](r, n)
	if m.Shape != quantity.Exact {
		r.Fault(n, fault.Range, "one figure is due here, not %s", Quote(n.Text)).Fix("leave out the spread")
	}
	return float64(m.Value)
}

// Force reads a force of either sign, or a mass taken as force at standard
// gravity.
func (r *Reader) Force(n *Node) float64 {
	v, err := quantity.ParseForce(n.Text)
	if err != nil {
		r.Adopt(n, err)
	}
	return float64(v)
}

// Rating reads a force above zero, or a mass taken as force at standard
// gravity.
func (r *Reader) Rating(n *Node) float64 {
	v, err := quantity.ParseRating(n.Text)
	if err != nil {
		r.Adopt(n, err)
	}
	return float64(v.Force)
}

// AngleFrom reads an angle that says it is measured from the word given.
func (r *Reader) AngleFrom(n *Node, from string) quantity.Measured[quantity.Angle] {
	m, word, err := quantity.ParseAngleFrom(n.Text)
	switch {
	case err != nil:
		r.Adopt(n, err)
	case word != from:
		r.Fault(n, fault.Ambiguous, "this angle is measured from %s", from).Fix("write it as %s from %s", strings.TrimSpace(strings.Split(n.Text, "from")[0]), from)
	}
	return m
}

// Plain is the text under a key, empty when there is none.
func (r *Reader) Plain(n *Node, key, need string) string {
	if it := r.Text(n, key, need); it != nil {
		return it.Text
	}
	return ""
}

// Date is the day under a key, zero when there is none.
func (r *Reader) Date(n *Node, key, need string) time.Time {
	it := r.Text(n, key, need)
	if it == nil {
		return time.Time{}
	}
	d, err := time.Parse(time.DateOnly, it.Text)
	if err != nil {
		r.Fault(it, fault.Syntax, "%s is not a date", Quote(it.Text)).Fix("write it as 2026-11-20: year, month, day")
	}
	return d
}
