package validation

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"plumbhook/lift"
)

// second is a rig as a general-purpose program solved it. second/README.md
// says how.
type second struct {
	Lift      string  `json:"lift"`
	HangingN  float64 `json:"hanging_N"`
	Stable    bool    `json:"stable"`
	FreeYaw   string  `json:"free_yaw"`
	Tolerance float64 `json:"tolerance"` // of the weight, that the program supports
	Hangs     []struct {
		Step string `json:"step"`
		Legs map[string]struct {
			TensionN float64 `json:"tension_N"`
			Slack    bool    `json:"slack"`
		} `json:"legs"`
		Hooks map[string]struct {
			LoadN float64 `json:"load_N"`
		} `json:"hooks"`
		Bodies map[string]struct {
			CGM        [3]float64 `json:"cg_m"`
			TiltDeg    float64    `json:"tilt_deg"`
			LowSideDeg *float64   `json:"low_side_deg"`
		} `json:"bodies"`
	} `json:"hangs"`
}

// TestSecondMethod holds every stored rig against what another program found
// for it: tensions within 1e-6 of the weight or better, poses, slack legs,
// and whether the pose stays.
func TestSecondMethod(t *testing.T) {
	files, err := filepath.Glob("second/testdata/*.json")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) < 12 {
		t.Fatalf("only %d stored rigs", len(files))
	}
	for _, f := range files {
		t.Run(filepath.Base(f), func(t *testing.T) {
			data, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			var want second
			if err := json.Unmarshal(data, &want); err != nil {
				t.Fatal(err)
			}
			if want.Tolerance <= 0 || want.Tolerance > 2e-6 {
				t.Fatalf("the stored tolerance of %g of the weight says too little", want.Tolerance)
			}
			dir := filepath.Dir(f)
			text, err := os.ReadFile(filepath.Join(dir, want.Lift))
			if err != nil {
				t.Fatal(err)
			}
			l, err := lift.Read(want.Lift, os.DirFS(dir), text)
			if err != nil {
				t.Fatal(err)
			}
			rig, err := lift.NewRig(l)
			if err != nil {
				t.Fatal(err)
			}
			var all []*lift.Hung
			if err := rig.Walk(func(h *lift.Hung) error {
				all = append(all, h)
				return nil
			}); err != nil {
				t.Fatal(err)
			}
			if all[0].Stable != want.Stable {
				t.Errorf("stable is %v, the other program says %v", all[0].Stable, want.Stable)
			}
			if len(all) != len(want.Hangs) {
				t.Fatalf("%d states, the other program has %d", len(all), len(want.Hangs))
			}
			tol := math.Max(want.Tolerance, 1e-9) * want.HangingN
			for k, w := range want.Hangs {
				h := all[k]
				for _, leg := range h.Legs {
					got := w.Legs[leg.Name]
					if d := math.Abs(leg.TensionN - got.TensionN); d > tol {
						t.Errorf("step %q leg %s: %.9g N, the other program has %.9g (%.1e of the weight apart)", w.Step, leg.Name, leg.TensionN, got.TensionN, d/want.HangingN)
					}
					if leg.Slack != got.Slack {
						t.Errorf("step %q leg %s: slack is %v, the other program says %v", w.Step, leg.Name, leg.Slack, got.Slack)
					}
				}
				for _, hook := range h.Hooks {
					if d := math.Abs(hook.LoadN - w.Hooks[hook.Name].LoadN); d > tol {
						t.Errorf("step %q hook %s: %.9g N, the other program has %.9g", w.Step, hook.Name, hook.LoadN, w.Hooks[hook.Name].LoadN)
					}
				}
				for _, b := range h.Bodies {
					got := w.Bodies[b.Name]
					const place = 1e-5 // m and degrees: a weak pose moves where a force hardly does
					if d := math.Abs(b.Tilt*180/math.Pi - got.TiltDeg); d > 1e2*place {
						t.Errorf("step %q %s: tilt %.7f°, the other program has %.7f°", w.Step, b.Name, b.Tilt*180/math.Pi, got.TiltDeg)
					}
					if d := math.Abs(b.CG[2] - got.CGM[2]); d > place {
						t.Errorf("step %q %s: CG height %.7f m, the other program has %.7f m", w.Step, b.Name, b.CG[2], got.CGM[2])
					}
					if want.FreeYaw == "" {
						for q := range 2 {
							if d := math.Abs(b.CG[q] - got.CGM[q]); d > place {
								t.Errorf("step %q %s: CG %s %.7f m, the other program has %.7f m", w.Step, b.Name, "xy"[q:q+1], b.CG[q], got.CGM[q])
							}
						}
					}
				}
			}
		})
	}
}
