package contract

import (
	"maps"
	"math"

	"plumbhook/size"
	"plumbhook/verdict"
)

// Size is the answer of `size --format json`: what leg lengths, gear and load
// cells to bring. Lengths are unloaded, bearing to bearing.
type Size struct {
	Title    string        `json:"title"`
	Revision string        `json:"revision"`
	SHA256   string        `json:"sha256"` // of the lift file
	Cautions string        `json:"cautions"`
	Had      bool          `json:"had"`      // everything asked for can be had
	Lengths  *SizeLengths  `json:"lengths"`  // null: not chosen; with a headroom limit, the longest that fit
	Headroom *SizeHeadroom `json:"headroom"` // null: no limit
	Unposed  []string      `json:"not_chosen"`
	Margin   SizeMargin    `json:"margin"`
	Places   []SizePlace   `json:"places"`
	Gear     []SizeGear    `json:"gear"`
	Cells    []SizeCell    `json:"cells"`
}

// SizeMargin is what the choices were held to.
type SizeMargin struct {
	DynamicFactor      float64  `json:"dynamic_factor"` // on forces before they are held against ratings
	DynamicFactorCells float64  `json:"dynamic_factor_cells"`
	Share              float64  `json:"share"`
	LeastAngleDeg      *float64 `json:"least_angle_deg"` // from horizontal
	RiseN              float64  `json:"rise_N"`
	WantedError        *float64 `json:"wanted_error"` // of the reading
}

// SizeLengths is how long the legs must be.
type SizeLengths struct {
	Reached    bool     `json:"reached"` // with the practical lengths
	TiltDeg    float64  `json:"wanted_tilt_deg"`
	LowSideDeg float64  `json:"wanted_low_side_deg"`
	WithinDeg  float64  `json:"within_deg"`
	NowOffDeg  float64  `json:"now_off_deg"` // with the file's lengths
	Exact      SizeRig  `json:"exact"`
	Practical  SizeRig  `json:"practical"`
	Reasons    []string `json:"reasons"`
}

// SizeRig is the lift with lengths chosen, hung.
type SizeRig struct {
	OffDeg     float64            `json:"off_deg"` // from the pose wanted
	TiltDeg    float64            `json:"tilt_deg"`
	LowSideDeg *float64           `json:"low_side_deg"`
	Stable     bool               `json:"stable"`
	HeadroomM  float64            `json:"headroom_m"`
	MisfitM    float64            `json:"misfit_m"`         // of the lengths of four and more legs
	HookOverM  [][3]float64       `json:"hook_over_load_m"` // each hook, load axes
	Legs       map[string]SizeLeg `json:"legs"`
}

// SizeLeg is a leg at the length chosen.
type SizeLeg struct {
	FromM             float64  `json:"from_m"`
	ToM               float64  `json:"to_m"`
	Open              bool     `json:"open"` // its length was to be chosen
	AtShortest        bool     `json:"at_shortest"`
	AtLongest         bool     `json:"at_longest"`
	TensionN          float64  `json:"tension_N"`
	ShareN            float64  `json:"least_squares_N"` // sharing closest to equal, own weight left out
	P95N              *float64 `json:"p95_N"`           // static; null for exact lengths
	WorstN            *float64 `json:"worst_N"`
	WLLN              *float64 `json:"wll_N"`
	Utilisation       *float64 `json:"utilisation"`
	FromHorizontalDeg float64  `json:"from_horizontal_deg"`
	TensionFactor     *float64 `json:"tension_factor"` // null: level
	Slack             bool     `json:"slack"`
}

// SizeHeadroom is what fits under the hook.
type SizeHeadroom struct {
	LimitM       float64  `json:"limit_m"`
	Fits         bool     `json:"fits"`
	LeastByAngle *SizeRig `json:"least_by_angle"`  // null: no angle is asked for, or none reaches it
	LeastByWLL   *SizeRig `json:"least_by_rating"` // null: a leg has no rating, or none holds
	Reasons      []string `json:"reasons"`
}

