package contract

import (
	"time"

	"plumbhook/metrology"
	"plumbhook/verdict"
)

// Calibrate is the answer of `calibrate --format json`: what the certificates
// of one load cell show. Uncertainties are expanded, for a coverage of 95 %.
type Calibrate struct {
	Serial       string                 `json:"serial"`
	SHA256       string                 `json:"sha256"`  // of the file of the latest certificate
	On           string                 `json:"on"`      // the day it is judged for
	Verdict      string                 `json:"verdict"` // holds, fails
	Sentence     string                 `json:"sentence"`
	Cautions     string                 `json:"cautions"`
	Use          string                 `json:"use"` // usable, overridden, out of date, held, out
	Why          string                 `json:"why"`
	Due          *string                `json:"due"`
	Certificates []CalibrateCertificate `json:"certificates"` // oldest first
	Unit         string                 `json:"signal_unit"`
	Degree       int                    `json:"degree"`
	Coefficients []float64              `json:"coefficients"` // of the force in N, power 0 first, in the unit of the signal
	ResidualSD   float64                `json:"residual_sd"`  // in the unit of the signal
	Steps        []CalibrateStep        `json:"steps"`
	ISO376       []CalibrateClass       `json:"iso376"` // best first
	NotGraded    []string               `json:"iso376_not_assessed"`
	E74          CalibrateE74           `json:"e74"`
	Missing      []string               `json:"not_assessed"` // in no uncertainty
	Adjusted     []CalibrateShift       `json:"adjusted"`
	Drift        []CalibrateDrift       `json:"drift"`
	Interval     *CalibrateInterval     `json:"interval"` // null: one certificate shows no drift
	Field        *CalibrateField        `json:"field_check"`
}

// CalibrateCertificate is one of those read.
type CalibrateCertificate struct {
	Number     string  `json:"number"`
	Laboratory string  `json:"laboratory"`
	Date       string  `json:"date"`
	Due        *string `json:"due"`
	Adjusted   bool    `json:"adjusted"`
}

// CalibrateStep is what the latest certificate shows at one force. Errors are
// shares; null: the readings do not tell.
type CalibrateStep struct {
	ForceN          float64     `json:"force_N"`
	Deflection      float64     `json:"deflection"`
	Curve           float64     `json:"curve"`
	Residual        float64     `json:"residual"`
	Interpolation   float64     `json:"interpolation"`
	Repeatability   *float64    `json:"repeatability"`
	Reproducibility *float64    `json:"reproducibility"`
	Reversibility   *float64    `json:"reversibility"`
	U95N            float64     `json:"u95_N"`
	K               float64     `json:"k"`
	DoF             *float64    `json:"degrees_of_freedom"`
	Budget          []Component `json:"budget"`
}

// CalibrateClass is a class of ISO 376 and where it holds.
type CalibrateClass struct {
	Name  string  `json:"class"`
	FromN float64 `json:"from_N"`
	ToN   float64 `json:"to_N"`
}

// CalibrateE74 is the loading range by ASTM E74.
type CalibrateE74 struct {
	LLFN   float64  `json:"lower_limit_factor_N"`
	AN     *float64 `json:"class_A_from_N"`
	AAN    *float64 `json:"class_AA_from_N"`
	Unmet  []string `json:"unmet"`
	Memory string   `json:"standing"`
}

// CalibrateShift is how far the earlier curve would read wrong.
type CalibrateShift struct {
	ForceN float64 `json:"force_N"`
	ErrorN float64 `json:"error_N"`
	Share  float64 `json:"share"`
}

// CalibrateDrift is the shift between two certificates.
type CalibrateDrift struct {
	From    string           `json:"from"`
	To      string           `json:"to"`
	Largest float64          `json:"largest_share"` // over the working range
	Shifts  []CalibrateShift `json:"shifts"`
}

