package contract

import "plumbhook/fault"

// Faults is what is answered in place of what was asked for.
type Faults struct {
	Faults []Fault `json:"faults"`
}

// Fault is one thing that is wrong.
type Fault struct {
	Code   string `json:"code" doc:"stable; texts may be reworded"`
	What   string `json:"what"`
	Where  string `json:"where" doc:"the thing concerned"`
	Do     string `json:"do" doc:"what to do about it"`
	File   string `json:"file"`
	Line   int    `json:"line" doc:"from 1; 0: not known"`
	Column int    `json:"column" doc:"from 1, in characters; 0: not known"`
}

// NewFaults shapes the faults inside an error.
func NewFaults(err error) Faults {
	out := Faults{Faults: []Fault{}}
	for _, f := range fault.Of(err) {
		out.Faults = append(out.Faults, Fault{string(f.Code), f.What, f.Where, f.Do, f.Pos.File, f.Pos.Line, f.Pos.Column})
	}
	return out
}
