package contract

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"plumbhook/card"
	"plumbhook/lift"
	"plumbhook/size"
	"plumbhook/verdict"
)

// DeskCheck is the answer of the plan desk: Check, and whether it is a quick
// look. In a quick look every P5 and P95 is the nominal figure.
type DeskCheck struct {
	Check
	Quick bool `json:"quick" doc:"hung as the file says, without what is not known exactly; never a verdict to lift by"`
}

// NewDeskCheck shapes a plan that may not be drawn.
func NewDeskCheck(p *verdict.Plan) DeskCheck { return DeskCheck{NewCheck(p), !p.Drawn} }

// Desk is what may be had for a plan: changes that a person may take.
type Desk struct {
	Suggestions []Suggestion `json:"suggestions"`
	Size        Size         `json:"size"`
}

// Suggestion is one change of the lift file with its reason.
type Suggestion struct {
	Says   string `json:"says"`
	Why    string `json:"why"`
	Edits  []Edit `json:"edits" doc:"values of the lift file to set; empty: a person has to choose"`
	Result string `json:"result" doc:"what the lift is like then"`
}

// Edit sets one value of the lift file.
type Edit struct {
	Path  string `json:"path" doc:"as legs.west.stack[4].length; places in a list count from 1"`
	Value string `json:"value"`
}

// NewDesk makes suggestions of an answer.
func NewDesk(a *size.Answer) Desk {
	d := Desk{Suggestions: []Suggestion{}, Size: NewSize(a)}
	lengths := a.Lengths
	if a.Headroom != nil {
		lengths = a.Headroom.Longest
	}
	if lengths != nil {
		d.lengths(a.Lift, lengths)
	}
	for _, c := range a.Choices {
		if c.Pick == nil || len(c.At) == 0 {
			continue
		}
		s := Suggestion{
			Says: fmt.Sprintf("%s at %s", c.Pick.Name, strings.Join(c.At, ", ")),
			Why:  fmt.Sprintf("%s asks for %.4g kN", c.Place.Where, c.Place.DemandN/1000), Result: fmt.Sprintf("it may carry %.4g kN there", c.PickN/1000), Edits: []Edit{},
		}
		differs := false
		for _, at := range c.At {
			part := partAt(a.Lift, at)
			if part == nil || c.Pick.Size == "" {
				continue
			}
			key := "size"
			if part.Facts["diameter"] != "" {
				key = "diameter"
			}
			if part.Facts[key] != c.Pick.Size {
				differs = true
				s.Edits = append(s.Edits, Edit{at + "." + key, c.Pick.Size})
				if part.Facts["wll"] != "" && c.Pick.WLL != nil {
					s.Edits = append(s.Edits, Edit{at + ".wll", c.Pick.WLL.Text})
				}
			}
		}
		if differs {
			d.Suggestions = append(d.Suggestions, s)
		}
	}
	for i := range a.Places {
		if p := &a.Places[i]; p.Short() {
			d.Suggestions = append(d.Suggestions, Suggestion{
				Says: fmt.Sprintf("at %s something rated for %.4g kN or more", p.Where, p.DemandN/1000), Why: p.Why.String(), Edits: []Edit{},
				Result: fmt.Sprintf("it is rated for %.4g kN now", *p.RatedN/1000),
			})
		}
	}
	return d
}

