package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plumbhook/contract"
	"plumbhook/internal/testkit"
)

// TestReplayCycles: a leg that goes up and down three times, noise on it, has three
// cycles of that range, and one that never moves has none. A lost reading makes the
// count "at least".
func TestReplayCycles(t *testing.T) {
	testkit.Alone(t)
	text := "t,channel,value_N\n"
	for i := range 1000 {
		t := float64(i) / 10
		v := 1000.0 + 5*float64(i%3)
		if p := i % 300; p >= 100 && p < 200 && i < 900 {
			v += 20e3
		}
		text += fmt.Sprintf("%g,W,%g\n%g,E,%g\n", t, v, t, 1000.0)
	}
	path := filepath.Join(t.TempDir(), "readings.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	_, out, errs := run("replay", path, "--lift", examples+"/pump-motor.yaml", "--cycles", "--format", "json")
	if errs != "" {
		t.Fatal(errs)
	}
	var r contract.Replay
	if err := json.Unmarshal([]byte(out), &r); err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, c := range r.Cycles {
		total := 0.0
		for _, k := range c.Classes {
			total += k.Count
		}
		switch {
		case c.Channel == "W" && total == 3 && len(c.Classes) == 1 && c.Classes[0].FromN <= 20e3 && 20e3 < c.Classes[0].ToN+500 && !c.AtLeast:
			found++
		case c.Channel == "E" && total == 0:
			found++
		default:
			t.Errorf("%+v", c)
		}
	}
	if found != 2 {
		t.Errorf("%+v", r.Cycles)
	}
	if _, out, _ := run("replay", path, "--lift", examples+"/pump-motor.yaml", "--cycles"); !strings.Contains(out, "load cycles") {
		t.Error(out)
	}
	if _, out, _ := run("replay", path, "--lift", examples+"/pump-motor.yaml", "--format", "json"); strings.Contains(out, `"cycles"`) {
		t.Error("counted without being asked")
	}
}
