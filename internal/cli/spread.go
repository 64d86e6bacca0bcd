package cli

import (
	"fmt"
	"strings"

	"plumbhook/verdict"
)

// mattersMost is how many inputs a line of the spread table names.
const mattersMost = 3

// matters is the table of what the unknowns do to every force of a state: for
// the office, not for the crew.
func (t *teller) matters(p *verdict.Plan, s *verdict.State) {
	t.say("")
	t.say("%s", wrap("", fmt.Sprintf("spread over %d ways the figures may turn out; over: how many of them pass the rating; what matters: share of the variance a figure explains by itself", s.Spread.Draws), 0))
	g := grid{align: "ldddrl"}
	g.row("force", "P5", "P50", "P95", "over", "what matters")
	g.row("", t.unit(), t.unit(), t.unit(), "", "")
	for _, m := range p.Matters(s) {
		half := (m.Band.P95 - m.Band.P5) / 2
		over := "no rating"
		if m.Chance != nil {
			over = fmt.Sprintf("%.1f %%", 100**m.Chance)
		}
		var inputs []string
		for i, share := range m.Shares {
			if i == mattersMost {
				break
			}
			inputs = append(inputs, fmt.Sprintf("%s %.0f %%", share.Input.Name, 100*share.Index))
		}
		g.row(fold(m.Where, 16), t.force(m.Band.P5, half, nearest), t.force(m.Band.P50, half, nearest), t.force(m.Band.P95, half, nearest),
			over, fold(strings.Join(inputs, ", "), 30))
	}
	t.b.WriteString(g.String())
}

// envelope says for every part of a lift in steps where it bears most.
func (t *teller) envelope(p *verdict.Plan) {
	if len(p.States) < 2 {
		return
	}
	t.say("")
	t.say("=== the most over all steps")
	g := grid{align: "ldrl"}
	g.row("part", "P95", "of WLL", "when")
	g.row("", t.unit(), "", "")
	for _, e := range p.Envelope() {
		used := "no rating"
		if e.Utilisation != nil {
			used = percent(*e.Utilisation)
		}
		when := "as first rigged"
		if e.Step != "" {
			when = "step " + e.Step
		}
		g.row(fold(e.Where, 30), t.force(e.DemandN, e.DemandN/200, upward), used, fold(when, 26))
	}
	t.b.WriteString(g.String())
}
