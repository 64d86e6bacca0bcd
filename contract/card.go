package contract

import (
	"plumbhook/card"
	"plumbhook/verdict"
)

// Card is the answer of `card --format json`: what the crew needs on one page.
// Forces are as the cell shows them, zero taken off.
type Card struct {
	Title    string      `json:"title"`
	Revision string      `json:"revision"`
	SHA256   string      `json:"sha256"`
	Step     string      `json:"step"`    // empty: as first rigged
	Verdict  string      `json:"verdict"` // of the plan
	Cautions string      `json:"cautions"`
	Readout  Readout     `json:"readout"`
	Day      CardDay     `json:"day"`
	Cells    []CardCell  `json:"cells"`
	Total    CardTotal   `json:"total"`
	Bite     *CardBite   `json:"first_bite"`
	AsRigged *CardRigged `json:"as_rigged"` // null: no height measured
	Tug      []CardPull  `json:"tug_test"`
	TugTells bool        `json:"tug_test_tells"` // the pulls tell every two cells apart
	Angle    *CardAngle  `json:"sling_angle"`    // null: no leg leans
	Missing  []string    `json:"missing"`
	Findings []string    `json:"stop_findings"` // of the plan: with any of them there is no lift
}

// Readout is the unit of the display that the sentences are in.
type Readout struct {
	Unit       string  `json:"unit"`
	NewtonsPer float64 `json:"newtons_per_unit"`
	FromMass   bool    `json:"from_mass"` // a mass unit, read as force at standard gravity
}

// CardDay is what the crew states; null: not stated.
type CardDay struct {
	HoistSpeed    *float64 `json:"hoist_speed_m_per_s"`
	DelayS        *float64 `json:"delay_s"`
	StoppingS     *float64 `json:"stopping_s"`
	HookStiffness *float64 `json:"hook_stiffness_N_per_m"`
	HookHeightM   *float64 `json:"hook_height_m"`
}

// CardCell is what one cell must read.
type CardCell struct {
	Expected
	WarnN    float64    `json:"warn_N"`
	StopN    float64    `json:"stop_N"`
	Stops    []CardStop `json:"stops"` // lowest first
	Sentence string     `json:"sentence"`
}

// CardTotal is the sum at the hooks.
type CardTotal struct {
	LowN     float64    `json:"low_N"` // 95 in 100
	NominalN float64    `json:"nominal_N"`
	HighN    float64    `json:"high_N"`
	CellsN   float64    `json:"cells_sum_N"` // what a display shows that adds the cells: no weight
	WarnN    float64    `json:"warn_N"`
	StopN    float64    `json:"stop_N"`
	Stops    []CardStop `json:"stops"`
	Sentence string     `json:"sentence"`
}

// CardStop is a number past which the lift stops.
type CardStop struct {
	N       float64  `json:"stop_N"`
	Because string   `json:"because"` // not_the_plan, heavier, part, file_limit
	Where   string   `json:"where"`   // the part
	AtN     float64  `json:"reached_at_N"`
	RiseN   *float64 `json:"rise_N"`  // null: not known, no room left
	Crowded bool     `json:"no_room"` // the rise does not fit above the band
	SlowM   *float64 `json:"room_at_m_per_s"`
}

// CardBite is how the legs take the load while the ground still carries.
type CardBite struct {
	Levels   []CardLevel   `json:"levels"`
	FullM    float64       `json:"travel_to_planned_total_m"`
	EmptyN   float64       `json:"rigging_N"`
	PerMetre float64       `json:"hooks_N_per_m"`
	Legs     []CardLegBite `json:"legs"`
}

// CardLevel is one stop on the way.
type CardLevel struct {
	Share   float64            `json:"share"` // of the planned total beyond the rigging
	TravelM float64            `json:"travel_m"`
	TotalN  float64            `json:"total_N"`
	Cells   map[string]float64 `json:"cells_N"`
}

// CardLegBite is one leg's answer to hook travel at half the planned total.
type CardLegBite struct {
	Leg      string  `json:"leg"`
	PerMetre float64 `json:"along_N_per_m"`
	Upward   float64 `json:"upward_N_per_m"`
}

// CardRigged is the plan at the measured height of the hook.
type CardRigged struct {
	PlannedM  float64            `json:"planned_m"`
	MeasuredM float64            `json:"measured_m"`
	Scale     float64            `json:"leg_length_scale"`
	Beyond    []string           `json:"beyond_length_limits"`
	Cells     map[string]float64 `json:"cells_N"`
	Angles    map[string]float64 `json:"from_horizontal_deg"`
}

// CardPull is one pull of the tug test.
type CardPull struct {
	Leg    string             `json:"leg"`
	LeastN float64            `json:"least_pull_N"`
	Share  map[string]float64 `json:"share"` // of the pull, by which each channel rises
}