// SizePlace is what a place in the rigging demands.
type SizePlace struct {
	Where   string   `json:"where"`
	Step    string   `json:"step"` // that asks most; empty: as first rigged
	P95N    float64  `json:"p95_N"`
	WorstN  *float64 `json:"worst_N"`
	SlipN   *float64 `json:"slip_N"`
	DemandN float64  `json:"demand_N"` // what a piece there must be rated for
	WLLN    *float64 `json:"wll_N"`    // in the file
	Short   bool     `json:"short"`    // the file's rating is below the demand
	Why     string   `json:"why"`
}

// SizeGear is the smallest piece that holds.
type SizeGear struct {
	Kind     string            `json:"kind"`
	Facts    map[string]string `json:"facts"`
	At       []string          `json:"at"`
	Decides  string            `json:"decides"` // the place that asks most
	DemandN  float64           `json:"demand_N"`
	Pick     *SizePiece        `json:"pick"`         // null: none holds, or none was looked at
	PickN    *float64          `json:"pick_limit_N"` // what it may carry there
	Next     *SizePiece        `json:"next_size_up"`
	Rejected []SizeRejection   `json:"rejected"` // smaller than the pick
}

// SizePiece is a piece that could be taken.
type SizePiece struct {
	Name   string   `json:"name"`
	Serial string   `json:"serial"`
	WLLN   *float64 `json:"wll_N"`
	Rating string   `json:"rating"` // as its tag or table writes it
	Source string   `json:"source"`
}

// SizeRejection is a piece that was passed over.
type SizeRejection struct {
	SizePiece
	LimitN *float64 `json:"limit_N"` // what it may carry there
	Why    string   `json:"why"`
}

// SizeCell is what a load cell has to be.
type SizeCell struct {
	Leg      string          `json:"leg"`
	Channel  string          `json:"channel"` // empty: the file has no cell there
	LeastN   float64         `json:"least_capacity_N"`
	Why      string          `json:"why"`
	ReadsN   *float64        `json:"reads_N"` // as first rigged; null: not known
	LowN     *float64        `json:"low_N"`   // lower end of its 95 % band
	NotRead  string          `json:"not_read"`
	Pick     *SizePiece      `json:"pick"`
	Error    *float64        `json:"error_pct"` // of what pick must read, %
	Rejected []SizeRejection `json:"rejected"`
}