// lengths suggests the practical lengths where they differ from the file's.
func (d *Desk) lengths(l *lift.Lift, lengths *size.Lengths) {
	s := Suggestion{Says: "leg lengths that make the load hang as wanted", Edits: []Edit{}, Why: fmt.Sprintf("with the lengths in the file it hangs %.2g° off", degrees(float64(lengths.Now)))}
	rig := &lengths.Practical
	for i := range rig.Legs {
		leg := &rig.Legs[i]
		by := leg.To - leg.From
		if !leg.Sized || math.Abs(by) < 0.5e-3 {
			continue
		}
		path, now := "legs."+leg.Name+".length", leg.From
		if stack := l.Legs[i].Stack; len(stack) > 0 {
			k := longest(stack)
			if k < 0 {
				continue
			}
			path, now = fmt.Sprintf("legs.%s.stack[%d].length", leg.Name, k+1), float64(stack[k].Length.Value)
		}
		s.Edits = append(s.Edits, Edit{path, fmt.Sprintf("%.3f m", now+by)})
	}
	if len(s.Edits) == 0 {
		return
	}
	s.Result = fmt.Sprintf("%.2g° off, %.3g m of headroom", degrees(float64(rig.Off)), rig.Hung.HeadroomM)
	d.Suggestions = append(d.Suggestions, s)
}

// longest is the piece of a stack whose length can be chosen; -1: none says its
// length.
func longest(stack []lift.Part) int {
	best := -1
	for k := range stack {
		if n := stack[k].Length; n != nil && (best < 0 || n.Value > stack[best].Length.Value) {
			best = k
		}
	}
	return best
}

// partAt finds a stack entry by the name that a place gives it.
func partAt(l *lift.Lift, where string) *lift.Part {
	for i := range l.Legs {
		for k := range l.Legs[i].Stack {
			if where == fmt.Sprintf("legs.%s.stack[%d]", l.Legs[i].Name, k+1) {
				return &l.Legs[i].Stack[k]
			}
		}
	}
	return nil
}

// Lesson is what the height of the hook does to the legs of one job: the load
// hung level at every height by the same mechanics as the plan. Forces are
// nominal, the dynamic factor left out; used is with it.
type Lesson struct {
	Title    string       `json:"title"`
	SHA256   string       `json:"sha256"`
	Cautions string       `json:"cautions"`
	WeightN  float64      `json:"weight_N" doc:"of the load alone"`
	Planned  LessonRow    `json:"planned"`
	Rows     []LessonRow  `json:"rows" doc:"highest hook first"`
	RunsOut  *LessonPlace `json:"runs_out" doc:"the weakest part and the angle at which it runs out; null: no leg leans, or nothing has a rating"`
	Table    *CardAngle   `json:"table" doc:"the leaning leg that is used most, at P95, its vertical share kept; null: no leg leans"`
}

// LessonPlace is where a part runs out.
type LessonPlace struct {
	Leg               string   `json:"leg"`
	Part              string   `json:"part"`
	LimitN            float64  `json:"limit_N" doc:"along the leg"`
	FromHorizontalDeg *float64 `json:"from_horizontal_deg" doc:"null: at no angle, or at every angle"`
	Already           bool     `json:"already" doc:"its share alone is past the limit"`
}

// LessonRow is one height of the hook.
type LessonRow struct {
	HeadroomM float64              `json:"headroom_m" doc:"from the bearing of the hook down to the highest lug"`
	Legs      map[string]LessonLeg `json:"legs"`
	Squeeze   []Compression        `json:"squeeze" doc:"push between two points of a body"`
	Used      *float64             `json:"used" doc:"of the weakest rated part of any leg, dynamic factor included; null: no part has a rating"`
	Worst     string               `json:"worst" doc:"that part"`
}

// LessonLeg is one leg at one height.
type LessonLeg struct {
	TensionN          float64 `json:"tension_N"`
	ShareN            float64 `json:"vertical_share_N"`
	LengthM           float64 `json:"length_m"`
	HeightM           float64 `json:"height_m"`
	FromHorizontalDeg float64 `json:"from_horizontal_deg"`
	FromVerticalDeg   float64 `json:"from_vertical_deg"`
	IncludedDeg       float64 `json:"included_deg" doc:"between this leg and one that leans as much the other way"`
	Factor            float64 `json:"factor" doc:"length over height: tension over vertical share"`
	Slack             bool    `json:"slack"`
}

