package contract

import (
	"math"
	"time"

	"plumbhook/metrology"
	"plumbhook/verdict"
	"plumbhook/weigh"
)

// Weigh is the answer of `weigh --format json`: a weighing, as its certificate
// prints it. Uncertainties are expanded, for a coverage of 95 %.
type Weigh struct {
	Title      string           `json:"title"`
	Revision   string           `json:"revision"`
	Object     string           `json:"object"`
	Date       string           `json:"date"`
	SHA256     string           `json:"sha256"`  // of the survey file
	Verdict    string           `json:"verdict"` // holds, incomplete, fails
	Sentence   string           `json:"sentence"`
	Cautions   string           `json:"cautions"`
	Missing    []string         `json:"not_assessed"` // not empty: every uncertainty is "at least"
	Findings   []SurveyFinding  `json:"findings"`
	Gravity    SurveyGravity    `json:"gravity"`
	Mass       Uncertain        `json:"mass_kg"`
	Weight     Uncertain        `json:"weight_N"` // mass times local gravity
	Force      Uncertain        `json:"force_N"`  // what presses on the cells, in air
	CG         SurveyCG         `json:"cg_m"`
	Height     *SurveyHeight    `json:"height"` // null: nothing was tilted
	Redundancy SurveyRedundancy `json:"redundancy"`
	Placements []SurveyStand    `json:"placements"`
	Points     []SurveyPoint    `json:"points"`
	Cells      []SurveyCell     `json:"cells"`
	Declared   *SurveyDeclared  `json:"declared"`
}

// Uncertain is a result with its budget.
type Uncertain struct {
	Value    float64     `json:"value"`
	Standard float64     `json:"standard_uncertainty"`
	U95      float64     `json:"u95"`
	K        float64     `json:"k"`
	DoF      *float64    `json:"degrees_of_freedom"` // effective; null: without end
	Budget   []Component `json:"budget"`
}

// Component is a line of a budget. Lines are independent of each other.
type Component struct {
	Name        string   `json:"name"`
	Shape       string   `json:"distribution"`
	Standard    float64  `json:"standard_uncertainty"`
	Unit        string   `json:"unit"` // of the standard uncertainty; empty: a plain number
	Sensitivity float64  `json:"sensitivity"`
	Share       float64  `json:"share"`              // of the variance
	DoF         *float64 `json:"degrees_of_freedom"` // null: without end
}

// SurveyFinding is what a reader must be told.
type SurveyFinding struct {
	Severity string `json:"severity"` // stop, caution, note
	Where    string `json:"where"`
	Text     string `json:"text"`
}

// SurveyGravity is local gravity.
type SurveyGravity struct {
	Value float64 `json:"g_m_per_s2"`
	From  string  `json:"from"`
}

// SurveyCG is the centre of gravity in the object's axes; null where the
// placements do not tell.
type SurveyCG struct {
	X *Uncertain `json:"x"`
	Y *Uncertain `json:"y"`
	Z *Uncertain `json:"z"`
}

// SurveyHeight is what the tilt is worth.
type SurveyHeight struct {
	WantedM     float64  `json:"wanted_u95_m"`
	Reached     bool     `json:"reached"`
	GreatestDeg float64  `json:"greatest_tilt_deg"` // from horizontal
	NeededDeg   *float64 `json:"needed_tilt_deg"`   // null: reached, or no tilt would
}

// SurveyRedundancy is what the readings say about each other.
type SurveyRedundancy struct {
	Rows     int               `json:"balances"`
	Unknowns int               `json:"unknowns"`
	DoF      int               `json:"left_over"`
	Judged   bool              `json:"judged"`
	Chi2     *float64          `json:"chi2"`
	Limit    *float64          `json:"chi2_limit"`
	Agrees   bool              `json:"agrees"`
	Suspect  *string           `json:"suspect"`
	Text     string            `json:"text"`
	Cells    []SurveySuspicion `json:"cells"`
}

// SurveySuspicion is how well one wrong cell would explain what does not fit.
type SurveySuspicion struct {
	Cell    string  `json:"cell"`
	Kind    string  `json:"kind"` // zero: shifts are in N; scale: in shares of the reading
	Shift   float64 `json:"shift"`
	W       float64 `json:"standard_uncertainties"`
	Visible float64 `json:"smallest_noticed"` // four times in five
}

// SurveyStand is one placement by itself.
type SurveyStand struct {
	Name   string       `json:"name"`
	Runs   int          `json:"runs"`
	SumN   float64      `json:"sum_N"`
	SDN    *float64     `json:"sd_N"` // of the sum, run to run
	RangeN float64      `json:"range_N"`
	TwistN *float64     `json:"twist_N"`
	Seats  []SurveySeat `json:"seats"`
}

// SurveySeat is one cell in a placement.
type SurveySeat struct {
	Cell  string   `json:"cell"`
	Point string   `json:"point"`
	MeanN float64  `json:"mean_N"`
	Share float64  `json:"share"`
	Used  float64  `json:"used"` // of the capacity
	SDN   *float64 `json:"sd_N"`
}