// CardAngle is what the sling angle does to one leg.
type CardAngle struct {
	Leg         string         `json:"leg"`
	ShareN      float64        `json:"vertical_share_p95_N"`
	LengthM     float64        `json:"length_m"`
	RiseM       float64        `json:"height_m"`
	Weakest     string         `json:"weakest"`
	LimitN      *float64       `json:"limit_N"`
	RunsOutDeg  *float64       `json:"runs_out_from_horizontal_deg"`
	Rows        []CardAngleRow `json:"rows"`
	OverAlready bool           `json:"share_alone_over"`
}

// CardAngleRow is one angle.
type CardAngleRow struct {
	FromHorizontalDeg float64  `json:"from_horizontal_deg"`
	Factor            float64  `json:"factor"`
	ForceN            float64  `json:"force_N"`
	Used              *float64 `json:"used"`
	Planned           bool     `json:"planned"`
}

// NewCard shapes a card; show writes a force with the unit of the readout.
func NewCard(c *card.Card, out Readout, show func(n float64) string) Card {
	l := c.Plan.Lift
	v := Card{
		Title: l.Title, Revision: l.Revision, SHA256: l.SHA256, Step: c.State.Hung.Step, Verdict: string(c.Plan.Outcome),
		Cautions: verdict.Cautions, Readout: out, Cells: []CardCell{}, Tug: []CardPull{}, TugTells: c.Tells(),
		Missing: append([]string{}, c.Missing...), Findings: []string{},
		Day: CardDay{stated(c.HoistSpeed), stated(c.Delay), stated(c.Stopping), stated(c.HookStiffness), stated(c.HookHeight)},
	}
	cells := func(n []float64) map[string]float64 {
		m := map[string]float64{}
		for i, x := range n {
			m[c.Cells[i].Channel] = x
		}
		return m
	}
	for i := range c.Cells {
		k := &c.Cells[i]
		v.Cells = append(v.Cells, CardCell{newExpected(k.Expected), k.WarnN, k.Stops[0].N, stops(k.Stops), card.Say(k.Channel, k.Stops, show)})
	}
	t := &c.Total
	v.Total = CardTotal{t.LowN, t.NominalN, t.HighN, t.CellsN, t.WarnN, t.Stops[0].N, stops(t.Stops), card.Say("the total", t.Stops, show)}
	if b := c.Bite; b != nil {
		v.Bite = &CardBite{FullM: b.FullM, EmptyN: b.EmptyN, PerMetre: b.PerMetre, Levels: []CardLevel{}, Legs: []CardLegBite{}}
		for k, share := range card.Levels {
			var n []float64
			for i := range b.Cells {
				n = append(n, b.Cells[i][k])
			}
			v.Bite.Levels = append(v.Bite.Levels, CardLevel{share, b.TravelM[k], b.TotalN[k], cells(n)})
		}
		for _, leg := range b.Legs {
			v.Bite.Legs = append(v.Bite.Legs, CardLegBite{leg.Name, leg.PerMetre, leg.Upward})
		}
	}
	if r := c.AsRigged; r != nil {
		v.AsRigged = &CardRigged{r.PlannedM, r.MeasuredM, r.Scale, append([]string{}, r.Beyond...), cells(r.Cells), map[string]float64{}}
		for i, a := range r.Angles {
			v.AsRigged.Angles[l.Legs[i].Name] = degrees(a)
		}
	}
	for _, p := range c.Tug {
		v.Tug = append(v.Tug, CardPull{p.Leg, p.LeastN, cells(p.Share)})
	}
	v.Angle = newCardAngle(c.Angle)
	for i := range c.State.Findings {
		if f := &c.State.Findings[i]; f.Severity == verdict.Stop {
			v.Findings = append(v.Findings, f.Text)
		}
	}
	return v
}

func newCardAngle(a *card.Lesson) *CardAngle {
	if a == nil {
		return nil
	}
	v := &CardAngle{
		Leg: a.Leg, ShareN: a.ShareN, LengthM: a.LengthM, RiseM: a.RiseM, Weakest: a.Weakest,
		LimitN: stated(a.LimitN), OverAlready: a.NotEvenVertical, Rows: []CardAngleRow{},
	}
	if a.OutAngle != nil {
		d := degrees(*a.OutAngle)
		v.RunsOutDeg = &d
	}
	for _, r := range a.Rows {
		v.Rows = append(v.Rows, CardAngleRow{degrees(r.FromHorizontal), r.Factor, r.ForceN, r.Used, r.Planned})
	}
	return v
}

// stated is nil for zero, which stands for a number that nobody gave.
func stated(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return &v
}

func stops(all []card.Stop) []CardStop {
	out := []CardStop{}
	for _, s := range all {
		c := CardStop{
			N: s.N, AtN: s.AtN, RiseN: s.RiseN, Crowded: s.Crowded, Where: s.Part.Where,
			Because: map[card.Reason]string{card.NotThePlan: "not_the_plan", card.Heavier: "heavier", card.OfPart: "part", card.OfFile: "file_limit"}[s.Why],
		}
		if s.Crowded {
			slow := s.SlowM
			c.SlowM = &slow
		}
		out = append(out, c)
	}
	return out
}