// NewLesson hangs a plan's load at other heights of the hook.
func NewLesson(p *verdict.Plan, c *card.Card) (Lesson, error) {
	out := Lesson{Title: p.Lift.Title, SHA256: p.Lift.SHA256, Cautions: verdict.Cautions, Rows: []LessonRow{}, Table: newCardAngle(c.Angle)}
	planned, rigs, err := size.Heights(p.Lift, heights)
	if err != nil {
		return out, err
	}
	if a := c.Angle; a != nil && a.Weakest != "" {
		out.RunsOut = &LessonPlace{Leg: a.Leg, Part: a.Weakest, LimitN: a.LimitN, Already: a.NotEvenVertical}
		if a.OutAngle != nil {
			d := degrees(*a.OutAngle)
			out.RunsOut.FromHorizontalDeg = &d
		}
	}
	out.WeightN = planned.WeightN
	out.Planned = lessonRow(p, planned)
	for _, h := range rigs {
		out.Rows = append(out.Rows, lessonRow(p, h))
	}
	slices.SortFunc(out.Rows, func(a, b LessonRow) int {
		switch {
		case a.HeadroomM > b.HeadroomM:
			return -1
		case a.HeadroomM < b.HeadroomM:
			return 1
		}
		return 0
	})
	return out, nil
}

// heights of the hook at which the leaning legs stand at 80° down to 20° from
// horizontal, in the mean.
func heights(h *lift.Hung) []float64 {
	run, n := 0.0, 0.0
	for i := range h.Legs {
		if l := &h.Legs[i]; l.FromVertical > 5*math.Pi/180 && !l.Slack {
			run += l.LengthM * math.Sin(l.FromVertical)
			n++
		}
	}
	if n == 0 {
		return nil
	}
	run /= n
	at := func(deg float64) float64 { return run * math.Tan(deg*math.Pi/180) }
	mean := 0.0 // height of the leaning legs now
	for i := range h.Legs {
		if l := &h.Legs[i]; l.FromVertical > 5*math.Pi/180 && !l.Slack {
			mean += l.LengthM * math.Cos(l.FromVertical) / n
		}
	}
	var all []float64
	for deg := 80.0; deg >= 20; deg -= 5 {
		all = append(all, h.HeadroomM-mean+at(deg))
	}
	return all
}

func lessonRow(p *verdict.Plan, h *lift.Hung) LessonRow {
	r := LessonRow{HeadroomM: h.HeadroomM, Legs: map[string]LessonLeg{}, Squeeze: []Compression{}}
	for i := range h.Legs {
		l := &h.Legs[i]
		out := LessonLeg{
			TensionN: l.TensionN, LengthM: l.LengthM, FromHorizontalDeg: degrees(l.FromHorizontal), FromVerticalDeg: degrees(l.FromVertical),
			IncludedDeg: 2 * degrees(l.FromVertical), Slack: l.Slack,
		}
		out.ShareN, out.HeightM = l.TensionN*math.Sin(l.FromHorizontal), l.LengthM*math.Sin(l.FromHorizontal)
		if out.HeightM > 0 {
			out.Factor = l.LengthM / out.HeightM
		}
		r.Legs[l.Name] = out
	}
	for _, q := range h.Squeeze {
		r.Squeeze = append(r.Squeeze, Compression{q.Body, [2]string{q.A, q.B}, q.ForceN})
	}
	limits := map[string]float64{}
	for _, q := range p.States[0].Parts {
		if q.LimitN != nil && strings.HasPrefix(q.Where, "legs.") {
			limits[q.Where] = *q.LimitN
		}
	}
	for _, where := range slices.Sorted(maps.Keys(limits)) {
		name, _, _ := strings.Cut(strings.TrimPrefix(where, "legs."), ".")
		leg, ok := r.Legs[name]
		if !ok {
			continue
		}
		if u := leg.TensionN * p.Dynamic / limits[where]; r.Used == nil || u > *r.Used {
			r.Used, r.Worst = &u, where
		}
	}
	return r
}