// CalibrateInterval is the proposed time to the next calibration.
type CalibrateInterval struct {
	PerYear     float64 `json:"drift_per_year"`
	Allowed     float64 `json:"allowed_share"`
	Days        float64 `json:"days"`
	LongestDays float64 `json:"longest_days"`
	Capped      bool    `json:"set_by_longest"`
}

// CalibrateField is a reading of a known weight.
type CalibrateField struct {
	KnownN      float64 `json:"known_N"`
	KnownU95N   float64 `json:"known_u95_N"`
	ReadsN      float64 `json:"reads_N"`
	ReadsU95N   float64 `json:"reads_u95_N"`
	DifferenceN float64 `json:"difference_N"`
	En          float64 `json:"en"`
	Agrees      bool    `json:"agrees"`
}

// fromMemory is how the rules of the classes are known.
const fromMemory = "from memory: factor 2.4, formula and counts; read in a public account: 400 and 2000 times"

// NewCalibrate shapes a review of certificates; the sentence is the verdict as
// people read it.
func NewCalibrate(r *metrology.Review, st metrology.Standing, on time.Time, holds bool, sentence string, field *CalibrateField) Calibrate {
	k := r.Last
	coefficients, _ := k.Fit.Coefficients()
	c := Calibrate{
		Serial: r.Files[0].Serial, SHA256: r.Files[len(r.Files)-1].SHA256, On: on.Format(time.DateOnly), Verdict: string(verdict.Fails), Sentence: sentence, Cautions: verdict.Cautions,
		Use: string(st.Use), Why: st.Why, Due: dayOrNull(r.Due), Certificates: []CalibrateCertificate{}, Unit: k.Unit, Degree: k.Degree,
		Coefficients: coefficients, ResidualSD: k.Fit.SD, Steps: []CalibrateStep{}, ISO376: []CalibrateClass{},
		NotGraded: append([]string{}, r.Grade.NotAssessed...), Missing: append([]string{}, r.Missing...),
		E74:      CalibrateE74{r.Loads.LLF, r.Loads.A, r.Loads.AA, append([]string{}, r.Loads.Unmet...), fromMemory},
		Adjusted: shifts(r.Adjusted), Drift: []CalibrateDrift{}, Field: field,
	}
	if holds {
		c.Verdict = string(verdict.Holds)
	}
	for _, f := range r.Files {
		c.Certificates = append(c.Certificates, CalibrateCertificate{f.Number, f.Laboratory, f.Date.Format(time.DateOnly), dayOrNull(f.Due), f.Adjusted != nil})
	}
	for i, s := range k.Steps {
		u := r.Points[i]
		c.Steps = append(c.Steps, CalibrateStep{
			ForceN: s.Force, Deflection: s.Deflection, Curve: s.Curve, Residual: s.Deflection - s.Curve, Interpolation: s.Interpolation,
			Repeatability: s.Repeatability, Reproducibility: s.Reproducibility, Reversibility: s.Reversibility,
			U95N: u.U, K: u.K, DoF: finite(u.DoF), Budget: newBudget(u.Budget),
		})
	}
	for _, g := range r.Grade.Classes {
		c.ISO376 = append(c.ISO376, CalibrateClass{g.Name, g.From, g.To})
	}
	for _, d := range r.Drifts {
		c.Drift = append(c.Drift, CalibrateDrift{d.From.Format(time.DateOnly), d.To.Format(time.DateOnly), d.Largest, shifts(d.Shifts)})
	}
	if p := r.Proposal; p != nil {
		c.Interval = &CalibrateInterval{p.PerYear, r.Allowed, p.Interval.Hours() / 24, r.Longest.Hours() / 24, p.Capped}
	}
	return c
}

func shifts(all []metrology.Shift) []CalibrateShift {
	out := []CalibrateShift{}
	for _, s := range all {
		out = append(out, CalibrateShift{s.Force, s.Error, s.Share})
	}
	return out
}
