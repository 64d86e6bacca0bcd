package crane_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"plumbhook/crane"
	"plumbhook/internal/testkit"
)

// The example of two hooks and four points of a published guideline: how much of
// the load each hook and each point can come to carry with the load tilted and
// its centre of gravity anywhere in a box.
func TestTwoHooksPublished(t *testing.T) {
	var c struct {
		Given, Printed, Worked map[string]float64
	}
	data, err := os.ReadFile("testdata/two-hooks.json")
	if err == nil {
		err = json.Unmarshal(data, &c)
	}
	if err != nil {
		t.Fatal(err)
	}
	g := c.Given
	h := crane.TwoHooks{Span: g["L_m"], FromTwo: g["d_m"], Below1: g["a_m"], Below2: g["b_m"]}
	one, two := h.Worst(deg(g["tilt_deg"]), g["x_m"], g["z_m"])
	// Across, the points of a hook share plumb, by moments.
	far, near := (g["e_m"]+g["y_m"])/g["B_m"], (g["f_m"]+g["y_m"])/g["B_m"]
	for name, got := range map[string]float64{
		"share_1": one, "share_2": two, "point_1": one * near, "point_4": one * far, "point_2": two * near, "point_3": two * far,
	} {
		testkit.Near(t, name, got, c.Worked[name], testkit.Tol{Abs: 1e-9})
	}
	level := crane.TwoHooks{Span: g["L_m"], FromTwo: g["d_m"], Below1: g["a_m"], Below2: g["a_m"]}
	tilt, err := level.Tilt(1)
	if err != nil {
		t.Fatal(err)
	}
	testkit.Near(t, "tilt for a difference of 1 m", tilt*180/math.Pi, c.Printed["hook_difference_1m_deg"], testkit.Tol{Abs: 0.005})
	level.Span = c.Printed["spacing_where_1m_is_3deg_m"]
	if tilt, err = level.Tilt(1); err != nil {
		t.Fatal(err)
	}
	testkit.Near(t, "tilt at that spacing", tilt*180/math.Pi, g["tilt_deg"], testkit.Tol{Abs: 0.01})
}
