package watch

import (
	"fmt"
	"math"
	"slices"

	"plumbhook/alarm"
	"plumbhook/card"
	"plumbhook/fault"
	"plumbhook/infer"
	"plumbhook/lift"
	"plumbhook/verdict"
)

// stage is the lift as first rigged, or after a step: what readings are held
// against.
type stage struct {
	name    string // of the step; empty: as first rigged
	plan    *verdict.Plan
	card    *card.Card
	model   *infer.Model // totals
	thinker *infer.Model // answers questions; its own, as it may work beside the engine
	hungN   []float64    // of each cell, what it should read with the rigging hung
	slackN  []float64    // and attached and slack
	why     string       // it cannot be watched
}

// mostStages is up to how many steps a watch is made ready for: each has its own
// mechanics, and there is no time for that during the lift.
const mostStages = 24

// sameForce is how far the lift, rigged as it stands after a step, may be from
// what the plan says of that step, as a share of the load, to count as the same.
const sameForce = 1e-3

// stages makes a plan ready, step by step. Only what is first rigged has to be
// watchable.
func stages(p *verdict.Plan, o Options, show func(float64) string) ([]stage, error) {
	all := make([]stage, 0, len(p.States))
	for i := range p.States {
		s, err := newStage(p, i, o, show)
		if err != nil {
			if i == 0 {
				return nil, err
			}
			s = stage{name: p.States[i].Hung.Step, why: fault.Of(err)[0].What}
		}
		all = append(all, s)
	}
	return all, nil
}

func newStage(p *verdict.Plan, i int, o Options, show func(float64) string) (s stage, err error) {
	s.name, s.plan = p.States[i].Hung.Step, p
	if i > 0 {
		switch {
		case i > mostStages:
			return s, fault.New(fault.TooLarge, "it comes after more than %d steps", mostStages)
		case !sameCells(p.States[0].Expected, p.States[i].Expected):
			return s, fault.New(fault.Unsupported, "other cells read there than before")
		}
		own := *p
		own.States = p.States[i : i+1 : i+1]
		if own.Lift, err = p.Lift.After(i, p.States[i].Hung); err != nil {
			return s, err
		}
		s.plan = &own
	}
	if s.card, err = card.New(s.plan, 0, o.Day); err != nil {
		return s, err
	}
	if s.model, err = infer.New(s.plan); err != nil {
		return s, err
	}
	if s.thinker, err = infer.New(s.plan); err != nil {
		return s, err
	}
	s.thinker.Show = show
	rig, err := lift.NewRig(s.plan.Lift)
	if err != nil {
		return s, err
	}
	h, err := rig.Hang()
	if err != nil {
		return s, err
	}
	planned := s.plan.States[0].Hung
	for k := range h.Legs {
		if math.Abs(h.Legs[k].TensionN-planned.Legs[k].TensionN) > sameForce*h.WeightN {
			return s, fault.New(fault.Unsupported, "how it hangs there depends on how it came there")
		}
	}
	// What each cell reads with the rigging hung, and attached and slack. A lift in
	// the middle of its steps was zeroed before them.
	free, err := rig.Zeros(1)
	if err != nil {
		return s, err
	}
	slack, err := rig.Zeros(0.5)
	if err != nil {
		return s, err
	}
	for k := range s.plan.States[0].Expected {
		c := &s.plan.States[0].Expected[k].Cell
		s.hungN, s.slackN = append(s.hungN, free[c.Leg]-c.Zero), append(s.slackN, slack[c.Leg]-c.Zero)
	}
	return s, nil
}

func sameCells(a, b []verdict.Expected) bool {
	return slices.EqualFunc(a, b, func(x, y verdict.Expected) bool { return x.Channel == y.Channel && x.Cell.Leg == y.Cell.Leg })
}

// enter has readings held against a stage from now on.
func (e *Engine) enter(k int) {
	s := &e.stages[k]
	for i := range e.rules.partSum { // what the total is held against is another part's now
		e.panel.Tell(e.now, alarm.Condition{Kind: alarm.PartStop, Where: e.rules.partSum[i].what, Value: 0, Limit: e.rules.partSum[i].n})
	}
	e.stage, e.plan, e.state, e.card, e.model, e.thinker = k, s.plan, &s.plan.States[0], s.card, s.model, s.thinker
	e.rules = newLimits(e.card, e.plan)
	old := e.hooks
	e.hooks = hooksOf(e.plan, e.state)
	for i := range old {
		e.hooks[i].n, e.hooks[i].u, e.hooks[i].slow, e.hooks[i].peak = old[i].n, old[i].u, old[i].slow, old[i].peak
	}
	for i := range e.cells {
		e.cells[i].expected, e.cells[i].hungN, e.cells[i].slackN = &e.state.Expected[i], s.hungN[i], s.slackN[i]
	}
	// What hung otherwise explains nothing here; what stood idle still does.
	c := &e.course
	c.windows = slices.DeleteFunc(c.windows, func(w window) bool { return c.stage(&w) != infer.Idle })
	c.block.n, c.signs.AtHalf = 0, nil
	e.asked, e.said, e.says, e.shares = nil, false, infer.Result{}, nil
}

// move takes a person's word that the lift stands as after a step.
func (e *Engine) move(step string) {
	for k := range e.stages {
		if s := &e.stages[k]; s.name == step && s.why == "" && k != e.stage {
			e.enter(k)
			return
		}
	}
}

// StageView is one stage of a lift.
type StageView struct {
	Name string // of the step; empty: as first rigged
	Why  string // it cannot be watched; empty: it can
}

func (e *Engine) viewStages() []StageView {
	var all []StageView
	for i := range e.stages {
		all = append(all, StageView{e.stages[i].name, e.stages[i].why})
	}
	return all
}

// compared says what an explanation is held against, in a lift of several steps.
func (e *Engine) compared() string {
	switch {
	case len(e.stages) < 2:
		return ""
	case e.stage == 0:
		return " Compared with the lift as first rigged."
	}
	return fmt.Sprintf(" Compared with the lift after the step %q.", e.stages[e.stage].name)
}