// SurveyPoint is how far the centre of gravity moves with a point, m per m: by
// axis of the point, then of the centre of gravity.
type SurveyPoint struct {
	Point string     `json:"point"`
	X     [3]float64 `json:"per_x"`
	Y     [3]float64 `json:"per_y"`
	Z     [3]float64 `json:"per_z"`
}

// SurveyCell is what was weighed with.
type SurveyCell struct {
	Name       string  `json:"name"`
	Serial     string  `json:"serial"`
	CapacityN  float64 `json:"capacity_N"`
	Calibrated *string `json:"calibrated"`
	Due        *string `json:"due"`
	Use        string  `json:"use"`
	OverrideBy *string `json:"override_by"`
}

// SurveyDeclared is what was declared.
type SurveyDeclared struct {
	Kg           float64 `json:"declared_kg"`
	DifferenceKg float64 `json:"difference_kg"` // weighed less declared
	U95Kg        float64 `json:"u95_kg"`
	Agrees       bool    `json:"agrees"`
}

// NewWeigh shapes a survey; the sentence is the verdict as people read it.
func NewWeigh(r *weigh.Result, sentence string) Weigh {
	s := r.Survey
	w := Weigh{
		Title: s.Title, Revision: s.Revision, Object: s.Object, Date: s.Date.Format(time.DateOnly), SHA256: s.SHA256,
		Verdict: string(r.Outcome), Sentence: sentence, Cautions: verdict.Cautions, Missing: append([]string{}, r.NotAssessed...), Findings: []SurveyFinding{},
		Gravity: SurveyGravity{s.Gravity.Value, s.Gravity.How}, Mass: newUncertain(r.Mass), Weight: newUncertain(r.Weight), Force: newUncertain(r.Force),
		Placements: []SurveyStand{}, Points: []SurveyPoint{}, Cells: []SurveyCell{},
	}
	for _, f := range r.Findings {
		w.Findings = append(w.Findings, SurveyFinding{string(f.Severity), f.Where, f.Text})
	}
	for a, to := range []**Uncertain{&w.CG.X, &w.CG.Y, &w.CG.Z} {
		if r.CG[a] != nil {
			*to = new(newUncertain(*r.CG[a]))
		}
	}
	if h := r.Height; h != nil {
		w.Height = &SurveyHeight{WantedM: h.Wanted, Reached: h.Reached, GreatestDeg: degrees(h.Greatest)}
		if h.Needed != nil {
			w.Height.NeededDeg = new(degrees(*h.Needed))
		}
	}
	q := r.Redundancy
	w.Redundancy = SurveyRedundancy{Rows: q.Rows, Unknowns: q.Unknowns, DoF: q.DoF, Judged: q.Judged, Agrees: q.Agrees, Text: q.Text, Cells: []SurveySuspicion{}}
	if q.Judged {
		w.Redundancy.Chi2, w.Redundancy.Limit = &q.Chi2, &q.Limit
	}
	if q.Suspect != "" {
		w.Redundancy.Suspect = &q.Suspect
	}
	for _, c := range q.Cells {
		w.Redundancy.Cells = append(w.Redundancy.Cells, SurveySuspicion(c))
	}
	for _, p := range r.Placements {
		out := SurveyStand{p.Name, p.Runs, p.Sum, p.SD, p.Range, p.Twist, []SurveySeat{}}
		for _, k := range p.Seats {
			out.Seats = append(out.Seats, SurveySeat{k.Cell, k.Point, k.Mean, k.Share, k.Used, k.SD})
		}
		w.Placements = append(w.Placements, out)
	}
	for _, f := range r.Feet {
		w.Points = append(w.Points, SurveyPoint(f))
	}
	for i := range s.Cells {
		c := &s.Cells[i]
		out := SurveyCell{
			Name: c.Name, Serial: c.Serial, CapacityN: c.Accuracy.Capacity, Use: string(r.Use[i]),
			Calibrated: dayOrNull(c.Care.Calibrated), Due: dayOrNull(c.Care.Due),
		}
		if c.Care.OverrideBy != "" {
			out.OverrideBy = &c.Care.OverrideBy
		}
		w.Cells = append(w.Cells, out)
	}
	if d := r.Declared; d != nil {
		w.Declared = &SurveyDeclared{float64(d.Declared.Value), d.Difference, d.U95, d.Agrees}
	}
	return w
}

func dayOrNull(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	return new(t.Format(time.DateOnly))
}

func newUncertain(v weigh.Value) Uncertain {
	return Uncertain{Value: v.Value, Standard: v.Budget.U(), U95: v.U, K: v.K, DoF: finite(v.DoF), Budget: newBudget(v.Budget)}
}

// newBudget shapes a budget of independent components.
func newBudget(b metrology.Budget) []Component {
	out := []Component{}
	u := b.U()
	for _, c := range b {
		share := math.Pow(c.C*c.U/u, 2)
		if u == 0 {
			share = 0
		}
		out = append(out, Component{c.Name, string(c.Shape), c.U, c.Unit, c.C, share, finite(c.DoF)})
	}
	return out
}