// NewSize shapes an answer.
func NewSize(a *size.Answer) Size {
	s := Size{
		Title: a.Lift.Title, Revision: a.Lift.Revision, SHA256: a.Lift.SHA256, Cautions: verdict.Cautions, Had: a.Had(),
		Unposed: []string{}, Places: []SizePlace{}, Gear: []SizeGear{}, Cells: []SizeCell{},
		Margin: SizeMargin{
			DynamicFactor: orOne(a.Margin.Dynamic), DynamicFactorCells: orOne(a.Accuracy.Dynamic),
			Share: a.Margin.Share, RiseN: a.Accuracy.RiseN, WantedError: a.Accuracy.Wanted,
		},
	}
	if l := a.Margin.LeastAngle; l != nil {
		d := degrees(float64(*l))
		s.Margin.LeastAngleDeg = &d
	}
	lengths := a.Lengths
	if h := a.Headroom; h != nil {
		lengths = h.Longest
		s.Headroom = &SizeHeadroom{
			LimitM: h.Limit, Fits: h.Fits, LeastByAngle: rigOrNull(h.ByAngle), LeastByWLL: rigOrNull(h.ByRating), Reasons: reasons(h.Reasons),
		}
	}
	if lengths != nil {
		s.Lengths = &SizeLengths{
			Reached: lengths.Reached, TiltDeg: degrees(float64(lengths.Goal.Tilt)), LowSideDeg: degrees(float64(lengths.Goal.LowSide)),
			WithinDeg: degrees(float64(lengths.Goal.Within)), NowOffDeg: degrees(float64(lengths.Now)), Exact: newSizeRig(&lengths.Exact), Practical: newSizeRig(&lengths.Practical), Reasons: reasons(lengths.Reasons),
		}
	}
	for _, f := range a.Unposed {
		s.Unposed = append(s.Unposed, f.Error())
	}
	for i := range a.Places {
		p := &a.Places[i]
		s.Places = append(s.Places, SizePlace{p.Where, p.Step, p.P95N, p.WorstN, p.SlipN, p.DemandN, p.RatedN, p.Short(), p.Why.String()})
	}
	for _, c := range a.Choices {
		facts := map[string]string{}
		maps.Copy(facts, c.Facts)
		var most *float64
		if c.Pick != nil {
			most = &c.PickN
		}
		s.Gear = append(s.Gear, SizeGear{
			Kind: c.Kind, Facts: facts, At: c.At, Decides: c.Place.Where, DemandN: c.Place.DemandN,
			Pick: newSizePiece(c.Pick), PickN: most, Next: newSizePiece(c.Next), Rejected: rejections(c.Rejected),
		})
	}
	for _, c := range a.Cells {
		out := SizeCell{
			Leg: c.Place.Leg, Channel: c.Place.Channel, LeastN: c.LeastN, Why: c.Why.String(), NotRead: c.Place.NotRead,
			Pick: newSizePiece(c.Pick), Rejected: rejections(c.Rejected),
		}
		if c.Place.NotRead == "" {
			out.ReadsN, out.LowN = &c.Place.ReadsN, &c.Place.LowN
		}
		if c.ErrorPct != nil {
			out.Error = finite(*c.ErrorPct)
		}
		s.Cells = append(s.Cells, out)
	}
	return s
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

func reasons(all []size.Reason) []string {
	out := []string{}
	for _, r := range all {
		out = append(out, r.String())
	}
	return out
}

// finite is null for what JSON has no number for.
func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func rigOrNull(r *size.Rigged) *SizeRig {
	if r == nil {
		return nil
	}
	s := newSizeRig(r)
	return &s
}

func newSizeRig(r *size.Rigged) SizeRig {
	b := &r.Hung.Bodies[0]
	s := SizeRig{
		OffDeg: degrees(float64(r.Off)), TiltDeg: degrees(b.Tilt), Stable: r.Hung.Stable, HeadroomM: r.Hung.HeadroomM, MisfitM: r.Misfit,
		HookOverM: r.HookOver, Legs: map[string]SizeLeg{},
	}
	if b.LowSide != nil {
		d := degrees(*b.LowSide)
		s.LowSideDeg = &d
	}
	for _, l := range r.Legs {
		s.Legs[l.Name] = SizeLeg{
			FromM: l.From, ToM: l.To, Open: l.Sized, AtShortest: l.AtMin, AtLongest: l.AtMax, TensionN: l.TensionN, ShareN: l.ShareN,
			P95N: l.P95N, WorstN: l.WorstN, WLLN: l.WLLN, Utilisation: l.Utilisation,
			FromHorizontalDeg: degrees(float64(l.FromHorizontal)), TensionFactor: finite(l.Factor), Slack: l.Slack,
		}
	}
	return s
}

func newSizePiece(c *size.Candidate) *SizePiece {
	if c == nil {
		return nil
	}
	p := SizePiece{Name: c.Name, Serial: c.Serial}
	switch {
	case c.WLL != nil:
		n := float64(c.WLL.Force)
		p.WLLN, p.Rating, p.Source = &n, c.WLL.Text, c.WLL.Source
	case c.Cell != nil:
		n := float64(c.Cell.Capacity)
		p.WLLN = &n
	}
	return &p
}

func rejections(all []size.Rejection) []SizeRejection {
	out := []SizeRejection{}
	for i := range all {
		out = append(out, SizeRejection{*newSizePiece(&all[i].Candidate), all[i].LimitN, all[i].Why.String()})
	}
	return out
}
